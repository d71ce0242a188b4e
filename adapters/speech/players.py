"""Players of clips other than the open device: one that only keeps the time, and one process for each phrase.

A player starts a clip without waiting for it, can be cut, and says how it stands. The process player covers machines
where no device can be opened from here; it has no buffer to swap, so a cut is the end of its process.
"""

from __future__ import annotations

import contextlib
import shutil
import subprocess
import sys
import tempfile
import time
import wave
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Protocol

from adapters.speech.clip import RATE_HZ, Clip, silence

IDLE, PLAYING, LOST = "idle", "playing", "lost"


class Player(Protocol):
    """What sounds a clip. Used by the speaker's thread alone; no call here may block.

    name: for a person. audible: someone can hear it. depth_s: further delay in the device's buffer after the first
    sample is taken, as far as the device tells.
    """

    name: str
    audible: bool
    depth_s: float

    def play(self, clip: Clip, serial: int) -> int | None:
        """Start `clip`, replacing what sounds now; when it began (monotonic ns), or None when that is told later."""
        ...

    def stop(self) -> None:
        """Cut what sounds now."""
        ...

    def state(self) -> str:
        """`IDLE`, `PLAYING` or `LOST` (then it is of no more use and should be closed)."""
        ...

    def close(self) -> None:
        """Let go of the device. May block; never raises."""
        ...


class SilentPlayer:
    """Nobody hears it: keeps the time, so that captions and the order of calls are as they would be with sound."""

    audible = False
    depth_s = 0.0

    def __init__(self, name: str = "no sound", clock_ns: Callable[[], int] = time.monotonic_ns) -> None:
        """`clock_ns` is monotonic."""
        self.name = name
        self._clock_ns = clock_ns
        self._end_ns = 0

    def play(self, clip: Clip, serial: int) -> int | None:
        """Begin to count the clip's time."""
        now_ns = self._clock_ns()
        self._end_ns = now_ns + int(clip.duration_s * 1e9)
        return now_ns

    def stop(self) -> None:
        """Count no more."""
        self._end_ns = 0

    def state(self) -> str:
        """`PLAYING` until the clip's time is over."""
        return PLAYING if self._clock_ns() < self._end_ns else IDLE

    def close(self) -> None:
        """Nothing to let go of."""


def write_wav(path: Path, clip: Clip) -> None:
    """`clip` as a WAV file. Raises OSError."""
    with wave.open(str(path), "wb") as sound:
        sound.setnchannels(1)
        sound.setsampwidth(2)
        sound.setframerate(RATE_HZ)
        sound.writeframes(clip.pcm)


PROGRAMS: dict[str, tuple[tuple[str, ...], ...]] = {
    "linux": (("pw-play",), ("paplay",), ("aplay", "-q")),
    "darwin": (("afplay",),),
    "win32": ((sys.executable, "-P", "-m", "adapters.speech.winplay"),),
}


def find_programs(platform: str = sys.platform) -> list[tuple[str, ...]]:
    """The playing programs of this machine, in the order they are tried."""
    found = PROGRAMS.get(platform, PROGRAMS["linux"])
    return [command for command in found if shutil.which(command[0])]


class ProcessPlayer:
    """One short-lived process a phrase. `depth_s` is unknown and left 0: only the process's start is measured."""

    audible = True
    depth_s = 0.0

    def __init__(self, command: Sequence[str], check_s: float = 3.0) -> None:
        """Try `command` with a moment of silence. Raises OSError when it cannot play: no device, or no such program."""
        self.name = Path(command[0]).stem if len(command) < 3 else "winsound"
        self._command = list(command)
        self._folder = tempfile.TemporaryDirectory(prefix="climbout-", ignore_cleanup_errors=True)
        self._files: dict[Clip, Path] = {}
        self._process: subprocess.Popen[bytes] | None = None
        self._lost = False
        self._check(check_s)

    def _check(self, check_s: float) -> None:
        try:
            status = self._spawn(silence(0.05)).wait(check_s)
        except subprocess.TimeoutExpired:
            self.close()
            raise OSError(f"{self.name} did not end within {check_s:g} s") from None
        if status != 0:
            self.close()
            raise OSError(f"{self.name} found no sound device (status {status})")

    def _spawn(self, clip: Clip) -> subprocess.Popen[bytes]:
        path = self._files.get(clip)
        if path is None:
            path = self._files[clip] = Path(self._folder.name) / f"{len(self._files)}.wav"
            write_wav(path, clip)
        none, flags = subprocess.DEVNULL, getattr(subprocess, "CREATE_NO_WINDOW", 0)
        command = [*self._command, str(path)]
        self._process = subprocess.Popen(command, stdin=none, stdout=none, stderr=none, creationflags=flags)
        return self._process

    def play(self, clip: Clip, serial: int) -> int | None:
        """Start a process for `clip`; the one that sounds now is ended first. Its start is all that can be known."""
        self.stop()
        try:
            self._spawn(clip)
        except OSError:
            self._lost = True
        return time.monotonic_ns()

    def stop(self) -> None:
        """End the process."""
        process, self._process = self._process, None
        if process and process.poll() is None:
            process.kill()
            with contextlib.suppress(subprocess.TimeoutExpired):
                process.wait(0.05)  # 0.14 ms measured; the bound is for a machine in trouble

    def state(self) -> str:
        """`LOST` when the program could not be started or ended with an error of its own."""
        if self._lost:
            return LOST
        status = self._process.poll() if self._process else 0
        if status is None:
            return PLAYING
        self._lost = status != 0
        return LOST if self._lost else IDLE

    def close(self) -> None:
        """End the process and clear the files."""
        self.stop()
        self._folder.cleanup()
