"""Reads a recording: closed or cut off by a kill, copied without its companions, or in a read-only folder."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from pathlib import Path

import msgspec

from adapters.held import Held
from adapters.session import Input
from adapters.speech.spoken import Spoken
from monitor.options import Options
from monitor.toml_check import Faults
from replay.recording import APPLICATION_ID, FORMAT, KINDS

SPOKEN_SINCE = 2
"""The format that first held a `spoken` table."""


def _connect(path: Path) -> sqlite3.Connection:
    """Open for reading. With no -wal or -journal beside it the file is whole as it is, and is not touched."""
    address = path.resolve().as_uri()
    companions = [path.with_name(path.name + suffix) for suffix in ("-wal", "-journal")]
    ways = ("mode=ro", "mode=ro&immutable=1") if any(c.exists() for c in companions) else ("mode=ro&immutable=1",)
    error: sqlite3.Error | None = None
    for way in ways:
        database = sqlite3.connect(f"{address}?{way}", uri=True)
        try:
            database.execute("SELECT count(*) FROM sqlite_master").fetchone()
            return database
        except sqlite3.Error as why:
            database.close()
            error = why
    raise Faults([f"recording {path}: cannot be read: {error}"])


class Recording:
    """One recording, open for reading. `meta`: what it was flown with; `notes`: lines for a person."""

    def __init__(self, path: Path) -> None:
        """Open and check the file. Raises `Faults`: not ours, of a newer format, or unreadable."""
        self.path = path
        self._database = _connect(path)
        self._check_format()
        self.meta: dict[str, bytes | str] = dict(self._rows("SELECT key, value FROM meta"))
        self.notes: list[str] = []
        if "closed" not in self.meta:
            self.notes.append(f"recording {path.name}: not closed (program killed, disk full); read as far as it goes")

    def held(self) -> Held:
        """What the flight was flown with. Raises `Faults` when it is missing or damaged."""
        try:
            return Held(
                feed_text=self.text("feed"),
                aircraft_text=self.text("aircraft"),
                procedure_texts=msgspec.json.decode(self.meta["procedures"], type=tuple[str, ...]),
                options=msgspec.json.decode(self.meta["options"], type=Options),
                aircraft_values=self._bytes("aircraft values"),
                procedure_values=self._bytes("procedure values"),
            )
        except (KeyError, msgspec.MsgspecError, UnicodeDecodeError) as error:
            raise Faults([f"recording {self.path}: what it was flown with is missing or damaged: {error}"]) from None

    def _bytes(self, key: str) -> bytes:
        value = self.meta.get(key, b"")
        return value.encode() if isinstance(value, str) else value

    def text(self, key: str) -> str:
        """A text of `meta`. Raises KeyError."""
        value = self.meta[key]
        return value if isinstance(value, str) else value.decode()

    def inputs(self) -> Iterator[Input]:
        """Every input in order. A damaged end stops them, with a note."""
        origins = dict(self._rows("SELECT id, name FROM origin"))
        for kind, arrival_ns, origin, data in self._rows("SELECT kind, arrival_ns, origin, data FROM input ORDER BY n"):
            if not 0 <= kind < len(KINDS) or not isinstance(data, bytes):
                self.notes.append(f"recording {self.path.name}: damaged, read as far as it goes (input of kind {kind})")
                return
            yield Input(KINDS[kind], arrival_ns, origins.get(origin, ""), data)

    def event_lines(self) -> Iterator[bytes]:
        """The events as they were printed in flight."""
        for (line,) in self._rows("SELECT line FROM event ORDER BY n"):
            yield line

    def spoken(self) -> list[Spoken] | None:
        """The voice's log, in order; None when the recording is older than such logs."""
        if self._version() < SPOKEN_SINCE:
            return None
        rows = self._rows("SELECT what, text, id, at_ns, reason, depth_s FROM spoken ORDER BY n")
        return [Spoken(*row) for row in rows]

    def close(self) -> None:
        """Let go of the file."""
        self._database.close()

    def _rows(self, query: str) -> Iterator[tuple]:  # type: ignore[type-arg]
        """Rows as far as they can be read."""
        try:
            yield from self._database.execute(query)
        except sqlite3.DatabaseError as error:
            self.notes.append(f"recording {self.path.name}: damaged, read as far as it goes ({error})")

    def _version(self) -> int:
        return int(self._database.execute("PRAGMA user_version").fetchone()[0])

    def _check_format(self) -> None:
        application = self._database.execute("PRAGMA application_id").fetchone()[0]
        version = self._version()
        if application != APPLICATION_ID:
            raise Faults([f"recording {self.path}: a SQLite file, but no recording of climbout"])
        if version > FORMAT:
            newer = f"written by a newer climbout (format {version}, this one reads up to {FORMAT})"
            raise Faults([f"recording {self.path}: {newer}: update climbout to replay it"])
