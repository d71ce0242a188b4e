"""The dashboard with its real painter on a real pseudo-terminal: what is seen, and what is left behind."""

from __future__ import annotations

import io
import os
import re
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from msgspec.structs import replace

from adapters.terminal import Dashboard, cannot_paint, caption_seconds
from monitor.events import Event
from monitor.screen import screen
from monitor.screen_parts import Surroundings, View
from monitor.spans import ASCII
from tests.screen_scenes import ABORT, AROUND, CLIMB, ROLL

if TYPE_CHECKING or sys.platform != "win32":
    from tests.pty_screen import PtyScreen, wait_for

on_posix = pytest.mark.skipif(sys.platform == "win32", reason="Windows has no pseudo-terminal in Python's library")
ROTATE = Event(19.3, "callout", "rotate", 1, "takeoff-roll", "Rotate", 51.8, 0.0)
NO_CODE = [sys.executable, "-c"]


@pytest.fixture
def pty(monkeypatch: pytest.MonkeyPatch) -> Iterator[PtyScreen]:
    """A terminal of 80 by 24 that knows colours."""
    monkeypatch.setenv("TERM", "xterm-256color")
    monkeypatch.delenv("NO_COLOR", raising=False)
    monkeypatch.setenv("PYTHONIOENCODING", "utf-8")
    terminal = PtyScreen()
    yield terminal
    terminal.close()


@pytest.fixture
def dashboard(pty: PtyScreen) -> Iterator[Dashboard]:
    """A dashboard on that terminal, painting."""
    board = Dashboard(AROUND, pty.stream)
    assert board.start() is None
    wait_for(lambda: pty.terminal.modes["?1049"], "the painter takes over the terminal")
    yield board
    board.close()


def _expected(view: View, width: int, height: int) -> str:
    rows = ["".join(span.text for span in line).rstrip() for line in screen(view, width, height)]
    return "\n".join(rows)


def _shows(pty: PtyScreen, text: str) -> bool:
    return pty.text == text


@on_posix
def test_what_is_seen(pty: PtyScreen, dashboard: Dashboard) -> None:
    """After any sequence of frames the terminal shows the newest one exactly, though only changed rows are written."""
    for shot in (ROLL, ABORT, CLIMB):
        dashboard.show(shot)
        expected = _expected(View(shot, AROUND), 80, 24)
        wait_for(partial(_shows, pty, expected), f"{shot.phase} is on the screen")


@on_posix
def test_resize(pty: PtyScreen, dashboard: Dashboard) -> None:
    """A new size is answered within the next frames, larger, smaller and tiny, with nothing new to show."""
    dashboard.show(CLIMB)
    for width, height in ((110, 36), (60, 16), (30, 5)):
        pty.resize(width, height)
        wait_for(partial(_shows, pty, _expected(View(CLIMB, AROUND), width, height)), f"{width} by {height}")


@on_posix
def test_terminal_as_found(pty: PtyScreen, dashboard: Dashboard) -> None:
    """After `close` the terminal is as before: main screen, cursor, wrapping; the calls of the flight stay on it."""
    dashboard.show(ROLL)
    dashboard.event(ROTATE)
    dashboard.notice("recording to takeoff.db")
    wait_for(lambda: '"Rotate"' in pty.text, "the words are the caption")
    dashboard.close()
    wait_for(lambda: pty.terminal.as_found and "recording to takeoff.db" in pty.text, "the terminal is given back")
    assert re.search(r"19\.3 s +takeoff-roll +51\.8 kt +0 ft +Rotate", pty.text)
    dashboard.notice("the recording is closed")
    wait_for(lambda: "the recording is closed" in pty.text, "what comes after the end is printed")


@on_posix
@pytest.mark.parametrize("number", ["SIGTERM", "SIGHUP", "SIGKILL", "SIGSEGV"])
def test_dead_painter(pty: PtyScreen, dashboard: Dashboard, number: str) -> None:
    """When the painter dies, however, the terminal is given back, one line says so, and events go on as lines."""
    dashboard.show(ROLL)
    dashboard.event(ROTATE)
    wait_for(lambda: "TAKEOFF ROLL" in pty.text, "the first frame")
    assert dashboard._process is not None
    os.kill(dashboard._process.pid, getattr(signal, number))
    wait_for(lambda: pty.terminal.as_found and not dashboard.painting, "the death is noticed")
    dashboard.show(CLIMB)
    dashboard.event(Event(44.0, "callout", "flaps-up", 1, "initial-climb", "Flaps up", 71.0, 301.0))
    wait_for(lambda: "Flaps up" in pty.text, "the next event is a line")
    assert pty.text.count("plain lines from here") == 1
    assert pty.text.count("Rotate") == 1


@on_posix
def test_interrupt_is_not_the_painters(pty: PtyScreen, dashboard: Dashboard) -> None:
    """Ctrl-C reaches the painter too, as part of the job; it goes on painting until its parent ends it."""
    assert dashboard._process is not None
    os.kill(dashboard._process.pid, signal.SIGINT)
    dashboard.show(CLIMB)
    wait_for(lambda: "INITIAL CLIMB" in pty.text, "it still paints")


