"""Writes a flight to a SQLite file while it is flown: every input in order, what it was flown with, and the events.

A thread of its own commits twice a second; each commit is also copied into the main file (a checkpoint), because
a write-ahead log copied without its -wal file would hold nothing new. So a killed program loses at most the last
second, and the file alone, without its companions, opens. At a proper close the journal is switched off, so that
the file can be read by anyone, from a read-only folder too.

Tables, format 2: `meta` (key, value); `origin` (id, name); `input` (n, kind: index into `KINDS`, arrival_ns, origin,
data); `event` (n, input: the number of the last input before it, line: the JSON as printed); `spoken` (n, what, text,
id, at_ns, reason, depth_s: see `adapters.speech.spoken`), the voice's log, which no replay looks at. Format 1 had no
`spoken`.
"""

from __future__ import annotations

import contextlib
import sqlite3
import threading
import time
from collections import deque
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path

from adapters.session import Input
from adapters.speech.spoken import Spoken
from monitor.events import Event, to_json
from monitor.toml_check import Faults

APPLICATION_ID = 0x434C4D42
"""Marks a SQLite file as ours: "CLMB"."""
FORMAT = 2
KINDS = ("packet", "prime", "tick", "key", "voice", "end")
"""Input kinds; the file holds the index. Only ever add at the end."""
COMMIT_S = 0.5
QUEUE_MAX = 50_000
"""Inputs waiting for the disk: over four minutes at 200 Hz."""
CLOSE_S = 20.0
"""Seconds given to the disk at the end."""
SUFFIX = ".climbout"

_SCHEMA = """
CREATE TABLE meta (key TEXT PRIMARY KEY, value BLOB) WITHOUT ROWID;
CREATE TABLE origin (id INTEGER PRIMARY KEY, name TEXT NOT NULL);
CREATE TABLE input (
    n INTEGER PRIMARY KEY, kind INTEGER NOT NULL, arrival_ns INTEGER NOT NULL, origin INTEGER, data BLOB);
CREATE TABLE event (n INTEGER PRIMARY KEY, input INTEGER NOT NULL, line BLOB NOT NULL);
CREATE TABLE spoken (
    n INTEGER PRIMARY KEY, what TEXT NOT NULL, text TEXT NOT NULL, id TEXT NOT NULL, at_ns INTEGER NOT NULL,
    reason TEXT NOT NULL, depth_s REAL NOT NULL);
"""

_Batch = tuple[Sequence[Input], Sequence[Event], Sequence[Spoken]]


