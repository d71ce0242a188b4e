"""Opens a flight for replay or debrief, whichever kind its content tells, with everything it is judged by."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path

import msgspec

from adapters import common
from adapters.choices import Gathering
from adapters.cli import our_version
from adapters.speech.spoken import Spoken
from replay.logs import Log, default_feed_text, kind_of
from replay.player import Step
from replay.recorded import Recording


class Flight(msgspec.Struct, frozen=True):
    """A flight ready to play. kind: "recording" or "log". steps can be gone through once.

    notes: lines for a person before it begins. closing_notes: what there is to say afterwards (data faults). spoken:
    the voice's log, or why there is none. absent: the channels mapped to fields that a log's rows have not had; of a
    recording's packets the session tells.
    """

    kind: str
    setup: common.Setup
    steps: Iterable[Step]
    notes: tuple[str, ...]
    closing_notes: Callable[[], list[str]]
    spoken: Sequence[Spoken] | str
    absent: Callable[[], frozenset[str]] = frozenset


def open_flight(args: argparse.Namespace, given: str, faults: Iterable[str] = ()) -> Flight:
    """Open FLIGHT with the common options in `args`. Raises `Faults` with every fault, `faults` included.

    The user's config is never looked at; for a recording, only options on the command line win over what it holds.
    """
    gathering = Gathering()
    gathering.faults += faults
    path = Path(given).expanduser()
    kind = gathering.of(lambda: kind_of(path))
    if kind is None:
        gathering.of(lambda: common.resolve(args, use_config=False))  # what else is wrong is told at once
    flight = gathering.of(lambda: _recording(args, path) if kind == "recording" else _log(args, path)) if kind else None
    gathering.done()
    assert flight is not None
    return flight


def _recording(args: argparse.Namespace, path: Path) -> Flight:
    recording = Recording(path)
    setup = common.resolve(args, held=recording.held())
    own = [f"{place} wins over what the recording holds" for place in setup.given.values()]
    made_by = recording.text("version") if "version" in recording.meta else "unknown"
    if made_by != our_version():
        recording.notes.append(f"recorded by climbout {made_by}, this is {our_version()}: calls may differ")
    before = tuple(recording.notes)
    notes = (*before, *setup.notes, *own)

    def closing_notes() -> list[str]:
        return recording.notes[len(before) :]

    return Flight("recording", setup, recording.inputs(), notes, closing_notes, _spoken(recording, setup))


def _spoken(recording: Recording, setup: common.Setup) -> Sequence[Spoken] | str:
    spoken = recording.spoken()
    if spoken is None:
        return "recorded before the voice's log was kept"
    return spoken or ("the voice's log is empty" if setup.options.voice else "it was flown without a voice")


def _log(args: argparse.Namespace, path: Path) -> Flight:
    gathering = Gathering()
    assumed = gathering.of(lambda: default_feed_text(path)) if args.feed is None else None
    setup = gathering.of(lambda: common.resolve(args, use_config=False, assumed_feed=assumed))
    gathering.done()
    assert setup is not None
    log = Log(path, setup.feed)
    no_voice = "a text log holds no voice's log"
    return Flight("log", setup, log.samples(), setup.notes, log.take_notices, no_voice, log.absent)
