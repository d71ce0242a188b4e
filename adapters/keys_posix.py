"""Keys of a POSIX terminal: cbreak mode inside the block, put back on leaving, at exit and while suspended."""

from __future__ import annotations

import atexit
import contextlib
import os
import select
import signal
import sys
import time
from collections.abc import Callable
from types import TracebackType
from typing import Any

from adapters.keypress import BURST_BYTES, Key, Waiting

assert sys.platform != "win32"  # the twin is keys_windows

import termios  # noqa: E402
import tty  # noqa: E402


class PosixKeys:
    """Keys of a POSIX terminal, or of a pipe (then nothing is set or put back)."""

    def __init__(self, fd: int) -> None:
        """Read from an open file descriptor."""
        self._fd = fd
        self._waiting = Waiting()
        self._saved: list[Any] | None = None
        self._handlers: dict[int, Any] = {}
        self.listening = True

    def __enter__(self) -> PosixKeys:
        """Into cbreak mode, if this is a terminal and we are in its foreground."""
        if os.isatty(self._fd):
            with contextlib.suppress(termios.error):
                self._saved = termios.tcgetattr(self._fd)
            atexit.register(self.restore)
            self._catch(signal.SIGTSTP, self._suspended)
            self._catch(signal.SIGCONT, self._continued)
            self._set()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Terminal and signal handlers back as they were."""
        self.restore()
        atexit.unregister(self.restore)
        for number, handler in self._handlers.items():
            signal.signal(number, handler)
        self._handlers.clear()

    def restore(self) -> None:
        """The terminal as it was found. Safe to call twice."""
        if self._saved is not None and self._foreground():
            with contextlib.suppress(termios.error, OSError):
                termios.tcsetattr(self._fd, termios.TCSADRAIN, self._saved)

    def read(self, timeout_s: float) -> Key | None:
        """The next key, or None after `timeout_s`."""
        key = self._waiting.take()
        if key is not None:
            return key
        if not self.listening or not self._foreground():
            time.sleep(max(0.0, timeout_s))
            return None
        if select.select([self._fd], [], [], max(0.0, timeout_s))[0]:
            self._waiting.add(self._burst())
        return self._waiting.take()

    def _burst(self) -> str:
        try:
            data = os.read(self._fd, BURST_BYTES)
        except OSError:  # the terminal is gone
            data = b""
        if not data:  # the end of a pipe is ready for ever: stop asking
            self.listening = False
        return data.decode("utf-8", errors="ignore")

    def _foreground(self) -> bool:
        """Whether reading or setting the terminal would not stop us; true for a pipe."""
        if not os.isatty(self._fd):
            return True
        try:
            return os.tcgetpgrp(self._fd) == os.getpgrp()
        except OSError:
            return False

    def _set(self) -> None:
        if self._saved is not None and self._foreground():
            with contextlib.suppress(termios.error):
                tty.setcbreak(self._fd, termios.TCSADRAIN)

    def _catch(self, number: int, handler: Callable[[int, Any], None]) -> None:
        with contextlib.suppress(ValueError):  # not in the main thread: then no suspend handling
            self._handlers[number] = signal.signal(number, handler)

    def _suspended(self, number: int, frame: Any) -> None:
        """Ctrl-Z: the terminal back first, then stop as any program would, and take it again when going on.

        Both ends are here, not left to `_continued` alone: a SIGCONT that comes before the stop would take the terminal
        again, only for the stop to give it back with nobody to take it after that.
        """
        self.restore()
        signal.signal(signal.SIGTSTP, signal.SIG_DFL)
        signal.raise_signal(signal.SIGTSTP)  # to this thread: it stops here, not some steps later
        self._continued(number, frame)

    def _continued(self, number: int, frame: Any) -> None:
        """Back in the foreground: take the terminal again."""
        signal.signal(signal.SIGTSTP, self._suspended)
        self._set()
