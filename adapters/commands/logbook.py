"""`climbout logbook`: past takeoffs and trends; entering recordings; striking what should not count."""

from __future__ import annotations

import argparse
import contextlib
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import msgspec

from adapters import common, config, library
from adapters.cli import CAUTION, EXIT_FAULTS
from monitor.toml_check import Faults, shown

if TYPE_CHECKING:
    from rich.console import Console

    from replay.logbook import Line

NAME = "logbook"
HELP = "past takeoffs and trends; add RECORDING, strike NUMBER"
ACTIONS = ("show", "add", "strike", "restore")
LAST = 10
PLAIN_WIDTH = 160
"""Columns where the output is no terminal: no line is cut or folded for want of room."""
ABOUT = (
    "With no action: the last takeoffs and their trends. A flight of climbout fly is entered when its recording\n"
    "closes; with level auto the next flight's calls follow from it. Demos are not flown by you and never count.\n"
    "\n"
    "  add RECORDING...   enter recordings (a killed flight's, another machine's), or all of a folder\n"
    "  strike NUMBER...   let takeoffs count for nothing, in the trends and for level auto; nothing is deleted\n"
    "  restore NUMBER...  let them count again"
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What to do, how much to show, and of which aeroplane."""
    parser.description = f"{HELP}\n\n{ABOUT}"
    parser.add_argument("action", nargs="?", choices=ACTIONS, default="show", metavar="ACTION", help=", ".join(ACTIONS))
    parser.add_argument("what", nargs="*", metavar="RECORDING or NUMBER", help="for add, strike and restore")
    parser.add_argument("--last", metavar="N", default=str(LAST), help=f"takeoffs shown and judged (default {LAST})")
    parser.add_argument("--aircraft", metavar="NAME", help="only those of this aeroplane")
    common.add_json(parser)
    common.add_data_dir(parser)


def run(args: argparse.Namespace) -> int:
    """Do it: 0; 1 when one of several files could not be entered. Raises `Faults` when the line or a file is wrong."""
    path = config.data_dir(args.data_dir) / _file()
    if args.action == "show":
        return _show(args, path)
    if not args.what:
        wanted = "a recording or a folder of them" if args.action == "add" else "the number of a takeoff"
        raise Faults([f"{args.action}: got nothing, wanted {wanted}"])
    return _add(args, path) if args.action == "add" else _strike(args, path)


def _file() -> str:
    from replay.logbook import FILE

    return FILE


# ---- show --------------------------------------------------------------------------------------------------------


def _show(args: argparse.Namespace, path: Path) -> int:
    from replay.logbook import read
    from replay.logbook_trends import counted, trends

    faults = [f"show: got {shown(args.what[0])}, wanted nothing more"] if args.what else []
    last = _whole(args.last)
    if last is None or not 1 <= last <= 1000:
        raise Faults([*faults, f"--last: got {shown(args.last)}, wanted a whole number from 1 to 1000"])
    if faults:
        raise Faults(faults)
    lines = read(path)
    if args.aircraft is not None:
        name = _aircraft(args, lines)
        lines = [line for line in lines if line.aircraft == name]
    found = trends(counted(lines), last)
    if args.json:
        for kind, value in [*(("takeoff", line) for line in lines[-last:]), *(("trend", trend) for trend in found)]:
            print(msgspec.json.encode({"kind": kind, **msgspec.to_builtins(value)}).decode(), flush=True)
        return 0
    _print(lines, found, last, path)
    return 0


def _print(lines: Sequence[Line], found: Sequence[object], last: int, path: Path) -> None:
    from replay.logbook_table import print_lines, print_trends

    if not lines:
        print(f"The logbook is empty ({path}). A takeoff flown with climbout fly is entered when its recording closes;")
        print("climbout logbook add RECORDING enters one that was recorded before.")
        print(CAUTION)
        return
    console = _console()
    print_lines(lines[-last:], len(lines), console)
    print_trends(found, last, console)  # type: ignore[arg-type]
    console.print(CAUTION, highlight=False)


def _console() -> Console:
    """Rich at a terminal; elsewhere the same in plain text, wide enough."""
    from rich.console import Console

    return Console() if sys.stdout.isatty() else Console(width=PLAIN_WIDTH, no_color=True, highlight=False)


def _aircraft(args: argparse.Namespace, lines: Sequence[Line]) -> str:
    """The name as the logbook has it, from that name in any case, or from a profile's. Raises `Faults`."""
    names = list(dict.fromkeys(line.aircraft for line in lines))
    wanted = args.aircraft
    with contextlib.suppress(Faults):  # no profile: then the name as it was entered
        wanted = library.open_aircraft(wanted, config.data_dir(args.data_dir)).name
    for name in names:
        if name.casefold() in (wanted.casefold(), args.aircraft.casefold()):
            return name
    there = f"the logbook has: {', '.join(names)}" if names else "the logbook is empty"
    raise Faults([f"--aircraft: got {shown(args.aircraft)}, of which there is no takeoff; {there}"])


def _whole(text: str) -> int | None:
    return int(text) if text.isascii() and text.isdigit() and len(text) < 10 else None


# ---- add ---------------------------------------------------------------------------------------------------------


def _add(args: argparse.Namespace, path: Path) -> int:
    """Enter what is named. All files are looked at before the first is entered."""
    named, faults = _recordings(args.what)
    if faults:
        raise Faults(faults)
    bad = 0
    for recording in named:
        try:
            state, rows = _enter(recording, path)
        except Faults as error:
            if len(named) == 1:
                raise
            bad, state, rows = bad + 1, "; ".join(error.faults), []
        _tell(args, recording, state, rows)
    return EXIT_FAULTS if bad else 0


def _recordings(what: Sequence[str]) -> tuple[list[Path], list[str]]:
    """The recordings named and those of the folders named; and what is wrong with what was named itself."""
    from replay.logbook_entry import why_not
    from replay.logs import kind_of
    from replay.recording import SUFFIX

    found: list[Path] = []
    faults: list[str] = []
    for given in what:
        path = Path(given).expanduser()
        if path.is_dir():
            found += sorted(path.glob(f"*{SUFFIX}"))
            continue
        try:
            if kind_of(path) == "log":
                raise Faults([f"flight {path}: a text log, wanted a recording: only that tells when it was flown"])
            why_not(path)
            found.append(path)
        except Faults as error:
            faults += error.faults
    return found, faults


def _enter(recording: Path, path: Path) -> tuple[str, list[str]]:
    """What became of a recording, and a line for each takeoff that was entered."""
    from replay.logbook import enter
    from replay.logbook_entry import entered_lines, measured, why_not

    reason = why_not(recording)
    if reason is not None:
        return f"not entered: {reason}", []
    flight = measured(recording)
    if not flight.takeoffs:
        return "not entered: no takeoff in it", []
    return ("entered", entered_lines(flight)) if enter(path, flight) else ("is in the logbook already", [])


def _tell(args: argparse.Namespace, recording: Path, state: str, rows: Sequence[str]) -> None:
    if args.json:
        line = {"kind": "added", "recording": str(recording), "state": state, "takeoffs": len(rows)}
        print(msgspec.json.encode(line).decode(), flush=True)
        return
    print("\n".join([f"{recording.name}: {row}" for row in rows] or [f"{recording.name}: {state}"]), flush=True)


# ---- strike, restore ---------------------------------------------------------------------------------------------


def _strike(args: argparse.Namespace, path: Path) -> int:
    from replay.logbook import strike

    numbers = [_whole(text) for text in args.what]
    faults = [
        f"{args.action}: got {shown(text)}, wanted the number of a takeoff"
        for text, number in zip(args.what, numbers, strict=True)
        if number is None
    ]
    if faults:
        raise Faults(faults)
    wanted = [number for number in numbers if number is not None]
    missing = strike(path, wanted, args.action == "strike")
    if missing:
        raise Faults([f"{args.action}: there is no takeoff {number} in {path}" for number in missing])
    for number in wanted:
        done = "struck: it counts for nothing" if args.action == "strike" else "counts again"
        row = msgspec.json.encode({"kind": args.action, "takeoff": number}).decode() if args.json else ""
        print(row or f"takeoff {number} {done}", flush=True)
    return 0
