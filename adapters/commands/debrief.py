"""`climbout debrief FLIGHT`: the measured figures of a flight, or of every flight in a folder."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import Any

from adapters import common
from adapters.cli import CAUTION
from monitor.toml_check import Faults

NAME = "debrief"
HELP = "measured figures of a flight against the standards"
NO_FLIGHTS = (".toml", ".md", "-wal", "-shm", "-journal")
"""Endings of files in a folder of flights that are left alone; what the others are is told by their content."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The flight and the common options."""
    parser.add_argument(
        "flight", metavar="FLIGHT", help="a recording, a text log read with --feed, or a folder of them"
    )
    common.add_common(parser, voice=False)


def run(args: argparse.Namespace) -> int:
    """Debrief one flight (exit 0), or each of a folder (exit 1 when any item is outside its band or a file is bad)."""
    path = Path(args.flight).expanduser()
    if not path.is_dir():
        _show(args, *_debrief(args, str(path)))
        return 0
    return _folder(args, path)


def _folder(args: argparse.Namespace, folder: Path) -> int:
    flights = [path for path in sorted(folder.iterdir()) if path.is_file() and _may_be_flight(path.name)]
    if not flights:
        raise Faults([f"flight {folder}: a folder without a file in it"])
    outside = bad = 0
    for path in flights:
        print(f"\n{path.name}", file=sys.stderr)
        try:
            result, notes = _debrief(args, str(path))
        except Faults as faults:
            bad += 1
            print("\n".join(faults.faults), file=sys.stderr)
            continue
        outside += result.faults
        _show(args, result, notes, name=path.name)
    print(f"\n{len(flights)} flights, {bad} not readable, {outside} figures outside their band", file=sys.stderr)
    return 1 if outside or bad else 0


def _may_be_flight(name: str) -> bool:
    return not name.startswith(".") and not name.endswith(NO_FLIGHTS)


def _debrief(args: argparse.Namespace, flight: str) -> tuple[Any, tuple[str, ...]]:
    from replay.debrief import debrief
    from replay.heard import SpokenLog
    from replay.judged import judge_flight
    from replay.opening import open_flight

    opened = open_flight(args, flight)
    setup = opened.setup
    judged = judge_flight(setup, opened.steps)
    spoken = SpokenLog.of_flight(opened.spoken, judged)
    result = debrief(judged.stretches, judged.events, setup.aircraft, setup.procedure, setup.options, spoken)
    return result, (*opened.notes, *opened.closing_notes())


def _show(args: argparse.Namespace, result: Any, notes: tuple[str, ...], name: str | None = None) -> None:
    for line in notes:
        print(line, file=sys.stderr)
    if args.json:
        _print_json(result, name)
        return
    from replay.debrief_table import print_debrief

    print_debrief(result)
    print(CAUTION)


def _print_json(result: Any, name: str | None) -> None:
    import msgspec

    from replay.debrief import as_dict

    line = as_dict(result) if name is None else {"flight": name, **as_dict(result)}
    print(msgspec.json.encode(line).decode(), flush=True)
