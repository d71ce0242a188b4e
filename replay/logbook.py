"""The logbook: every takeoff that was flown live, with its figures and items, in one SQLite file of the data folder.

Reading never changes the file: it is copied into memory first, and brought up to date there when an older version
wrote it. Writing does so in the file, in the same transaction as what is written. What is there is never lost: a
takeoff that should not count is struck, not deleted, and a damaged file is left as it is.

Tables, format 1: `flight` (one a recording; `key` tells the same recording again, see `replay.logbook_entry`),
`takeoff` (one a takeoff; figures, warnings: JSON), `item` (the debrief's lines).
"""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import msgspec

from monitor.toml_check import Faults
from replay.items import Item

FILE = "logbook.sqlite"
APPLICATION_ID = 0x434C4C42
"""Marks a SQLite file as ours: "CLLB"."""
WAIT_S = 2.0
"""So long a file is waited for that another program is writing to."""

_FLIGHT_TABLE = """CREATE TABLE flight (
    id INTEGER PRIMARY KEY, key TEXT NOT NULL UNIQUE, started TEXT NOT NULL, started_s REAL NOT NULL,
    aircraft TEXT NOT NULL, procedure TEXT NOT NULL, flown_as TEXT NOT NULL, level TEXT NOT NULL, levels TEXT NOT NULL,
    version TEXT NOT NULL, recording TEXT NOT NULL, inputs INTEGER NOT NULL)"""
_TAKEOFF_TABLE = """CREATE TABLE takeoff (
    id INTEGER PRIMARY KEY AUTOINCREMENT, flight INTEGER NOT NULL, number INTEGER NOT NULL, outcome TEXT NOT NULL,
    figures TEXT NOT NULL, warnings TEXT NOT NULL, struck INTEGER NOT NULL DEFAULT 0, UNIQUE (flight, number))"""
_ITEM_TABLE = """CREATE TABLE item (
    takeoff INTEGER NOT NULL, n INTEGER NOT NULL, id TEXT NOT NULL, target REAL, actual REAL, unit TEXT NOT NULL,
    low REAL, high REAL, verdict TEXT NOT NULL, why TEXT, source TEXT NOT NULL, PRIMARY KEY (takeoff, n))"""

STEPS: tuple[tuple[str, ...], ...] = ((_FLIGHT_TABLE, _TAKEOFF_TABLE, _ITEM_TABLE),)
"""What makes each format from the one before; `user_version` counts the steps done. Only ever add at the end."""


class Entry(msgspec.Struct, frozen=True):
    """One takeoff of a flight, to be entered. number: 1, 2, … within it. warnings: their reasons, in order."""

    number: int
    outcome: str
    figures: dict[str, float | None]
    items: list[Item]
    warnings: list[str]


class Flown(msgspec.Struct, frozen=True):
    """A flight with its takeoffs, to be entered.

    key: the same for the same recording. started: ISO 8601 with its offset; started_s: the same as Unix time.
    flown_as: the procedure by its way of flying, the same in every language. level, levels: of coaching, as flown.
    command: what recorded it. inputs: how much of the flight the recording holds.
    """

    key: str
    started: str
    started_s: float
    aircraft: str
    procedure: str
    flown_as: str
    level: str
    levels: dict[str, str]
    command: str
    version: str
    recording: str
    inputs: int
    takeoffs: list[Entry]


class Line(msgspec.Struct, frozen=True):
    """One takeoff as it stands in the logbook. no: its number there. struck: it counts for nothing."""

    no: int
    started: str
    started_s: float
    number: int
    aircraft: str
    procedure: str
    flown_as: str
    outcome: str
    level: str
    levels: dict[str, str]
    figures: dict[str, float | None]
    warnings: list[str]
    recording: str
    struck: bool
    items: list[Item]

    @property
    def verdicts(self) -> dict[str, str]:
        """The items' verdicts by id."""
        return {item.id: item.verdict for item in self.items}


