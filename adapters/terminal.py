"""The dashboard: an output that hands snapshots to a painter's process and never waits for it.

`show` and `event` only put the newest view into a slot; a thread sends it on, at most about 20 times a second. When
the painter dies the terminal is given back, one line says so, and the flight goes on in plain lines.
"""

from __future__ import annotations

import contextlib
import os
import subprocess
import sys
import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from typing import Any, TextIO

import msgspec

from adapters import frames
from adapters.canvas import LEAVE, write_all
from adapters.plain import PlainLines, importance, line, notice_line
from monitor.events import Event
from monitor.screen_parts import Surroundings, View
from monitor.snapshot import Snapshot
from monitor.spans import clean

PAINTER = (sys.executable, "-P", "-m", "adapters.painter")
SEND_S = 1 / 20
"""Least time between two views sent: more often than the painter paints, so that it has a new one each time."""
CLOSE_S = 1.0
"""How long the painter may take to give the terminal back before it is ended."""
KEPT_LINES = 60
"""Calls and notices printed again when the dashboard closes, so that they stay when its screen has gone."""
NOTICE_S = 20.0
"""How long a notice stays on the screen."""


def cannot_paint(stream: TextIO) -> str | None:
    """Why there can be no dashboard on the stream, in a few words; None when there can."""
    if not stream.isatty():
        return "the output is no terminal"
    if sys.platform != "win32" and os.environ.get("TERM", "dumb") == "dumb":
        return "the terminal cannot move its cursor (TERM is dumb or not set)"
    return None


def caption_seconds(words: str) -> float:
    """How long words stay as a caption: the time to say them at 190 words a minute, and 2 s (common practice)."""
    return 2.0 + len(words.split()) * 60 / 190


