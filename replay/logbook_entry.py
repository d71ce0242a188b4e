"""From a recording to what the logbook holds of it, and how a flight is entered once its recording is closed."""

from __future__ import annotations

import argparse
import hashlib
import subprocess
import sys
from collections.abc import Callable, Iterable, Iterator
from datetime import datetime
from pathlib import Path

from adapters import common
from adapters.held import load_chain
from adapters.session import Input
from monitor.procedure import Procedure
from monitor.toml_check import Faults
from replay import logbook
from replay.debrief import Debrief, debrief
from replay.debrief_table import LABELS, OUTCOMES
from replay.judged import Judged, judge_flight
from replay.logbook import Entry, Flown
from replay.recorded import Recording

FLOWN_BY = ("settings", "short_field", "flaps_deg", "turn_rule", "departure")
"""What makes a procedure another way of flying; another language or other words do not."""
NOT_YOURS = {"demo": "flown by the built-in pilot, not by you"}
"""Recordings that are never entered, by the command that made them, and why."""
LARGE_BYTES = 4_000_000
"""A recording beyond this (about 12,000 inputs) takes more than a second or two to measure: by a process of its own."""
_ROLL = b'"kind":"phase","id":"takeoff-roll"'


def flown_as(texts: tuple[str, ...]) -> str:
    """The name of the procedure, or of the one it only translates. texts: as `adapters.held.chain` gives them."""
    where = "procedure in the recording"
    own = load_chain(texts, where)
    name = own.name
    for n in range(1, len(texts)):
        base = load_chain(texts[n:], where)
        if not _same_flying(own, base):
            break
        name = base.name
    return name


def _same_flying(one: Procedure, other: Procedure) -> bool:
    return all(getattr(one, field) == getattr(other, field) for field in FLOWN_BY)


def has_takeoff(recording: Recording) -> bool:
    """Whether the coach saw a takeoff in flight; much faster than measuring it."""
    return any(_ROLL in line for line in recording.event_lines())


def why_not(path: Path) -> str | None:
    """Why a recording is not for the logbook, in words; None when it is. Raises `Faults` when it cannot be read."""
    recording = Recording(path)
    try:
        made_by = recording.text("command") if "command" in recording.meta else "fly"
        return NOT_YOURS.get(made_by) or (None if has_takeoff(recording) else "no takeoff in it")
    finally:
        recording.close()


def measured(path: Path) -> Flown:
    """A recording's takeoffs with their figures, as the debrief has them. Raises `Faults` when it cannot be read."""
    recording = Recording(path)
    try:
        setup = common.resolve(argparse.Namespace(), use_config=False, held=recording.held())
        inputs = _Counted(recording.inputs())
        judged = judge_flight(setup, inputs)
    finally:
        recording.close()
    aircraft, procedure, options = setup.aircraft, setup.procedure, setup.options
    result = debrief(judged.stretches, judged.events, aircraft, procedure, options)
    started = _started(recording, path)
    return Flown(
        key=_key(recording, inputs.first),
        started=started.isoformat(timespec="seconds"),
        started_s=started.timestamp(),
        aircraft=aircraft.name,
        procedure=procedure.name,
        flown_as=_flown_as(setup.procedure_texts, procedure),
        level=options.level or procedure.level,
        levels={**procedure.levels, **options.levels},
        command=_text(recording, "command"),
        version=_text(recording, "version"),
        recording=str(path.resolve()),
        inputs=inputs.count,
        takeoffs=_entries(result, judged),
    )


class _Counted:
    """The inputs of a recording, counted as they are gone through; keeps the first."""

    def __init__(self, inputs: Iterable[Input]) -> None:
        self._inputs = inputs
        self.count = 0
        self.first: Input | None = None

    def __iter__(self) -> Iterator[Input]:
        for given in self._inputs:
            self.first = self.first or given
            self.count += 1
            yield given


def _flown_as(texts: tuple[str, ...], procedure: Procedure) -> str:
    try:
        return flown_as(texts)
    except Faults:  # texts of another version; its values were read all the same
        return procedure.name


def _key(recording: Recording, first: Input | None) -> str:
    """The same for the same flight, also for a copy made of it before its end; another for any other flight."""
    begin = b"" if first is None else b"%d|%s|%s" % (first.arrival_ns, first.origin.encode(), first.data)
    return hashlib.sha256(_text(recording, "started").encode() + b"|" + begin).hexdigest()


def _text(recording: Recording, key: str) -> str:
    return recording.text(key) if key in recording.meta else ""


def _started(recording: Recording, path: Path) -> datetime:
    """When the flight began; when a recording does not tell, when its file was last written."""
    try:
        return datetime.fromisoformat(_text(recording, "started")).astimezone()
    except ValueError:
        return datetime.fromtimestamp(path.stat().st_mtime).astimezone()


def _entries(result: Debrief, judged: Judged) -> list[Entry]:
    warnings: dict[int | None, list[str]] = {}
    for event in judged.events:
        if event.kind == "warning":
            warnings.setdefault(event.takeoff, []).append(event.reason or event.id)
    return [
        Entry(one.takeoff, one.outcome, one.figures, one.items, warnings.get(one.takeoff, []))
        for one in result.takeoffs
    ]


# ---- after a flight ----------------------------------------------------------------------------------------------


def enter_flight(
    recording: Path, data_dir: Path, tell: Callable[[str], None], large_bytes: float = LARGE_BYTES
) -> bool:
    """Enter the flight that was just recorded and tell so in a line; False when an interrupt skipped it.

    Whatever goes wrong is one line: the flight is recorded all the same, and can be entered later. A long flight is
    left to a process of its own, so that the program ends at once.
    """
    later = f"enter it later: climbout logbook add {recording}"
    try:
        if why_not(recording) is not None:
            return True
        if recording.stat().st_size > large_bytes:
            _enter_apart(recording, data_dir)
            tell("logbook: a long flight, its takeoffs are entered by a process of their own within seconds")
            return True
        flight = measured(recording)
        logbook.enter(data_dir / logbook.FILE, flight)
        for line in entered_lines(flight):
            tell(f"logbook: {line}")
    except KeyboardInterrupt:
        tell(f"logbook: not entered (interrupted); {later}")
        return False
    except Faults as faults:
        tell(f"not entered: {'; '.join(faults.faults)}; {later}")
    except Exception as error:  # the flight is over and recorded; its exit status is not the logbook's
        tell(f"logbook: not entered ({type(error).__name__}: {error}); {later}")
    return True


def entered_lines(flight: Flown) -> list[str]:
    """What was entered, a line a takeoff."""
    return [f"takeoff {entry.number} entered: {in_words(entry)}" for entry in flight.takeoffs]


def in_words(entry: Entry) -> str:
    """A takeoff's outcome, and what was outside its band."""
    outside = [LABELS[item.id].lower() for item in entry.items if item.verdict == "outside"]
    judged = sum(item.verdict != "not-measured" for item in entry.items)
    found = f"outside the band: {', '.join(outside)}" if outside else f"all {judged} figures within their band"
    return f"{OUTCOMES[entry.outcome]}; {found if judged else 'no figure could be judged'}"


def _enter_apart(recording: Path, data_dir: Path) -> None:
    """Start a process that enters it and outlives this one; an interrupt typed at the terminal does not reach it."""
    flags = getattr(subprocess, "CREATE_NEW_PROCESS_GROUP", 0) | getattr(subprocess, "DETACHED_PROCESS", 0)
    subprocess.Popen(
        [sys.executable, "-P", "-m", "replay.logbook_apart", str(recording.resolve()), str(data_dir.resolve())],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
        creationflags=flags,
    )
