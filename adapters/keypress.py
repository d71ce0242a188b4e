"""A key press, what reads them, and what the characters of a terminal mean."""

from __future__ import annotations

import time
from types import TracebackType
from typing import Protocol

import msgspec

NAMES = {
    " ": "space",
    "\r": "enter",
    "\n": "enter",
    "\t": "tab",
    "\x1b": "escape",
    "\x7f": "backspace",
    "\x08": "backspace",
}
"""Keys that have a name; every other key is its own character in lower case."""
BURST_BYTES = 64
"""What one key, or a paste, can bring at once."""


class Key(msgspec.Struct, frozen=True):
    """One key press. name: see `NAMES`. at_ns: monotonic nanoseconds at which it was read."""

    name: str
    at_ns: int


class Keys(Protocol):
    """What reads keys; a context manager."""

    listening: bool
    """Whether a key could come at all."""

    def read(self, timeout_s: float) -> Key | None:
        """The next key, or None after `timeout_s` seconds (0: at once)."""
        ...

    def __enter__(self) -> Keys:
        """Take the terminal."""
        ...

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Put the terminal back."""
        ...


def names_in(text: str) -> list[str]:
    """The names of the keys in what a terminal sent; arrow and function keys (escape sequences) are left out."""
    names: list[str] = []
    position = 0
    while position < len(text):
        if text[position] == "\x1b" and position + 1 < len(text) and text[position + 1] in "[O":
            position = _sequence_end(text, position + 2)
            continue
        names.append(NAMES.get(text[position], text[position].lower()))
        position += 1
    return names


def _sequence_end(text: str, position: int) -> int:
    """Just after an escape sequence's last character (ECMA-48: a final byte from @ to ~)."""
    while position < len(text) and not "@" <= text[position] <= "~":
        position += 1
    return position + 1


class NoKeys:
    """No keyboard: waits, hears nothing."""

    listening = False

    def read(self, timeout_s: float) -> Key | None:
        """None, after `timeout_s`."""
        if timeout_s > 0.0:
            time.sleep(timeout_s)
        return None

    def __enter__(self) -> NoKeys:
        """Nothing to take."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Nothing to put back."""


class Waiting:
    """Keys read but not yet asked for (a burst can bring several)."""

    def __init__(self) -> None:
        """None yet."""
        self._keys: list[Key] = []

    def add(self, text: str) -> None:
        """Stamp and keep the keys in `text`."""
        now = time.monotonic_ns()
        self._keys += [Key(name, now) for name in names_in(text)]

    def take(self) -> Key | None:
        """The oldest, or None."""
        return self._keys.pop(0) if self._keys else None
