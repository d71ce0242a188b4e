"""Splits text datagrams into lines and learns whether this sender ends each line, so that a cut-off line shows."""

from __future__ import annotations

from adapters.tally import Tally

_SURE_AFTER = 3


class Lines:
    """The whole lines of a sender's datagrams.

    A sender whose first datagrams all end in a line feed ends every datagram so: a later one without is cut off and
    its last line is left out. Three such in a row mean that the sender has changed.
    """

    def __init__(self, encoding: str, tally: Tally) -> None:
        """Nothing learned yet."""
        self._encoding = encoding
        self._tally = tally
        self._ended = 0
        self._unended = 0

    @property
    def always_ended(self) -> bool:
        """Known: datagrams end in a line feed."""
        return self._ended >= _SURE_AFTER

    @property
    def settled(self) -> bool:
        """Known for sure, and the last datagram was like the rest: every one ends in a line feed, or none does."""
        return (self._ended, self._unended) in {(_SURE_AFTER, 0), (0, _SURE_AFTER)}

    def split(self, payload: bytes) -> list[str]:
        """The whole lines, without their ends and without empty ones; a text that cannot be decoded gives none."""
        try:
            text = payload.decode(self._encoding).removeprefix("\ufeff")  # a byte order mark, as some programs begin
        except (UnicodeError, ValueError):
            self._tally.note("encoding", f"got bytes that are no {self._encoding} text", "packet skipped")
            return []
        lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
        last = lines.pop()
        if not last:
            self._ended, self._unended = min(self._ended + 1, _SURE_AFTER), 0
        elif self._keep_unended():
            lines.append(last)
        else:
            self._tally.note("cut off", "the line does not end, as lines from this sender do", "line skipped")
        return [line for line in lines if line.strip()]

    def _keep_unended(self) -> bool:
        self._unended = min(self._unended + 1, _SURE_AFTER)
        if self._ended < _SURE_AFTER or self._unended >= _SURE_AFTER:
            self._ended = 0
            return True
        return False
