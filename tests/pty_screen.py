"""A real pseudo-terminal whose output is read into a `TinyTerminal`, for tests of the painter. POSIX only."""

from __future__ import annotations

import contextlib
import fcntl
import os
import pty
import struct
import termios
import threading
import time
from collections.abc import Callable
from typing import TextIO

from tests.tiny_terminal import TinyTerminal

DEADLINE_S = 20.0
"""How long a test waits for what must come; far more than it takes, for a busy machine."""


def wait_for(what: Callable[[], object], why: str) -> None:
    """Wait until `what()` is true; fail with `why` at the deadline."""
    end = time.monotonic() + DEADLINE_S
    while not what():
        assert time.monotonic() < end, f"not within {DEADLINE_S} s: {why}"
        time.sleep(0.01)


class PtyScreen:
    """A terminal of a size; `stream` is what a program writes to, `terminal` what a person would see."""

    def __init__(self, width: int = 80, height: int = 24, encoding: str = "utf-8", reading: bool = True) -> None:
        """`reading`: False leaves the output unread, as a terminal stopped with Ctrl-S does."""
        self._master, self._slave = pty.openpty()
        self.terminal = TinyTerminal(width, height)
        self.raw = b""
        self.fault: AssertionError | None = None
        self._encoding = encoding
        self._set_size(width, height)
        self.stream: TextIO = os.fdopen(os.dup(self._slave), "w", encoding=encoding)
        self._reader = threading.Thread(target=self._read, daemon=True)
        if reading:
            self.start_reading()

    def _set_size(self, width: int, height: int) -> None:
        fcntl.ioctl(self._slave, termios.TIOCSWINSZ, struct.pack("HHHH", height, width, 0, 0))

    def resize(self, width: int, height: int) -> None:
        """The person drags the window's corner."""
        self.terminal.resize(width, height)
        self._set_size(width, height)

    def start_reading(self) -> None:
        """Read what is written from now on."""
        self._reader.start()

    def _read(self) -> None:
        left = b""
        while True:
            try:
                data = os.read(self._master, 65536)
            except OSError:
                return
            if not data:
                return
            self.raw += data
            left += data
            text = left.decode(self._encoding, "ignore")
            left = left[len(text.encode(self._encoding)) :]
            try:
                self.terminal.feed(text)
            except AssertionError as fault:
                self.fault = self.fault or fault

    def stall(self) -> None:
        """Fill the terminal's buffer, so that whoever writes next has to wait until it is read."""
        filler = os.open(os.ttyname(self._slave), os.O_WRONLY | os.O_NONBLOCK | os.O_NOCTTY)
        with contextlib.suppress(BlockingIOError):
            while True:
                os.write(filler, b" " * 512)
        os.close(filler)

    @property
    def text(self) -> str:
        """What is on the screen."""
        return "\n".join(self.terminal.rows)

    def close(self) -> None:
        """Let go of it; a fault seen while reading fails the test."""
        self.stream.close()
        os.close(self._slave)
        self._reader.join(DEADLINE_S)  # before its descriptor may become another terminal's
        assert not self._reader.is_alive(), "something still holds the terminal"
        os.close(self._master)
        if self.fault is not None:
            raise self.fault