def read(path: Path, wait_s: float = WAIT_S) -> list[Line]:
    """Every takeoff, oldest first; none when there is no file. Raises `Faults` when it cannot be read."""
    try:
        if not path.exists():
            return []
        with contextlib.closing(sqlite3.connect(":memory:", isolation_level=None)) as memory:
            _copy(path, memory, wait_s)
            _upgrade(memory)
            return _lines(memory)
    except OSError as error:
        raise Faults([f"logbook {path}: cannot be read: {error.strerror or error}"]) from None
    except (sqlite3.Error, msgspec.MsgspecError, TypeError) as error:
        raise Faults([_fault(path, error)]) from None


def enter(path: Path, flight: Flown, wait_s: float = WAIT_S) -> list[int]:
    """Enter a flight's takeoffs and give their numbers; none when all of it is there already.

    A recording that was entered before and has since grown (it was not closed then) replaces what it held. Raises
    `Faults` when the file cannot be written.
    """
    with _writing(path, wait_s) as database:
        before = database.execute("SELECT id, inputs FROM flight WHERE key = ?", (flight.key,)).fetchone()
        if before is not None and before[1] >= flight.inputs:
            return []
        id_ = _enter_flight(database, flight, None if before is None else before[0])
        return [_enter_takeoff(database, id_, entry) for entry in flight.takeoffs]


def strike(path: Path, numbers: Sequence[int], struck: bool) -> list[int]:
    """Strike takeoffs, so that they count for nothing, or let them count again; gives the numbers that are not there.

    When any is not there, nothing is changed. Raises `Faults` when the file cannot be written.
    """
    if not path.exists():
        return list(numbers)
    with _writing(path, WAIT_S) as database:
        known = {id_ for (id_,) in database.execute("SELECT id FROM takeoff")}
        missing = [number for number in numbers if number not in known]
        if not missing:
            database.executemany("UPDATE takeoff SET struck = ? WHERE id = ?", [(struck, n) for n in numbers])
        return missing


# ---- the file ----------------------------------------------------------------------------------------------------


def _copy(path: Path, memory: sqlite3.Connection, wait_s: float) -> None:
    """The file's content in memory. Where even a lock cannot be made (a read-only disk) it is read as it lies."""
    error: sqlite3.Error | None = None
    for way in ("mode=rw", "mode=ro&immutable=1"):
        try:
            with contextlib.closing(_connect(f"{path.resolve().as_uri()}?{way}", wait_s)) as database:
                database.execute("BEGIN")
                _check(database, path)  # takes the lock for reading, waiting as long as allowed
                database.backup(memory)
                return
        except sqlite3.OperationalError as why:
            if _is_locked(why):
                raise
            error = error or why
    assert error is not None
    raise error


def _connect(address: str, wait_s: float) -> sqlite3.Connection:
    return sqlite3.connect(address, timeout=wait_s, isolation_level=None, uri=True)


