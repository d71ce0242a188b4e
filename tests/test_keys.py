"""One key at a time: read at once, named, and the terminal as it was afterwards, whatever happens."""

from __future__ import annotations

import io
import os
import subprocess
import sys
import time
from collections.abc import Iterator

import pytest

from adapters.keypress import NoKeys, names_in
from adapters.keys import open_keys

posix = pytest.mark.skipif(sys.platform == "win32", reason="a pseudo-terminal is needed")
DEADLINE_S = 20.0

CHILD = """
import signal, sys, time
from adapters.keys import open_keys
signal.signal(signal.SIGINT, signal.default_int_handler)  # tests in the background inherit an ignored one
with open_keys() as keys:
    print("ready", flush=True)
    if sys.argv[1] == "error":
        raise RuntimeError("on purpose")
    end = time.monotonic() + 20
    while time.monotonic() < end:
        key = keys.read(0.1)
        if key is not None:
            print(f"<{key.name}>", flush=True)
            if key.name == "q":
                break
print("done", flush=True)
"""

# What a shell does with its foreground job: sees it stop, takes the terminal, lets it go on when the user says so.
# Without one the child would be alone in its session, where the system ignores a stop.
SHELL = """
import os, signal, subprocess, sys
signal.signal(signal.SIGTTOU, signal.SIG_IGN)
job = subprocess.Popen(
    [sys.executable, "-P", "-c", sys.argv[1], "keys"], process_group=0, preexec_fn=lambda: os.tcsetpgrp(0, os.getpid())
)
while os.WIFSTOPPED(os.waitpid(job.pid, os.WUNTRACED)[1]):
    os.tcsetpgrp(0, os.getpgrp())
    print("stopped", flush=True)
    print("said", input(), flush=True)
    os.tcsetpgrp(0, job.pid)
    os.killpg(job.pid, signal.SIGCONT)
print("ended", flush=True)
"""


def test_names_of_keys() -> None:
    """Named keys, letters in lower case, and no key at all for an arrow or function key (ECMA-48 sequences)."""
    assert names_in(" Qq\r\x1b") == ["space", "q", "q", "enter", "escape"]
    assert names_in("\x1b[A\x1bOP\x1b[15~x") == ["x"]
    assert names_in("") == []


def test_no_terminal_no_keys() -> None:
    """A stream that is no terminal, or a closed one, gives a reader that hears nothing and does not hang."""
    with open_keys(io.StringIO("qqq")) as keys:
        assert isinstance(keys, NoKeys) and not keys.listening and keys.read(0.0) is None
    stream = io.StringIO()
    stream.close()
    assert isinstance(open_keys(stream), NoKeys)


def test_a_pipe_gives_keys_when_asked_to() -> None:
    """Characters of a pipe are keys, stamped in order; its end is not a key and is asked for no more."""
    reading, writing = os.pipe()
    os.write(writing, b" q")
    with os.fdopen(reading) as stream, open_keys(stream, pipes=True) as keys:
        first, second = keys.read(5.0), keys.read(5.0)
        assert first is not None and second is not None
        assert (first.name, second.name) == ("space", "q") and first.at_ns <= second.at_ns <= time.monotonic_ns()
        os.close(writing)
        assert keys.read(1.0) is None
        assert not keys.listening


