"""Keys of the Windows console, and of a pipe where `select` knows only sockets."""

from __future__ import annotations

import os
import queue
import sys
import threading
import time
from types import TracebackType
from typing import IO

from adapters.keypress import BURST_BYTES, Key, Waiting, names_in

if sys.platform == "win32":
    import msvcrt

    class WindowsKeys:
        """Keys of the Windows console."""

        listening = True
        _LOOK_S = 0.002  # there is no wait for a key with a limit: look this often

        def __init__(self) -> None:
            """The console of this process."""
            self._waiting = Waiting()

        def __enter__(self) -> WindowsKeys:
            """Nothing to set: msvcrt reads without echo."""
            return self

        def __exit__(
            self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
        ) -> None:
            """Nothing to put back."""

        def read(self, timeout_s: float) -> Key | None:
            """The next key, or None after `timeout_s`."""
            end = time.monotonic() + timeout_s
            while not msvcrt.kbhit():
                if time.monotonic() >= end:
                    return None
                time.sleep(self._LOOK_S)
            text = msvcrt.getwch()
            if text in ("\x00", "\xe0"):  # a function or arrow key sends a second code: drop both
                msvcrt.getwch()
                return None
            self._waiting.add(text)
            return self._waiting.take()


class PipeKeys:
    """Keys from a pipe where `select` knows only sockets (Windows): a thread reads, the caller waits on its queue."""

    def __init__(self, stream: IO[str]) -> None:
        """Read `stream` from a thread of its own, which ends with the stream."""
        self.listening = True
        self._queue: queue.Queue[Key] = queue.Queue()
        self._thread = threading.Thread(target=self._pump, args=(stream.fileno(),), daemon=True)

    def __enter__(self) -> PipeKeys:
        """Start listening."""
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """The thread is left to end with the pipe."""

    def read(self, timeout_s: float) -> Key | None:
        """The next key, or None after `timeout_s`."""
        try:
            return self._queue.get(timeout=max(0.0, timeout_s)) if timeout_s > 0.0 else self._queue.get_nowait()
        except queue.Empty:
            return None

    def _pump(self, fd: int) -> None:
        while data := os.read(fd, BURST_BYTES):
            now = time.monotonic_ns()
            for name in names_in(data.decode("utf-8", errors="ignore")):
                self._queue.put(Key(name, now))
        self.listening = False