class Dashboard:
    """The screen of one flight. Every method returns at once, from any thread; `close` may take up to 2 s."""

    def __init__(
        self,
        around: Surroundings | None = None,
        stream: TextIO | None = None,
        command: Sequence[str] = PAINTER,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        """`around`: what the session adds to every frame. `stream`: the terminal, standard output unless given."""
        self._around = around or Surroundings()
        self._stream = sys.stdout if stream is None else stream
        self._command = command
        self._clock = clock
        self._process: subprocess.Popen[bytes] | None = None
        self._lock = threading.Lock()
        self._news, self._urgent = threading.Event(), threading.Event()
        self._shot = Snapshot()
        self._next_markers: tuple[str, ...] = ()
        self._markers: tuple[str, ...] = ()
        self._shown_ns: dict[str, int] = {}
        self._caption_until_s = 0.0
        self._captions_given = False
        self._closing = False
        self._left = False
        self._words = ""
        self._notice_until_s = 0.0
        self._kept: deque[str] = deque(maxlen=KEPT_LINES)
        self._plain: PlainLines | None = None
        self._threads: list[threading.Thread] = []

    def start(self) -> str | None:
        """Start the painter. None when it runs; else one line on why lines are printed instead."""
        why = cannot_paint(self._stream)
        if why is None:
            why = self._launch()
        if why is None:
            return None
        self._plain = PlainLines(self._stream)
        return f"no dashboard: {why}; plain lines instead"

    def _launch(self) -> str | None:
        self._stream.flush()
        try:
            self._process = subprocess.Popen(
                self._command, stdin=subprocess.PIPE, stdout=self._stream.fileno(), stderr=subprocess.PIPE
            )
        except (OSError, ValueError) as error:
            return f"its painter does not start ({error})"
        for work in (self._send, self._listen):
            self._threads.append(threading.Thread(target=work, name=f"dashboard{work.__name__}", daemon=True))
            self._threads[-1].start()
        return None

    @property
    def painting(self) -> bool:
        """True while the painter lives; False before the start, after the end, and in plain lines."""
        return self._process is not None and self._plain is None and not self._closing

    def show(self, snapshot: Snapshot) -> None:
        """Show this moment; the newest one wins. Without any for 3 s the screen says how old it is."""
        if self._plain is not None:
            self._plain.show(snapshot)
            return
        with self._lock:
            urgent = bool(self._next_markers) or snapshot.warning != self._shot.warning
            self._shot = snapshot
            if self._next_markers:
                self._markers, self._next_markers = (*self._markers, *self._next_markers), ()
        self._wake(urgent)

    def _wake(self, urgent: bool = False) -> None:
        """Tell the sending thread; a flag that is set already costs next to nothing."""
        if not self._news.is_set():
            self._news.set()
        if urgent:
            self._urgent.set()

    def _newest(self) -> frames.Frame:
        """What is to be shown now; a caption or a notice whose time is over goes. The lock is held."""
        now = self._clock()
        if self._around.caption and now >= self._caption_until_s:
            self._around = msgspec.structs.replace(self._around, caption=None)
        if self._around.notices and now >= self._notice_until_s:
            self._around = msgspec.structs.replace(self._around, notices=())
        markers, self._markers = self._markers, ()
        return frames.Frame(View(self._shot, self._around), markers)

    def event(self, event: Event) -> None:
        """Keep the event for the end, and show its words as the caption unless the voice gives them itself."""
        with self._lock:
            plain = self._plain
            if plain is None and importance(event) == 2:
                self._kept.append(line(event))
        if plain is not None:
            plain.event(event)
        elif event.say and not self._captions_given:
            self._caption(event.say, caption_seconds(event.say))

    def caption(self, words: str | None, seconds: float | None = None) -> None:
        """The words being said now, from who says them; None = silence. From then on events give no captions.

        Who says them tells when they end; should that never come, they go after `seconds`, else three times as long as
        such words usually stay (a voice may be set to less than half the usual rate).
        """
        self._captions_given = True
        self._caption(words, 3.0 * caption_seconds(words or "") if seconds is None else seconds)

    def _caption(self, words: str | None, seconds: float) -> None:
        self._caption_until_s = self._clock() + seconds
        self.describe(caption=words)

    def notice(self, text: str) -> None:
        """A line for a person: on the screen for a while, and printed again at the end."""
        with self._lock:
            plain = self._plain
            if plain is None:
                self._kept.append(notice_line(text))
                self._notice_until_s = self._clock() + NOTICE_S
                notices = (*self._around.notices[-2:], text)
                self._around = msgspec.structs.replace(self._around, notices=notices)
        self._wake()
        if plain is not None:
            plain.notice(text)

    def describe(self, **changes: Any) -> None:
        """Change what surrounds the snapshot: any field of `Surroundings`."""
        with self._lock:
            self._around = msgspec.structs.replace(self._around, **changes)
        self._wake()

    def mark(self, marker: str) -> None:
        """The next snapshot shown carries this marker; `frame_shown` then tells when it was on the screen."""
        with self._lock:
            self._next_markers = (*self._next_markers, marker)

    def frame_shown(self, marker: str) -> int | None:
        """Monotonic nanoseconds of the flush of the frame that first showed the marker; None = not yet, or never.

        Comparable with `time.monotonic_ns()` here: the clock is system-wide on every platform. The terminal's and
        the monitor's own delay come on top.
        """
        return self._shown_ns.get(marker)

    def close(self) -> None:
        """Give the terminal back, then print the calls of the flight. Safe to call twice."""
        if self._closing:
            return
        was_painting = self.painting
        self._closing = True
        self._news.set()
        self._urgent.set()
        if self._process is not None:
            self._end(self._process)
        if was_painting:
            self._go_plain("" if self._left else LEAVE)

    def _end(self, process: subprocess.Popen[bytes]) -> None:
        """Let the painter end by itself; failing that end it and give the terminal back from here."""
        try:
            process.wait(CLOSE_S)
        except subprocess.TimeoutExpired:
            process.terminate()
            with contextlib.suppress(subprocess.TimeoutExpired):
                process.wait(CLOSE_S / 2)
        if process.poll() != 0:
            process.kill()
            process.wait(CLOSE_S / 2)
        else:
            self._left = True
        for thread in self._threads:
            thread.join(CLOSE_S / 2)

    def _go_plain(self, before: str = "") -> None:
        """Print what the screen has taken with it, and everything that follows."""
        with self._lock:
            self._plain, kept = PlainLines(self._stream), tuple(self._kept)
        self._write(before + "".join(f"{clean(text)}\n" for text in kept))

    def _send(self) -> None:
        """The sending thread: the newest view down the pipe, paced; a painter that is gone ends it."""
        assert self._process is not None and self._process.stdin is not None
        with contextlib.suppress(OSError, ValueError), self._process.stdin as pipe:
            while not self._closing:
                self._news.wait()
                self._news.clear()
                self._urgent.clear()
                with self._lock:
                    frame = self._newest()
                pipe.write(frames.encode(frame))
                pipe.flush()
                if not self._closing:
                    self._urgent.wait(SEND_S)

    def _listen(self) -> None:
        """The listening thread: reports until the painter's end, which is then told when nobody asked for it."""
        assert self._process is not None and self._process.stderr is not None
        for raw in self._process.stderr:
            report = frames.read_report(raw)
            if report is None:
                self._words = raw.decode("utf-8", "replace").strip() or self._words
            elif report.marker:
                self._shown_ns.setdefault(report.marker, report.shown_ns)
        if not self._closing:
            self._lost(self._process.wait())

    def _lost(self, status: int) -> None:
        """The painter is gone: terminal back, one line, the calls so far, and plain lines from here."""
        why = f"status {status}" + (f", {self._words}" if self._words else "")
        self._kept.append(notice_line(f"screen lost: its painter ended ({why}); plain lines from here"))
        self._go_plain(LEAVE)

    def _write(self, text: str) -> None:
        """Write to the terminal, but wait only a moment for one that is stopped or hung."""
        writer = threading.Thread(target=self._write_all, args=(text,), daemon=True)
        writer.start()
        writer.join(CLOSE_S)

    def _write_all(self, text: str) -> None:
        """Past Python's buffer, whose lock a write that hangs would hold until after the program's end."""
        with contextlib.suppress(OSError, ValueError):
            if sys.platform == "win32":  # bytes to a console there are read in its own code page, not in UTF-8
                write_all(self._stream, text)
                return
            data = text.encode(self._stream.encoding or "ascii", "replace")
            while data:
                data = data[os.write(self._stream.fileno(), data) :]