class Screen:
    """A program on a pseudo-terminal of its own, as a shell's foreground job."""

    def __init__(self, *args: str) -> None:
        """Start a Python program with what follows it on its command line."""
        import pty
        import termios

        self.ours, theirs = pty.openpty()
        self.before = termios.tcgetattr(theirs)
        self.theirs = theirs
        self.seen = ""
        start = "import os,fcntl,termios; os.setsid(); fcntl.ioctl(0, termios.TIOCSCTTY, 0)\n"
        self.child = subprocess.Popen(
            [sys.executable, "-P", "-c", start + args[0], *args[1:]], stdin=theirs, stdout=theirs, stderr=theirs
        )

    def wait_for(self, text: str) -> None:
        """Read what it prints until `text` is there."""
        import select

        end = time.monotonic() + DEADLINE_S
        while text not in self.seen and time.monotonic() < end:
            if select.select([self.ours], [], [], 0.1)[0]:
                self.seen += os.read(self.ours, 4096).decode()
        assert text in self.seen, self.seen

    def send(self, data: bytes) -> None:
        """Press keys."""
        os.write(self.ours, data)

    def modes(self) -> tuple[bool, bool]:
        """Whether the terminal edits lines, and echoes."""
        import termios

        local = termios.tcgetattr(self.theirs)[3]
        return bool(local & termios.ICANON), bool(local & termios.ECHO)

    def wait_for_modes(self, edits: bool, echoes: bool) -> None:
        """Wait until the terminal is set so."""
        end = time.monotonic() + DEADLINE_S
        while self.modes() != (edits, echoes) and time.monotonic() < end:
            time.sleep(0.02)
        assert self.modes() == (edits, echoes)

    def restored(self) -> bool:
        """Whether the terminal is, within the deadline, as it was before."""
        import termios

        end = time.monotonic() + DEADLINE_S
        while termios.tcgetattr(self.theirs) != self.before and time.monotonic() < end:
            time.sleep(0.02)
        return termios.tcgetattr(self.theirs) == self.before

    def close(self) -> None:
        """End the child and let go of the terminal."""
        if self.child.poll() is None:
            self.child.kill()
        self.child.wait()
        os.close(self.ours)
        os.close(self.theirs)


@pytest.fixture
def screen(request: pytest.FixtureRequest) -> Iterator[Screen]:
    """The child that reads keys, or another program with its arguments."""
    made = Screen(*getattr(request, "param", (CHILD, "keys")))
    yield made
    made.close()


@posix
def test_a_key_comes_without_enter_and_the_terminal_is_put_back(screen: Screen) -> None:
    """Inside there is neither echo nor line editing; after a normal end all is as before."""
    screen.wait_for("ready")
    assert screen.modes() == (False, False)
    screen.send(b" ")
    screen.wait_for("<space>")
    screen.send(b"q")
    screen.wait_for("done")
    assert screen.child.wait(DEADLINE_S) == 0
    assert screen.restored()


@posix
@pytest.mark.parametrize("screen", [(CHILD, "error")], ids=["error"], indirect=True)
def test_the_terminal_is_put_back_after_an_error(screen: Screen) -> None:
    """An exception inside leaves no terminal without echo behind."""
    screen.wait_for("on purpose")
    assert screen.child.wait(DEADLINE_S) == 1
    assert screen.restored()


@posix
def test_the_terminal_is_put_back_after_an_interrupt(screen: Screen) -> None:
    """Ctrl-C is still the terminal's own, ends the program, and the terminal is as before."""
    screen.wait_for("ready")
    screen.send(b"\x03")
    screen.wait_for("KeyboardInterrupt")
    screen.child.wait(DEADLINE_S)
    assert screen.restored()


@posix
@pytest.mark.parametrize("screen", [(SHELL, CHILD)], ids=["job"], indirect=True)
def test_the_terminal_is_put_back_while_suspended(screen: Screen) -> None:
    """A stopped program leaves the shell its terminal, and takes it again, keys and all, when it goes on; twice."""
    screen.wait_for("ready")
    for line in ("first", "second"):
        screen.wait_for_modes(False, False)
        screen.send(b"\x1a")
        screen.wait_for("stopped")
        assert screen.restored()
        screen.send(f"{line}\n".encode())
        screen.wait_for(f"said {line}")
        screen.seen = ""
    screen.wait_for_modes(False, False)
    screen.send(b"q")
    screen.wait_for("<q>")
    screen.wait_for("ended")
    assert screen.restored()
