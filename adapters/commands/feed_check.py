"""`climbout feed check`: a description read whole, tried on captured data, and what the coach can do with it."""

from __future__ import annotations

import argparse
import math
import sys
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

import msgspec

from adapters import common, library
from adapters.capture import is_capture, read_capture
from adapters.config import data_dir
from adapters.description import ChannelMap, FeedDescription, SourceError
from adapters.feed import load_feed, source_name
from adapters.pipeline import Pipeline, make_pipeline
from adapters.ports import Packet
from adapters.session import Input
from monitor.aircraft import Aircraft
from monitor.capabilities import checks_off
from monitor.options import Options
from monitor.procedure import Procedure
from monitor.sample import CHANNELS, Sample
from monitor.toml_check import Faults
from replay.logs import kind_of
from replay.recorded import Recording


class Seen:
    """What a channel gave in a capture: how often, between what, and how often it changed."""

    def __init__(self) -> None:
        """Nothing yet."""
        self.count = self.changes = 0
        self.low, self.high = math.inf, -math.inf
        self.last: float | None = None

    def add(self, value: float) -> None:
        """One more value."""
        self.count += 1
        self.low, self.high = min(self.low, value), max(self.high, value)
        self.changes += self.last is not None and value != self.last
        self.last = value


class Trial:
    """The outcome of a description tried on a capture."""

    def __init__(self, feed: FeedDescription) -> None:
        """Nothing tried yet."""
        self.packets = self.samples = 0
        self.seen = {channel.channel: Seen() for channel in feed.channels}
        self.notices: list[str] = []

    def run(self, pipeline: Pipeline, packets: Iterable[Packet]) -> None:
        """Put every packet through."""
        for packet in packets:
            self.packets += 1
            for sample in pipeline(packet.payload, packet.arrival_ns):
                self._count(sample)
            self.notices += pipeline.take_notices()[: 200 - len(self.notices)]

    def _count(self, sample: Sample) -> None:
        self.samples += 1
        for name, seen in self.seen.items():
            value = getattr(sample, name)
            if value is not None:
                seen.add(value)

    def faults(self) -> list[str]:
        """What makes the description unfit for this data."""
        if not self.samples:
            return [f"none of the {self.packets:,} packets gave a sample"]
        silent = [name for name, seen in self.seen.items() if not seen.count]
        return [f"{name}: never supplied by the {self.packets:,} packets" for name in silent]


def packets_of(path: Path) -> Iterator[Packet]:
    """The packets of a recording, a capture, or a text log (each line a packet). Raises `Faults`."""
    if is_capture(path):
        yield from read_capture(path)
        return
    if kind_of(path) == "recording":
        recording = Recording(path)
        for given in recording.inputs():
            yield from _recorded(given)
        recording.close()
        return
    with path.open("rb") as file:
        for number, line in enumerate(file):
            yield Packet(number, str(path), line)


def _recorded(given: Input) -> Iterator[Packet]:
    """The packets in one input of a recording: itself, or those kept of its sender from before (a header line)."""
    if given.kind == "packet":
        yield Packet(given.arrival_ns, given.origin, given.data)
    elif given.kind == "prime":
        for arrival_ns, payload in msgspec.msgpack.decode(given.data, type=list[tuple[int, bytes]]):
            yield Packet(arrival_ns, given.origin, payload)


def check(args: argparse.Namespace) -> int:
    """Check the description named in `args`, print the tables, and give the exit status."""
    gathering = common.Gathering()
    path = Path(args.file).expanduser()
    text = gathering.of(lambda: library.read_text(path, "feed"))
    folder = data_dir(args.data_dir)
    aircraft = gathering.of(lambda: library.open_aircraft(args.aircraft or library.DEFAULT_AIRCRAFT, folder))
    procedure = gathering.of(lambda: library.open_procedure(args.procedure or library.DEFAULT_PROCEDURE, folder))
    gathering.done()
    assert text is not None and aircraft is not None and procedure is not None
    try:
        feed = load_feed(text, f"feed {path.name}")
    except Faults as error:
        return _faulty(args, error.faults)
    trial = _try(feed, Path(args.capture).expanduser()) if args.capture else None
    faults = trial.faults() if trial else []
    checks = states(feed, trial, aircraft, procedure)
    if args.json:
        _print_json(_as_dict(feed, trial, checks, faults))
    else:
        _print_tables(feed, trial, checks, faults)
    return 1 if faults else 0


def _faulty(args: argparse.Namespace, faults: Iterable[str]) -> int:
    if args.json:
        _print_json({"ok": False, "faults": list(faults)})
    for fault in faults:
        print(fault, file=sys.stderr)
    return 1