def create(path: Path, meta: Mapping[str, bytes | str]) -> sqlite3.Connection:
    """A new recording with its tables and `meta`, already whole on the disk. Never writes over a file.

    Raises `Faults` when the file is there already or cannot be made.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.open("xb").close()
    except FileExistsError:
        raise Faults([f"recording {path}: the file is there already and is not written over"]) from None
    except OSError as error:
        raise Faults([f"recording {path}: cannot be made: {error.strerror or error}"]) from None
    database = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
    try:
        database.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        database.execute(f"PRAGMA user_version = {FORMAT}")
        database.execute("PRAGMA journal_mode = WAL")
        database.execute("PRAGMA synchronous = NORMAL")
        database.executescript("BEGIN;" + _SCHEMA)
        database.executemany("INSERT INTO meta VALUES (?, ?)", meta.items())
        database.execute("COMMIT")
        checkpoint(database)
    except sqlite3.Error as error:
        database.close()
        for left in (path, *_companions(path)):
            left.unlink(missing_ok=True)
        raise Faults([f"recording {path}: cannot be written: {error}"]) from None
    return database


def checkpoint(database: sqlite3.Connection) -> bool:
    """Copy what is committed into the main file; whether all of it could be (someone reading it may be in the way)."""
    busy, pages, copied = database.execute("PRAGMA wal_checkpoint(PASSIVE)").fetchone()
    return not busy and pages == copied


class Writer:
    """Puts batches into the tables; used by one thread. Holds the numbering."""

    def __init__(self, database: sqlite3.Connection) -> None:
        """Begin with input 1 and event 1."""
        self._database = database
        self._inputs = self._events = 0
        self._origins: dict[str, int] = {}
        self._whole = True

    def commit(self, batches: Iterable[_Batch]) -> None:
        """Write the batches as one transaction, and into the main file. Raises sqlite3.Error."""
        self._database.execute("BEGIN")
        try:
            for inputs, events, spoken in batches:
                self._database.executemany("INSERT INTO input VALUES (?, ?, ?, ?, ?)", map(self._row, inputs))
                self._database.executemany("INSERT INTO event VALUES (?, ?, ?)", map(self._line, events))
                self._database.executemany("INSERT INTO spoken VALUES (NULL, ?, ?, ?, ?, ?, ?)", spoken)
            self._database.execute("COMMIT")
        except sqlite3.Error:
            with contextlib.suppress(sqlite3.Error):
                self._database.execute("ROLLBACK")
            raise
        self._whole = checkpoint(self._database)

    def catch_up(self) -> None:
        """Copy into the main file what a reader kept from being copied at the last commit."""
        if not self._whole:
            self._whole = checkpoint(self._database)

    def _row(self, given: Input) -> tuple[int, int, int, int | None, bytes]:
        self._inputs += 1
        origin = self._origin(given.origin) if given.origin else None
        return self._inputs, KINDS.index(given.kind), given.arrival_ns, origin, given.data

    def _line(self, event: Event) -> tuple[int, int, bytes]:
        self._events += 1
        return self._events, self._inputs, to_json(event)

    def _origin(self, name: str) -> int:
        if name not in self._origins:
            self._origins[name] = len(self._origins) + 1
            self._database.execute("INSERT INTO origin VALUES (?, ?)", (self._origins[name], name))
        return self._origins[name]


class Recorder:
    """A recording in the making. `record` never waits; a full disk ends the recording, not the flight."""

    def __init__(
        self,
        path: Path,
        meta: Mapping[str, bytes | str],
        tell: Callable[[str], None],
    ) -> None:
        """Make the file and start writing. Raises `Faults` when it cannot be made."""
        self.path = path
        self.failed = False
        self._tell = tell
        self._database = create(path, meta)
        self._waiting: deque[_Batch] = deque()
        self._closing = threading.Event()
        self._thread = threading.Thread(target=self._run, name="recorder", daemon=True)
        self._thread.start()

    def record(self, inputs: Sequence[Input], events: Sequence[Event]) -> None:
        """Keep inputs, and the events that the last of them made."""
        self._keep((inputs, tuple(events), ()))

    def said(self, spoken: Sequence[Spoken]) -> None:
        """Keep what the voice tells of its calls. Waits no more than `record`."""
        self._keep(((), (), tuple(spoken)))

    def _keep(self, batch: _Batch) -> None:
        if self.failed:
            return
        self._waiting.append(batch)
        if len(self._waiting) > QUEUE_MAX:
            self._fail(f"the disk is {QUEUE_MAX:,} inputs behind")

    def close(self) -> None:
        """Write what waits, and close the file for good."""
        self._closing.set()
        self._thread.join(CLOSE_S)

    def _fail(self, why: str) -> None:
        if not self.failed:
            self.failed = True
            self._tell(f"recording stopped ({why}); what was recorded is kept, the flight goes on: {self.path}")

    def _run(self) -> None:
        """The thread: commit what came, every `COMMIT_S`. Not woken by each packet: that would cost the coach."""
        writer, last = Writer(self._database), False
        while not last:
            last = self._closing.wait(COMMIT_S)
            batches = [self._waiting.popleft() for _ in range(len(self._waiting))]
            if not self.failed:
                try:
                    if batches:
                        writer.commit(batches)
                    else:
                        writer.catch_up()
                except sqlite3.Error as error:
                    self._fail(str(error))
        self._finish()

    def _finish(self) -> None:
        """Back to a plain file that needs no companions. A disk too full for the mark leaves the rest as it is."""
        with contextlib.suppress(sqlite3.Error):
            if not self.failed:
                self._database.execute("INSERT INTO meta VALUES ('closed', '1')")
        with contextlib.suppress(sqlite3.Error):
            self._database.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
            self._database.execute("PRAGMA journal_mode = DELETE").fetchall()
        with contextlib.suppress(sqlite3.Error):
            self._database.close()


def new_path(folder: Path, stamp: str) -> Path:
    """A free name in a folder for a flight begun at `stamp` ("20261125-084003")."""
    names = (f"flight-{stamp}{f'-{n}' if n > 1 else ''}{SUFFIX}" for n in range(1, 10_000))
    return next(folder / name for name in names if not (folder / name).exists())


def prune(folder: Path, keep_bytes: float) -> list[Path]:
    """Delete the oldest recordings of a folder until `keep_bytes` hold the rest; 0 keeps all. What was deleted.

    Only files that bear our own name and mark are counted or touched; the newest, and one that is being written, are
    never deleted.
    """
    if not keep_bytes:
        return []
    found = sorted((path for path in folder.glob(f"flight-*{SUFFIX}") if _is_ours(path)), key=_age)
    sizes = {path: path.stat().st_size for path in found}
    deleted: list[Path] = []
    for path in found[:-1]:
        if sum(sizes.values()) <= keep_bytes:
            break
        if _in_use(path):
            continue
        with contextlib.suppress(OSError):
            path.unlink()
            deleted.append(path)
            sizes.pop(path)
            for companion in _companions(path):
                companion.unlink(missing_ok=True)
    return deleted


def _companions(path: Path) -> list[Path]:
    return [path.with_name(path.name + suffix) for suffix in ("-wal", "-shm")]


def _in_use(path: Path) -> bool:
    """Another flight seems to be recording to it: it has companions, and was written to in the last minute."""
    beside = [companion.stat().st_mtime for companion in _companions(path) if companion.exists()]
    return bool(beside) and max(*beside, path.stat().st_mtime) > time.time() - 60.0


def _age(path: Path) -> tuple[float, str]:
    return path.stat().st_mtime, path.name


def _is_ours(path: Path) -> bool:
    """Whether a file bears our application id: bytes 68 to 71 of the header (SQLite database file format, 1.3)."""
    try:
        with path.open("rb") as file:
            return file.read(72)[68:72] == APPLICATION_ID.to_bytes(4, "big")
    except OSError:
        return False