@contextlib.contextmanager
def _writing(path: Path, wait_s: float) -> Iterator[sqlite3.Connection]:
    """One transaction on the file, which is made when it is not there: all of it or nothing."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with contextlib.closing(_connect(f"{path.resolve().as_uri()}?mode=rwc", wait_s)) as database:
            database.execute("BEGIN IMMEDIATE")
            try:
                _check(database, path)
                _upgrade(database)
                yield database
                database.execute("COMMIT")
            finally:
                if database.in_transaction:
                    database.execute("ROLLBACK")
    except OSError as error:
        raise Faults([f"logbook {path}: cannot be made: {error.strerror or error}"]) from None
    except sqlite3.Error as error:
        raise Faults([_fault(path, error)]) from None


def _check(database: sqlite3.Connection, path: Path) -> None:
    """Raise `Faults` when it is not ours, or newer than we are. A file without tables is a new one."""
    application, version = (database.execute(f"PRAGMA {name}").fetchone()[0] for name in _HEADER)
    tables = database.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
    if application != APPLICATION_ID and (application or tables):
        raise Faults([f"logbook {path}: a SQLite file, but no logbook of climbout; it is left as it is"])
    if version > len(STEPS):
        newer = f"written by a newer climbout (format {version}, this one knows up to {len(STEPS)})"
        raise Faults([f"logbook {path}: {newer}; it is left as it is: update climbout"])


_HEADER = ("application_id", "user_version")


def _upgrade(database: sqlite3.Connection) -> None:
    """Bring the tables to the newest format."""
    version = database.execute("PRAGMA user_version").fetchone()[0]
    for step in STEPS[version:]:
        for statement in step:
            database.execute(statement)
    if version < len(STEPS):
        database.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        database.execute(f"PRAGMA user_version = {len(STEPS)}")


def _is_locked(error: sqlite3.Error) -> bool:
    return (getattr(error, "sqlite_errorcode", 0) & 0xFF) in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED)


def _fault(path: Path, error: Exception) -> str:
    if isinstance(error, sqlite3.Error) and _is_locked(error):
        return f"logbook {path}: another program is writing to it ({error})"
    code = getattr(error, "sqlite_errorcode", 0) & 0xFF
    if code in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB) or not isinstance(error, sqlite3.OperationalError):
        again = "move it away, and enter your recordings anew with climbout logbook add FOLDER"
        return f"logbook {path}: damaged ({error}); it is left as it is: {again}"
    return f"logbook {path}: {error}"


# ---- rows --------------------------------------------------------------------------------------------------------

_FLIGHT = ("key", "started", "started_s", "aircraft", "procedure", "flown_as", "level", "levels", "version",
           "recording", "inputs")  # fmt: skip


def _enter_flight(database: sqlite3.Connection, flight: Flown, id_: int | None) -> int:
    values = [getattr(flight, name) if name != "levels" else _json(flight.levels) for name in _FLIGHT]
    marks = ", ".join("?" * (len(_FLIGHT) + 1))
    query = f"INSERT OR REPLACE INTO flight (id, {', '.join(_FLIGHT)}) VALUES ({marks})"
    return int(database.execute(query, (id_, *values)).lastrowid or 0)


def _enter_takeoff(database: sqlite3.Connection, flight: int, entry: Entry) -> int:
    values = (flight, entry.number, entry.outcome, _json(entry.figures), _json(entry.warnings))
    database.execute(
        "INSERT INTO takeoff (flight, number, outcome, figures, warnings) VALUES (?, ?, ?, ?, ?) ON CONFLICT (flight,"
        " number) DO UPDATE SET outcome = excluded.outcome, figures = excluded.figures, warnings = excluded.warnings",
        values,
    )
    query = "SELECT id FROM takeoff WHERE flight = ? AND number = ?"
    id_: int = database.execute(query, (flight, entry.number)).fetchone()[0]
    database.execute("DELETE FROM item WHERE takeoff = ?", (id_,))
    rows = [(id_, n, *msgspec.structs.astuple(item)) for n, item in enumerate(entry.items)]
    database.executemany(f"INSERT INTO item (takeoff, n, {', '.join(_ITEM)}) VALUES (?, ?{', ?' * len(_ITEM)})", rows)
    return id_


_ITEM = ("id", "target", "actual", "unit", "low", "high", "verdict", "why", "source")
_LINE = ("no", "started", "started_s", "number", "aircraft", "procedure", "flown_as", "outcome", "level", "levels",
         "figures", "warnings", "recording", "struck")  # fmt: skip


def _lines(database: sqlite3.Connection) -> list[Line]:
    items: dict[int, list[dict[str, Any]]] = {}
    for takeoff, *values in database.execute(f"SELECT takeoff, {', '.join(_ITEM)} FROM item ORDER BY takeoff, n"):
        items.setdefault(takeoff, []).append(dict(zip(_ITEM, values, strict=True)))
    columns = ", ".join("takeoff.id" if name == "no" else name for name in _LINE)
    query = f"SELECT {columns} FROM takeoff JOIN flight ON flight.id = takeoff.flight ORDER BY started_s, number"
    return [_line(dict(zip(_LINE, row, strict=True)), items) for row in database.execute(query)]


def _line(row: dict[str, Any], items: dict[int, list[dict[str, Any]]]) -> Line:
    decoded = {name: msgspec.json.decode(row[name]) for name in ("levels", "figures", "warnings")}
    return msgspec.convert({**row, **decoded, "struck": bool(row["struck"]), "items": items.get(row["no"], [])}, Line)


def _json(value: object) -> str:
    return msgspec.json.encode(value).decode()