def _try(feed: FeedDescription, path: Path) -> Trial:
    trial = Trial(feed)
    try:
        trial.run(make_pipeline(feed), packets_of(path))
    except SourceError as error:
        raise Faults([str(error)]) from None
    return trial


def states(
    feed: FeedDescription, trial: Trial | None, aircraft: Aircraft, procedure: Procedure
) -> list[tuple[str, str]]:
    """Each of the coach's checks with why it is off ("" = on), with the channels described, or those that came.

    All there are is what would be off without any channel.
    """
    channels = frozenset(channel.channel for channel in feed.channels)
    if trial is not None:
        channels = frozenset(name for name in channels if trial.seen[name].count)
    off = dict(checks_off(aircraft, procedure, Options(), channels))
    every = [check for check, _ in checks_off(aircraft, procedure, Options(), frozenset())]
    return [(check, off.get(check, "")) for check in dict.fromkeys([*every, *off])]


def _as_dict(
    feed: FeedDescription, trial: Trial | None, checks: list[tuple[str, str]], faults: list[str]
) -> dict[str, Any]:
    found: dict[str, Any] = {
        "ok": not faults,
        "name": feed.name,
        "source": source_name(feed),
        "format": feed.decode.format,
        "channels": [channel.channel for channel in feed.channels],
        "checks_on": [check for check, why in checks if not why],
        "checks_off": [{"check": check, "why": why} for check, why in checks if why],
        "faults": faults,
    }
    if trial is not None:
        found["packets"], found["samples"], found["notices"] = trial.packets, trial.samples, trial.notices
        found["seen"] = {
            name: {"count": seen.count, "low": seen.low, "high": seen.high, "last": seen.last, "changes": seen.changes}
            for name, seen in trial.seen.items()
            if seen.count
        }
    return found


def _print_json(found: dict[str, Any]) -> None:
    sys.stdout.buffer.write(msgspec.json.encode(found) + b"\n")
    sys.stdout.flush()


def _print_tables(feed: FeedDescription, trial: Trial | None, checks: list[tuple[str, str]], faults: list[str]) -> None:
    from rich.console import Console
    from rich.markup import escape

    console = Console(highlight=False)
    where = source_name(feed) or "a log (no [transport])"
    console.print(escape(f"{feed.where} is right: {feed.name}, {feed.decode.format}, {where}"), soft_wrap=True)
    console.print(_channel_table(feed, trial))
    if trial is not None:
        console.print(f"{trial.packets:,} packets gave {trial.samples:,} samples")
        for notice in trial.notices[:20]:
            console.print(escape(f"  {notice}"), soft_wrap=True)
    console.print(_check_table(checks))
    for fault in faults:
        console.print(escape(f"fault: {fault}"), soft_wrap=True)


def _table(*columns: str) -> Any:
    """A narrow table whose first column is never cut."""
    from rich.box import SIMPLE_HEAD
    from rich.table import Table

    table = Table(box=SIMPLE_HEAD, pad_edge=False)
    for number, column in enumerate(columns):
        table.add_column(column, no_wrap=number == 0)
    return table


def _channel_table(feed: FeedDescription, trial: Trial | None) -> Any:
    from rich.markup import escape

    table = _table("channel", "from field", "which is in", *(("values", "least", "most") if trial else ()))
    for channel in feed.channels:
        row = [channel.channel, escape(str(channel.field)), _unit_text(channel)]
        if trial is not None:
            seen = trial.seen[channel.channel]
            numbers = [f"{seen.low:.6g}", f"{seen.high:.6g}"] if seen.count else ["-", "-"]
            row += [f"{seen.count:,}", *numbers]
        table.add_row(*row)
    return table


def _unit_text(channel: ChannelMap) -> str:
    if channel.above is not None:
        return f"1 when above {channel.above:g}"
    steps = [channel.unit or CHANNELS[channel.channel].unit or "0 to 1"]
    steps += [f"x {channel.scale:g}"] if channel.scale != 1.0 else []
    steps += [f"{channel.shift:+g}"] if channel.shift else []
    steps += [f"true, variation {channel.declination_deg:+g}"] if channel.declination_deg else []
    return ", ".join(steps)


def _check_table(checks: list[tuple[str, str]]) -> Any:
    table = _table("", "check of the coach", "why it is off")
    for check_name, why in checks:
        # What is done instead, in brackets, is of interest only when the check is off.
        table.add_row("off" if why else "on", check_name if why else check_name.partition(" (")[0], why)
    return table
