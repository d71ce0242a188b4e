"""Recordings and logbooks for tests: a trainer flight recorded as `fly` does it, takeoffs with verdicts as asked."""

from __future__ import annotations

import argparse
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path

import msgspec

from adapters import cli, common
from adapters.ports import Packet
from adapters.session import Session
from monitor.options import Options
from replay import logbook
from replay.items import Item
from replay.keeping import flight_meta
from replay.logbook import Entry, Flown
from replay.recording import Recorder
from replay.trainer_feed import feed_text
from tests import trainer_packets

NOW = datetime(2026, 5, 4, 10, 0, tzinfo=UTC)
GOOD = {
    "full-power-after": "within",
    "takeoff-rpm": "within",
    "rotation-speed": "within",
    "climb-speed-share": "within",
    "first-turn-height": "within",
}
"""Verdicts of a takeoff that shows every skill but the flaps (they were up)."""


def setup_of(options: Options | None = None, procedure: str = "normal") -> common.Setup:
    """The set-up of a trainer flight in the built-in Sedge."""
    args = argparse.Namespace(aircraft="sedge", procedure=procedure, data_dir=None, feed=None)
    setup = common.resolve(args, use_config=False, assumed_feed=feed_text(), env={})
    return setup if options is None else msgspec.structs.replace(setup, options=options)


def record(
    path: Path, *, command: str = "fly", seconds: float = 75.0, options: Options | None = None, closed: bool = True
) -> Path:
    """Record the trainer's takeoff at 10 Hz as a command would; not `closed`: cut off as by a kill, without its end."""
    setup = setup_of(options)
    recorder = Recorder(path, flight_meta(setup, command, cli.our_version(), NOW), print)
    session = Session(setup.feed, setup.aircraft, setup.procedure, setup.options)
    arrival_ns = 0
    for at_s, payload in trainer_packets.packets(10.0, 75.0):
        if at_s <= seconds:
            arrival_ns = 31_000_000_000 + round(at_s * 1e9)
            events = session.packet(Packet(arrival_ns, "a:1", payload))
            recorder.record(session.accepted, events)
    if closed:
        recorder.record((), session.end(arrival_ns + 1))
    recorder.close()
    return path


@cache
def item(id_: str, verdict: str, actual: float = 1.0, target: float | None = None) -> Item:
    """One line of a debrief."""
    return Item(id_, target, actual, "kt", None, None, verdict, None, "made up")


def flight(
    n: int, verdicts: Mapping[str, str] = GOOD, *, aircraft: str = "", days_ago: float = 1.0, flown_as: str = ""
) -> Flown:
    """A flight with one takeoff of these verdicts; `n` tells it from others."""
    setup = setup_of()
    started = NOW - timedelta(days=days_ago) + timedelta(minutes=n)
    return Flown(
        key=f"flight {n}",
        started=started.isoformat(timespec="seconds"),
        started_s=started.timestamp(),
        aircraft=aircraft or setup.aircraft.name,
        procedure=setup.procedure.name,
        flown_as=flown_as or setup.procedure.name,
        level="prompt",
        levels={},
        command="fly",
        version="0",
        recording=f"flight-{n}.climbout",
        inputs=100,
        takeoffs=[Entry(1, "climbed", {"liftoff_s": 20.0}, [item(i, v) for i, v in verdicts.items()], [])],
    )


def fill(data_dir: Path, *flights: Flown) -> Path:
    """A logbook with these flights."""
    path = data_dir / logbook.FILE
    for one in flights:
        logbook.enter(path, one)
    return path
