"""Aeroplane profiles and procedures by name or by file: the built-in ones, and the user's own in the data folder.

A name is looked for first among the user's own (`DATA/aircraft/NAME.toml`, `DATA/procedures/NAME.toml`), then among
the built-in ones that ship inside the package `monitor`.
"""

from __future__ import annotations

from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path

import msgspec

from monitor.aircraft import Aircraft
from monitor.aircraft_file import load_aircraft
from monitor.procedure import Procedure
from monitor.procedure_file import based_on, load_procedure
from monitor.toml_check import Faults, nearest

AIRCRAFT = "aircraft"
PROCEDURE = "procedure"
DEFAULT_AIRCRAFT = "sedge"
DEFAULT_PROCEDURE = "normal"

_SHIPPED = {AIRCRAFT: "profiles", PROCEDURE: "procedures"}
_USERS = {AIRCRAFT: "aircraft", PROCEDURE: "procedures"}
_LARGEST_BYTES = 1_000_000  # a profile is a few kB; what is larger is some other file


class Found(msgspec.Struct, frozen=True):
    """One file of the library: short name, "built-in" or the path it came from, and its text."""

    kind: str
    name: str
    origin: str
    text: str

    @property
    def where(self) -> str:
        """How faults name it: "aircraft sedge" for a built-in, else "aircraft PATH"."""
        return f"{self.kind} {self.name if self.origin == 'built-in' else self.origin}"


def _shipped_folder(kind: str) -> Traversable:
    return resources.files("monitor") / _SHIPPED[kind]


def builtin_names(kind: str) -> list[str]:
    """The names of the built-in files of a kind (`AIRCRAFT` or `PROCEDURE`), sorted."""
    files = (item.name for item in _shipped_folder(kind).iterdir())
    return sorted(name.removesuffix(".toml") for name in files if name.endswith(".toml"))


def builtin_text(kind: str, name: str) -> str:
    """The text of a built-in file; raises `Faults` when there is none of that name."""
    if name not in builtin_names(kind):
        raise Faults([_unknown(kind, name, builtin_names(kind))])
    return (_shipped_folder(kind) / f"{name}.toml").read_text(encoding="utf-8")


def user_folder(data_dir: Path, kind: str) -> Path:
    """Where the user's own files of a kind live; it need not exist."""
    return data_dir / _USERS[kind]


def user_files(data_dir: Path | None, kind: str) -> dict[str, Path]:
    """The user's own files of a kind, by name; empty without a data folder. Raises `Faults` when it may not be read."""
    if data_dir is None:
        return {}
    folder = user_folder(data_dir, kind)
    try:
        return {path.stem: path for path in sorted(folder.glob("*.toml"))} if folder.is_dir() else {}
    except OSError as error:
        raise Faults(
            [f"data folder {folder}: cannot be read: {error.strerror or error}; choose another with --data-dir"]
        ) from error


def find(kind: str, choice: str, data_dir: Path | None = None) -> Found:
    """The file that a user's FILE or NAME means. Raises `Faults` when there is none or it cannot be read.

    It is a FILE when it ends in .toml, holds a path separator, or is neither the user's nor a built-in name and such
    a file exists.
    """
    path = Path(choice)
    own = user_files(data_dir, kind)
    if choice.endswith(".toml") or len(path.parts) > 1:
        return Found(kind, path.stem, choice, read_text(path, kind))
    if choice in own:
        return Found(kind, choice, str(own[choice]), read_text(own[choice], kind))
    if choice in builtin_names(kind):
        return Found(kind, choice, "built-in", builtin_text(kind, choice))
    if path.is_file():
        return Found(kind, path.stem, choice, read_text(path, kind))
    raise Faults([_unknown(kind, choice, [*own, *builtin_names(kind)])])


def _unknown(kind: str, name: str, known: list[str]) -> str:
    hint = nearest(name, known)
    return f'{kind} "{name}": no such file, and no {kind} of that name{hint}; known: {", ".join(sorted(set(known)))}'


def read_text(path: Path, kind: str) -> str:
    """The text of a user's TOML file, in UTF-8 with or without a byte-order mark. Raises `Faults` in words."""
    try:
        if path.is_file() and path.stat().st_size > _LARGEST_BYTES:
            raise Faults([f"{kind} {path}: larger than 1 MB, wanted a TOML file"])
        return path.read_bytes().decode("utf-8-sig")
    except OSError as error:
        raise Faults([f"{kind} {path}: cannot be read: {error.strerror or error}"]) from None
    except UnicodeDecodeError as error:
        raise Faults([f"{kind} {path}: byte {error.start}: not UTF-8 text, wanted a TOML file in UTF-8"]) from None


def open_aircraft(choice: str, data_dir: Path | None = None) -> Aircraft:
    """The aeroplane profile that FILE or NAME means, checked. Raises `Faults`."""
    found = find(AIRCRAFT, choice, data_dir)
    return load_aircraft(found.text, found.where)


def open_procedure(choice: str, data_dir: Path | None = None) -> Procedure:
    """The procedure that FILE or NAME means, checked, with its base taken in. Raises `Faults`."""
    found = find(PROCEDURE, choice, data_dir)
    return procedure_from_text(found.text, found.where)


def procedure_from_text(text: str, where: str) -> Procedure:
    """The procedure in `text` (a file's or a recording's), with its built-in base taken in. Raises `Faults`."""
    return _procedure(text, where, ())


def _procedure(text: str, where: str, above: tuple[str, ...]) -> Procedure:
    parent = based_on(text, where)
    if parent is None:
        return load_procedure(text, where)
    names = builtin_names(PROCEDURE)
    if parent not in names or parent in above:
        first = f'{where}: based_on: got "{parent}", wanted a built-in procedure: {", ".join(names)}'
        raise Faults([first, *_other_faults(text, where)])
    base = _procedure(builtin_text(PROCEDURE, parent), f"{PROCEDURE} {parent}", (*above, parent))
    return load_procedure(text, where, base)


def _other_faults(text: str, where: str) -> list[str]:
    try:
        load_procedure(text, where, open_procedure(DEFAULT_PROCEDURE))
    except Faults as faults:
        return list(faults.faults)
    return []