def _continued(dashboard: Dashboard) -> bool:
    """Send SIGCONT, again and again: one that comes before the process has stopped would be lost."""
    assert dashboard._process is not None
    os.kill(dashboard._process.pid, signal.SIGCONT)
    return True


@on_posix
def test_suspend(pty: PtyScreen, dashboard: Dashboard) -> None:
    """Stopped with Ctrl-Z the terminal is given back to the shell; continued, the screen comes back whole."""
    dashboard.show(CLIMB)
    wait_for(lambda: "INITIAL CLIMB" in pty.text, "the first frame")
    assert dashboard._process is not None
    os.kill(dashboard._process.pid, signal.SIGTSTP)
    wait_for(lambda: pty.terminal.as_found, "the shell has its terminal")
    expected = _expected(View(CLIMB, AROUND), 80, 24)
    wait_for(lambda: _continued(dashboard) and pty.text == expected, "the screen is back")


PARENT = """
import os, signal, sys, time
from adapters.terminal import Dashboard
from monitor.snapshot import Snapshot
board = Dashboard()
assert board.start() is None
board.mark("shown")
board.show(Snapshot(feed="on", phase="takeoff-roll"))
while board.frame_shown("shown") is None:
    time.sleep(0.01)
{end}
"""


@on_posix
@pytest.mark.parametrize(
    "end", ["os.kill(os.getpid(), signal.SIGKILL)", "raise RuntimeError('a fault')", "sys.exit(3)", "os._exit(1)"]
)
def test_dead_parent(pty: PtyScreen, end: str) -> None:
    """However the program itself ends, killed outright included, the painter gives the terminal back and ends too."""
    code = PARENT.format(end=end)
    subprocess.run([*NO_CODE, code], stdout=pty.stream, stderr=subprocess.DEVNULL, timeout=60, check=False)
    wait_for(lambda: "?1049l" in pty.raw.decode() and pty.terminal.as_found, "the terminal is given back")


@on_posix
def test_frame_time(pty: PtyScreen, dashboard: Dashboard) -> None:
    """The time of the frame that first showed a marker lies between asking for it and knowing of it, on the caller's
    own monotonic clock; it stays the first frame's; a marker never shown has none."""
    dashboard.show(ROLL)
    before = time.monotonic_ns()
    dashboard.mark("cue")
    dashboard.describe(title="drill")
    time.sleep(0.3)
    assert dashboard.frame_shown("cue") is None
    dashboard.show(ABORT)
    wait_for(lambda: dashboard.frame_shown("cue"), "the painter reports")
    shown = dashboard.frame_shown("cue")
    dashboard.show(CLIMB)
    assert shown is not None
    assert before + 300_000_000 < shown < time.monotonic_ns()
    assert dashboard.frame_shown("cue") == shown
    assert dashboard.frame_shown("another") is None


@on_posix
def test_terminal_that_stands_still(monkeypatch: pytest.MonkeyPatch) -> None:
    """With a terminal that takes nothing more (stopped with Ctrl-S, or hung), 20,000 snapshots are handed over without
    waiting, and closing the dashboard does not wait for it either."""
    monkeypatch.setenv("TERM", "xterm-256color")
    screen_ = PtyScreen(reading=False)
    screen_.stall()
    board = Dashboard(AROUND, screen_.stream)
    assert board.start() is None

    def fly() -> None:
        for index in range(20_000):
            board.show(replace(ROLL, t_s=float(index)))
            if index % 100 == 0:
                board.event(ROTATE)

    thread = threading.Thread(target=fly, daemon=True)
    thread.start()
    thread.join(60)
    assert not thread.is_alive()
    closing = threading.Thread(target=board.close, daemon=True)
    closing.start()
    closing.join(30)
    assert not closing.is_alive()
    assert board._process is not None
    assert board._process.poll() is not None
    screen_.start_reading()
    screen_.close()


@on_posix
def test_no_color(pty: PtyScreen, monkeypatch: pytest.MonkeyPatch) -> None:
    """With NO_COLOR set no colour is sent, and a warning is told by reverse video."""
    monkeypatch.setenv("NO_COLOR", "1")
    board = Dashboard(AROUND, pty.stream)
    assert board.start() is None
    board.show(ABORT)
    wait_for(lambda: "oil pressure low" in pty.text, "the warning is shown")
    board.close()
    codes = {int(code) for sgr in pty.terminal.sgr for code in sgr.split(";") if code}
    assert 7 in codes
    assert not {code for code in codes if 30 <= code <= 49 or code >= 90}


