"""The painter: a process of its own that turns views into frames. `python -P -m adapters.painter`.

In: frames on standard input (`adapters.frames`). Out: the terminal on standard output; reports, one JSON line each, on
standard error. It ends when its input ends, which is also how it learns that its parent was killed, and gives the
terminal back whatever happens. Why not a thread: painting holds the interpreter for milliseconds at a time, which the
coach would feel.

Times in reports are `time.monotonic_ns()` right after the flush. Python's monotonic clock is system-wide (its
documentation, since 3.5), so the parent may compare them with its own: CLOCK_MONOTONIC on Linux, mach_absolute_time
on macOS, the tick count on Windows, which before Python 3.13 steps by about 16 ms. A terminal's own delay and the
monitor's come on top.
"""

from __future__ import annotations

import contextlib
import os
import signal
import sys
import threading
import time
from types import FrameType
from typing import BinaryIO, NoReturn

import msgspec

from adapters import frames
from adapters.canvas import Canvas
from monitor.screen import screen
from monitor.screen_parts import View

FRAME_S = 1 / 12
"""Least time between two frames; a warning and a marker do not wait for it."""
LOOK_S = 0.2
"""How often the size is looked at, and the age of the newest view, when nothing arrives."""
STALE_S = 3.0
"""A coach that has sent nothing for so long is said to be silent: an old picture must not look live."""


class Inbox:
    """The newest frame that arrived; older ones not painted are passed over, their markers kept."""

    def __init__(self) -> None:
        """Empty, and its input open."""
        self._news = threading.Condition()
        self._frame: frames.Frame | None = None
        self.ended = False

    def put(self, frame: frames.Frame | None) -> None:
        """A frame has arrived; None = the input has ended."""
        with self._news:
            if frame is None:
                self.ended = True
            else:
                kept = self._frame.markers if self._frame else ()
                self._frame = frames.Frame(frame.view, (*kept, *frame.markers))
            self._news.notify()

    def take(self, timeout_s: float) -> frames.Frame | None:
        """The newest frame not yet taken, waiting up to `timeout_s` for one."""
        with self._news:
            if self._frame is None and not self.ended:
                self._news.wait(timeout_s)
            frame, self._frame = self._frame, None
            return frame

    def wait_urgent(self, timeout_s: float, shown: View) -> None:
        """Wait out the time to the next frame; a marker, a new warning or the end cuts it short."""
        with self._news:
            self._news.wait_for(lambda: self.ended or _urgent(self._frame, shown), timeout_s)


def _urgent(frame: frames.Frame | None, shown: View) -> bool:
    if frame is None:
        return False
    return bool(frame.markers) or frame.view.shot.warning != shown.shot.warning


def _receive(stream: BinaryIO, inbox: Inbox) -> None:
    """The reading thread: every frame into the inbox until the input ends or is out of step."""
    frame: frames.Frame | None = None
    with contextlib.suppress(OSError, ValueError, msgspec.MsgspecError):
        while (frame := frames.read(stream)) is not None:
            inbox.put(frame)
    inbox.put(None)


def _report(report: frames.Report) -> None:
    with contextlib.suppress(OSError, ValueError):
        sys.stderr.write(frames.encode_report(report))
        sys.stderr.flush()


def _in_foreground() -> bool:
    """False in a job sent to the background of a shell, which must not paint over the shell. Windows has no such."""
    if sys.platform == "win32":
        return True
    try:
        return os.tcgetpgrp(sys.stdout.fileno()) == os.getpgrp()
    except OSError:
        return True


class Painter:
    """The loop: newest view, frame, report; the view again when only its age or the size has changed."""

    def __init__(self, canvas: Canvas, inbox: Inbox) -> None:
        """Paint on `canvas` what comes into `inbox`."""
        self._canvas, self._inbox = canvas, inbox
        self._view = View()
        self._arrived_s = time.monotonic()
        self._hidden = False

    def run(self) -> None:
        """Paint until the input ends."""
        while not self._inbox.ended:
            frame = self._inbox.take(LOOK_S)
            begun_s = time.monotonic()
            if frame is not None:
                self._view, self._arrived_s = frame.view, begun_s
            painted = self._paint(begun_s - self._arrived_s)
            shown_ns = time.monotonic_ns()
            for marker in frame.markers if frame and painted else ():
                _report(frames.Report(marker=marker, shown_ns=shown_ns))
            self._inbox.wait_urgent(max(0.0, FRAME_S - (time.monotonic() - begun_s)), self._view)

    def _paint(self, age_s: float) -> bool:
        """Paint the newest view, `age_s` old; False when the terminal is not ours to paint on."""
        if not _in_foreground():
            self._hidden = True
            return False
        if self._hidden:
            self.resume()
        view = self._view
        if age_s >= STALE_S:
            view = msgspec.structs.replace(view, around=msgspec.structs.replace(view.around, stale_s=float(int(age_s))))
        size = self._canvas.size()
        self._canvas.paint(screen(view, *size, self._canvas.glyphs), size)
        return True

    def resume(self) -> None:
        """The terminal was someone else's meanwhile: take it over again."""
        self._hidden = False
        self._canvas.enter()

    def suspend(self, _number: int, _frame: FrameType | None) -> None:
        """Ctrl-Z: the shell gets its terminal as it was, then this process stops, as the signal wanted."""
        self._canvas.leave()
        self._hidden = True
        if sys.platform != "win32":
            os.kill(os.getpid(), signal.SIGSTOP)


def _end(_number: int, _frame: FrameType | None) -> None:
    raise SystemExit(0)


def _handle_signals(painter: Painter) -> None:
    """An interrupt is the parent's to answer; to be ended or hung up on ends this process in order."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, _end)
    if sys.platform == "win32":
        signal.signal(signal.SIGBREAK, signal.SIG_IGN)
    else:
        signal.signal(signal.SIGHUP, _end)
        signal.signal(signal.SIGTSTP, painter.suspend)


def _enable_escapes() -> None:
    """Windows' older console reads escape sequences only when told to (SetConsoleMode, flag 4)."""
    if sys.platform == "win32":
        import ctypes

        kernel = ctypes.windll.kernel32
        handle = kernel.GetStdHandle(-11)
        mode = ctypes.c_uint32()
        if kernel.GetConsoleMode(handle, ctypes.byref(mode)):
            kernel.SetConsoleMode(handle, mode.value | 4)


def main() -> int:
    """Run as the painter's process; 0 when the input ended in order."""
    _enable_escapes()
    canvas, inbox = Canvas(sys.stdout), Inbox()
    painter = Painter(canvas, inbox)
    _handle_signals(painter)
    threading.Thread(target=_receive, args=(sys.stdin.buffer, inbox), daemon=True).start()
    try:
        canvas.enter()
        _report(frames.Report(ready=True))
        painter.run()
    except OSError:
        return 1  # the terminal is gone: nothing to restore, nobody to tell
    finally:
        with contextlib.suppress(OSError, ValueError):
            canvas.leave()
    return 0


def run_process() -> NoReturn:
    """`main`, and an end that waits for nobody: the reading thread may hold standard input for ever."""
    code = 1
    try:
        code = main()
    except SystemExit:
        code = 0
    except BaseException as error:
        with contextlib.suppress(OSError, ValueError):
            sys.stderr.write(f"{type(error).__name__}: {error}\n")
            sys.stderr.flush()
    finally:
        os._exit(code)


if __name__ == "__main__":
    run_process()
