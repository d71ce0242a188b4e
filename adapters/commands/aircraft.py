"""`climbout aircraft list|show|new|check`: aeroplane profiles."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

import msgspec

from adapters import common, config, library
from monitor.aircraft import Aircraft, Band
from monitor.aircraft_file import load_aircraft
from monitor.sample import CHANNELS
from monitor.toml_check import Faults, plain

NAME = "aircraft"
HELP = "aeroplane profiles: list, show, new, check"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """One sub-command each, with --json and --data-dir."""
    commands = parser.add_subparsers(dest="action", metavar="list|show|new|check", required=True)
    _sub(commands, "list", "the built-in profiles and your own")
    show = _sub(commands, "show", "one profile, with every mark")
    show.add_argument("choice", metavar="FILE or NAME", help="a TOML file, or the name of a profile")
    new = _sub(commands, "new", "write a profile of your own to fill in, from an existing one")
    new.add_argument("name", metavar="NAME", help="its short name, the file's name; or a path that ends in .toml")
    new.add_argument("--like", metavar="FILE or NAME", default=library.DEFAULT_AIRCRAFT, help="start from this one")
    check = _sub(commands, "check", "tell every fault of a file")
    check.add_argument("choices", metavar="FILE", nargs="+", help="TOML files, or names of profiles")


def _sub(commands: Any, name: str, meaning: str) -> argparse.ArgumentParser:
    parser: argparse.ArgumentParser = commands.add_parser(name, help=meaning, description=meaning, allow_abbrev=False)
    common.add_json(parser)
    common.add_data_dir(parser)
    return parser


def run(args: argparse.Namespace) -> int:
    """Do the sub-command. Raises `Faults` when a file is wrong; `check` with those of all files."""
    data_dir = config.data_dir(args.data_dir)
    if args.action == "list":
        return _list(args, data_dir)
    if args.action == "show":
        return _show(args, data_dir)
    if args.action == "new":
        return _new(args, data_dir)
    return _check(args, data_dir)


def _list(args: argparse.Namespace, data_dir: Path) -> int:
    own = library.user_files(data_dir, library.AIRCRAFT)
    names = [*own, *(name for name in library.builtin_names(library.AIRCRAFT) if name not in own)]
    rows = [_listed(library.find(library.AIRCRAFT, name, data_dir)) for name in names]
    if args.json:
        for row in rows:
            print(json.dumps(row))
        return 0
    width = max(len(row["name"]) for row in rows)
    for row in rows:
        print(f"{row['name']:<{width}}  {row['title']}  [{row['origin']}]")
    print(f"\nYour own go into {library.user_folder(data_dir, library.AIRCRAFT)}: climbout aircraft new NAME")
    return 0


def _listed(found: library.Found) -> dict[str, str]:
    try:
        title = load_aircraft(found.text, found.where).name
    except Faults as faults:
        title = f"({len(faults.faults)} faults: climbout aircraft check {found.name})"
    return {"name": found.name, "title": title, "origin": found.origin}


def _show(args: argparse.Namespace, data_dir: Path) -> int:
    aircraft = library.open_aircraft(args.choice, data_dir)
    if args.json:
        values = {key: value for key, value in msgspec.structs.asdict(aircraft).items() if key != "text"}
        print(msgspec.json.encode(values).decode())
        return 0
    print("\n".join(describe(aircraft)))
    return 0


def describe(aircraft: Aircraft) -> list[str]:
    """The profile in lines for a person."""
    gear = aircraft.gear + (", retractable" if aircraft.retractable_gear else "")
    lines = [aircraft.name, f"  propeller {aircraft.propeller}, {gear} gear", "", "Speeds (indicated, kt)"]
    speeds = msgspec.structs.asdict(aircraft.speeds_kias)
    lines += [f"  {name.replace('_', ' '):<20} {_or_none(value)}" for name, value in speeds.items()]
    lines += ["", "Takeoff"]
    lines += [f"  {name:<20} {_or_none(value)}{unit if value is not None else ''}" for name, value, unit in (
        ("pitch target", aircraft.pitch_target_deg, " deg"),
        ("pitch limit", aircraft.pitch_max_deg, " deg"),
        ("flaps", aircraft.takeoff_flaps_deg, " deg"),
        ("least rpm", aircraft.rpm_takeoff_min, ""),
        ("rpm red line", aircraft.rpm_red_line, ""),
        ("expected roll to VR", aircraft.expected_roll_s, " s"),
        ("ground roll", aircraft.ground_roll_ft, " ft"),
        ("stop from VR", aircraft.stop_from_rotate_ft, " ft"),
        ("leaning above", aircraft.lean_height_ft, " ft"),
    )]  # fmt: skip
    lines += ["", "Instruments"]
    lines += [f"  {channel:<24} {_marks(channel, band)}" for channel, band in aircraft.instruments.items()]
    return lines if aircraft.instruments else [*lines, "  none marked: the checks that need marks are off"]


def _or_none(value: float | None) -> str:
    return "-" if value is None else plain(value)


def _marks(channel: str, band: Band) -> str:
    parts = [] if band.green is None else [f"green {plain(band.green[0])} to {plain(band.green[1])}"]
    parts += [] if band.caution is None else [f"caution {plain(band.caution[0])} to {plain(band.caution[1])}"]
    parts += [] if band.min is None else [f"min {plain(band.min)}"]
    parts += [] if band.max is None else [f"max {plain(band.max)}"]
    return f"{', '.join(parts)} {CHANNELS[channel].unit}".rstrip()


def _new(args: argparse.Namespace, data_dir: Path) -> int:
    path = _new_path(args.name, data_dir)
    found = library.find(library.AIRCRAFT, args.like, data_dir)
    like = load_aircraft(found.text, found.where)
    text = found.text.replace(
        json.dumps(like.name, ensure_ascii=False), json.dumps(f"{path.stem} (to be filled in)"), 1
    )
    head = (
        "# Every value below is another profile's: replace each with the aeroplane's own, from its handbook.\n"
        f"# Then: climbout aircraft check {args.name}\n\n"
    )
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("x", encoding="utf-8") as file:
            file.write(head + text)
    except FileExistsError:
        raise Faults([f"aircraft {path}: is there already; nothing was written"]) from None
    except OSError as error:
        raise Faults([f"aircraft {path}: cannot be written: {error.strerror or error}"]) from None
    print(json.dumps({"written": str(path)}) if args.json else f"Written: {path}\nFill it in from the handbook, then: "
          f"climbout aircraft check {args.name}")  # fmt: skip
    return 0


def _new_path(name: str, data_dir: Path) -> Path:
    """Where a new profile goes: a path as given, a short name into the user's folder."""
    if name.endswith(".toml"):
        return Path(name).expanduser()
    if not name or not all(letter.isalnum() or letter in "-_" for letter in name):
        raise Faults([f'NAME: got "{name}", wanted letters, digits, "-" and "_", or a path that ends in .toml'])
    return library.user_folder(data_dir, library.AIRCRAFT) / f"{name}.toml"


def _check(args: argparse.Namespace, data_dir: Path) -> int:
    found: list[str] = []
    for choice in args.choices:
        faults = _faults_of(choice, data_dir)
        found += faults
        if args.json:
            print(json.dumps({"file": choice, "faults": list(faults)}))
        elif not faults:
            print(f"aircraft {choice}: no fault")
    if found:
        raise Faults(found)
    return 0


def _faults_of(choice: str, data_dir: Path) -> tuple[str, ...]:
    try:
        library.open_aircraft(choice, data_dir)
    except Faults as faults:
        return faults.faults
    return ()