@on_posix
def test_ascii_terminal(pty: PtyScreen, monkeypatch: pytest.MonkeyPatch) -> None:
    """A terminal whose encoding is not UTF-8 gets ASCII, and the same picture in it."""
    monkeypatch.setenv("PYTHONIOENCODING", "ascii")
    board = Dashboard(AROUND, pty.stream)
    assert board.start() is None
    board.show(CLIMB)
    rows = ["".join(span.text for span in line).rstrip() for line in screen(View(CLIMB, AROUND), 80, 24, ASCII)]
    wait_for(lambda: pty.terminal.rows == rows, "the picture in ASCII")
    board.close()
    assert pty.raw.isascii()


@on_posix
def test_colours_of_alerts_on_the_wire(pty: PtyScreen, dashboard: Dashboard) -> None:
    """A warning goes out on a red ground (SGR 41, ECMA-48); without one nothing is red but a gauge's red line."""
    dashboard.show(replace(ROLL, gauges=()))
    wait_for(lambda: "TAKEOFF ROLL" in pty.text, "the calm frame")
    assert not any("41" in sgr.split(";") or "31" in sgr.split(";") for sgr in pty.terminal.sgr)
    dashboard.show(replace(ABORT, gauges=()))
    wait_for(lambda: "oil pressure low" in pty.text, "the warning")
    assert any("41" in sgr.split(";") for sgr in pty.terminal.sgr)


@on_posix
def test_silent_coach(pty: PtyScreen) -> None:
    """When nothing has come for a while (3 s; here shortened) the screen says that it is old, until something comes."""
    hasty = "import adapters.painter as painter; painter.STALE_S = 0.5; painter.run_process()"
    board = Dashboard(AROUND, pty.stream, command=[*NO_CODE, hasty])
    assert board.start() is None
    board.show(ROLL)
    wait_for(lambda: re.search(r"SCREEN \d s OLD", pty.text), "the age is said")
    board.show(ROLL)
    wait_for(lambda: "feed on" in pty.text, "it is live again")
    board.close()


@on_posix
def test_painter_that_cannot_start(pty: PtyScreen) -> None:
    """A painter that ends at once with an error is said in one line with its reason; events are printed."""
    board = Dashboard(AROUND, pty.stream, command=[*NO_CODE, "raise ImportError('no module for it')"])
    board.start()
    board.event(ROTATE)
    wait_for(lambda: not board.painting, "it is noticed")
    wait_for(
        lambda: "no module for it" in pty.text.replace("\n", "") and "Rotate" in pty.text,
        "it is said, and the call printed",
    )
    missing = Dashboard(AROUND, pty.stream, command=["/nowhere/python"])
    assert "plain lines instead" in (missing.start() or "")


def test_no_terminal() -> None:
    """Where the output is no terminal there is no dashboard: one line says why, and events are printed."""
    stream = io.StringIO()
    board = Dashboard(stream=stream)
    assert board.start() == "no dashboard: the output is no terminal; plain lines instead"
    board.event(ROTATE)
    board.notice("a notice")
    board.close()
    assert stream.getvalue().splitlines()[0].endswith("Rotate")
    assert stream.getvalue().splitlines()[1].endswith("a notice")


@on_posix
def test_dumb_terminal(pty: PtyScreen, monkeypatch: pytest.MonkeyPatch) -> None:
    """A terminal that cannot move its cursor gets lines."""
    assert cannot_paint(pty.stream) is None
    monkeypatch.setenv("TERM", "dumb")
    assert "TERM" in (cannot_paint(pty.stream) or "")


def test_captions_from_the_voice() -> None:
    """Events give the captions until the voice gives them itself; a caption goes when its time is over."""
    now = [1000.5]
    board = Dashboard(stream=io.StringIO(), clock=lambda: now[0])
    board.event(ROTATE)
    captions = [board._newest().view.around.caption]
    now[0] += caption_seconds("Rotate") + 0.01
    captions.append(board._newest().view.around.caption)
    board.caption("Airspeed alive")
    board.event(ROTATE)
    captions.append(board._newest().view.around.caption)
    board.caption(None)
    captions.append(board._newest().view.around.caption)
    assert captions == ["Rotate", None, "Airspeed alive", None]


def test_notices_go_and_are_kept() -> None:
    """The newest three notices are on the screen for a while; all of them are printed at the end."""
    now = [1000.5]
    board = Dashboard(stream=io.StringIO(), clock=lambda: now[0])
    for index in range(5):
        board.notice(f"notice {index}")
    shown = [board._newest().view.around.notices]
    now[0] += 21
    shown.append(board._newest().view.around.notices)
    assert shown == [("notice 2", "notice 3", "notice 4"), ()]
    assert len(board._kept) == 5


def test_painter_is_not_taken_from_the_folder(tmp_path: Path) -> None:
    """A folder named `adapters` where the user stands is not run in place of the painter."""
    (tmp_path / "adapters").mkdir()
    (tmp_path / "adapters" / "painter.py").write_text("raise SystemExit('the wrong one')")
    command = list(Dashboard(Surroundings(), io.StringIO())._command)
    done = subprocess.run(command, cwd=tmp_path, input=b"", capture_output=True, timeout=60, check=False)
    assert done.returncode == 0
    assert b"the wrong one" not in done.stderr
