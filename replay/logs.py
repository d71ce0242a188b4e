"""Text logs: the lines of a file through the decoder and mapping of a live feed, one sample after another.

A log tells when a row was written only by its own `time_s`, so arrival follows that: it grows by what `time_s`
grows, and stands while that stands or goes back.
Files are streamed; an hour at 60 Hz never is in memory at once.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from adapters.senders import MakeDecoding, real_decoding
from monitor.sample import CHANNELS, Sample
from monitor.toml_check import Faults, shown

if TYPE_CHECKING:
    from adapters.feed import FeedDescription

TEXT_FORMATS = ("delimited", "key-value", "json", "nmea")
"""Formats that lie in a file line by line."""
SQLITE_MAGIC = b"SQLite format 3\x00"
LINE_BYTES_MAX = 65_536
"""A longer line is no telemetry; it is cut."""
LATE_S = 1.0
"""A clock that goes back by this or less is a late row; by more, it began anew."""


def kind_of(path: Path) -> str:
    """ "recording" or "log", told by the file's content. Raises `Faults` when it is neither."""
    try:
        with path.open("rb") as file:
            head = file.read(4096)
    except OSError as error:
        raise Faults([f"flight {path}: cannot be read: {error.strerror or error}"]) from None
    if head.startswith(SQLITE_MAGIC):
        return "recording"
    if not head.strip():
        raise Faults([f"flight {path}: the file is empty, wanted a recording or a text log"])
    if b"\x00" in head:
        raise Faults([f"flight {path}: neither a recording nor a text log (byte {head.index(0)} is zero)"])
    return "log"


def default_feed_text(path: Path) -> str:
    """The feed assumed for a log when none is given: a header line that holds our own channel names.

    Raises `Faults` when the first line holds none of them.
    """
    with path.open("rb") as file:
        header = file.readline(LINE_BYTES_MAX).decode("utf-8-sig", "replace").rstrip("\r\n")
    delimiter = max(",;\t", key=header.count)
    names = [name for name in CHANNELS if name in [part.strip(" \"'") for part in header.split(delimiter)]]
    if not names:
        got = shown("".join(char if char.isprintable() else "?" for char in header))
        raise Faults([f"flight {path}: no --feed, and its first line names none of our channels: got {got}"])
    lines = ['name = "log"', "[decode]", 'format = "delimited"', f"delimiter = {_quoted(delimiter)}"]
    lines += ['header = "required"', "[channels]", *(f'{name} = {{ field = "{name}" }}' for name in names)]
    return "\n".join(lines) + "\n"


def _quoted(delimiter: str) -> str:
    return '"\\t"' if delimiter == "\t" else shown(delimiter)


class Log:
    """One text log. `rows` and `used` count the lines read and those that gave a sample; `notices` what was wrong."""

    def __init__(self, path: Path, feed: FeedDescription, make_decoding: MakeDecoding = real_decoding) -> None:
        """Check that the feed can read a log. Raises `Faults`."""
        if feed.decode.format not in TEXT_FORMATS:
            raise Faults([f"flight {path}: the feed's format is {feed.decode.format}, which is not text lines"])
        if not any(channel.channel == "time_s" for channel in feed.channels):
            raise Faults([f"flight {path}: the feed maps no time_s, and a log has no other clock"])
        self.path = path
        self.rows = self.used = 0
        self.notices: list[str] = []
        self._pipeline = make_decoding(feed)
        self._arrival_s = 0.0
        self._last_s: float | None = None

    def samples(self) -> Iterator[tuple[int, Sample]]:
        """(arrival in nanoseconds, sample), in the file's order. Raises `Faults` at the end when there was none."""
        with self.path.open("rb") as file:
            while line := file.readline(LINE_BYTES_MAX):
                yield from self._line(line.removeprefix(b"\xef\xbb\xbf") if self.rows == 0 else line)
        if not self.used:
            told = self.take_notices() or self.notices
            first = f"; the first: {told[0]}" if told else ""
            raise Faults([f"flight {self.path}: no usable row among {self.rows:,} lines{first}"])

    def absent(self) -> frozenset[str]:
        """Channels that are mapped to fields which no row has had."""
        return getattr(self._pipeline, "absent", frozenset())

    def take_notices(self) -> list[str]:
        """What was wrong since the last call."""
        self.notices = self._pipeline.take_notices()
        return self.notices

    def _line(self, line: bytes) -> Iterator[tuple[int, Sample]]:
        self.rows += 1
        for sample in self._pipeline(line):
            self.used += 1
            yield self._arrival(sample.time_s), sample

    def _arrival(self, time_s: float | None) -> int:
        """Arrival in nanoseconds after the first row; a row without a time came with the one before."""
        if time_s is None:
            return round(self._arrival_s * 1e9)
        step_s = 0.0 if self._last_s is None else time_s - self._last_s
        self._arrival_s += max(step_s, 0.0)
        if self._last_s is None or not -LATE_S <= step_s < 0.0:
            self._last_s = time_s
        return round(self._arrival_s * 1e9)
