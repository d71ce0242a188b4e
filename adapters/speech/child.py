"""The parent's end of the rendering process: started, asked with a deadline, ended when it hangs.

Used by one thread at a time (the library's). Nothing here waits longer than it was told to.
"""

from __future__ import annotations

import base64
import binascii
import contextlib
import queue
import shutil
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import msgspec

from adapters.speech.clip import Clip

HELLO_DEADLINE_S = 8.0  # a cold disk and a busy machine; 0.10 s measured for espeak-ng
_FULL_BYTES = 1_000_000


class SpeechError(Exception):
    """The engine did not do what was asked; the text says why, for a person. `gone`: its process has ended."""

    def __init__(self, why: str, gone: bool = False) -> None:
        """Keep the reason; it is also the text of the exception."""
        super().__init__(why)
        self.gone = gone


class Hello(msgspec.Struct, frozen=True):
    """What the engine said of itself.

    missing: the voice asked for is not there. fits: the voice was asked for, or speaks the language that was. voices:
    (id, name, in language).
    """

    engine: str
    voice: str
    version: str = ""
    missing: bool = False
    fits: bool = True
    voices: list[tuple[str, str, bool]] = []


def render_command(engine: str, voice: str, language: str, rate: int, volume: float) -> list[str]:
    """The command line of the rendering process; `-P` keeps out a folder named `adapters` where the user stands."""
    options = ["--engine", engine, "--voice", voice, "--language", language]
    return [
        sys.executable,
        "-P",
        "-m",
        "adapters.speech.render",
        *options,
        "--rate",
        str(rate),
        "--volume",
        str(volume),
    ]


def _spawn(command: Sequence[str]) -> subprocess.Popen[bytes]:
    flags = getattr(subprocess, "CREATE_NO_WINDOW", 0) | getattr(subprocess, "CREATE_NEW_PROCESS_GROUP", 0)
    pipe, none = subprocess.PIPE, subprocess.DEVNULL
    return subprocess.Popen(list(command), stdin=pipe, stdout=pipe, stderr=none, creationflags=flags)


def _read_lines(process: subprocess.Popen[bytes], answers: queue.SimpleQueue[bytes | None]) -> None:
    assert process.stdout is not None
    with contextlib.suppress(OSError, ValueError), process.stdout as lines:
        for line in lines:
            answers.put(line)
    answers.put(None)


class RenderChild:
    """One rendering process. `start` before `render`; after a `SpeechError` with `gone` set, a new one is needed."""

    def __init__(self, command: Sequence[str]) -> None:
        """Nothing is started yet; `command` is that of `render_command`, or of a stand-in."""
        self._command = list(command)
        self._process: subprocess.Popen[bytes] | None = None
        self._answers: queue.SimpleQueue[bytes | None] = queue.SimpleQueue()
        self._folder: tempfile.TemporaryDirectory[str] | None = None
        self._job = 0
        self._killed = False

    @property
    def pid(self) -> int | None:
        """The process's id while there is one."""
        return self._process.pid if self._process else None

    def start(self, deadline_s: float = HELLO_DEADLINE_S) -> Hello:
        """Start the process and hear what engine it has. Raises SpeechError."""
        try:
            self._folder = tempfile.TemporaryDirectory(prefix="climbout-", ignore_cleanup_errors=True)
            self._process = _spawn([*self._command, "--folder", self._folder.name])
        except OSError as error:
            self.close()
            raise SpeechError(f"the speech process could not be started: {error}", gone=True) from None
        if self._killed:
            self._process.kill()
        threading.Thread(
            target=_read_lines, args=(self._process, self._answers), name="speech answers", daemon=True
        ).start()
        answer = self._answer(deadline_s, lambda line: True)
        if "error" in answer:
            self.close()
            raise SpeechError(str(answer["error"]), gone=True)
        try:
            return msgspec.convert(answer, Hello)
        except msgspec.ValidationError as error:
            self.close()
            raise SpeechError(f"the speech process answered nonsense: {error}", gone=True) from None

    def render(self, text: str, deadline_s: float) -> Clip:
        """The clip of `text`. Raises SpeechError; one that is late is ended, since nothing else stops an engine."""
        self._job += 1
        line = msgspec.json.encode({"job": self._job, "text": text}) + b"\n"
        try:
            assert self._process is not None and self._process.stdin is not None
            self._process.stdin.write(line)
            self._process.stdin.flush()
        except (OSError, ValueError, AssertionError):
            raise self._ended() from None
        answer = self._answer(deadline_s, lambda line: line.get("job") == self._job)
        if "pcm" not in answer:
            raise SpeechError(str(answer.get("error", "the speech process answered nonsense")))
        try:
            return Clip(base64.b64decode(answer["pcm"], validate=True))
        except (binascii.Error, TypeError, ValueError):
            raise SpeechError("the speech process answered with sound that cannot be read") from None

    def _answer(self, deadline_s: float, mine: Any) -> dict[str, Any]:
        end = time.monotonic() + deadline_s
        while True:
            try:
                line = self._answers.get(timeout=max(0.0, end - time.monotonic()))
            except queue.Empty:
                why = self._late(deadline_s)
                self.close()
                raise SpeechError(why, gone=True) from None
            if line is None:
                raise self._ended()
            with contextlib.suppress(msgspec.DecodeError):
                answer = msgspec.json.decode(line)
                if isinstance(answer, dict) and mine(answer):
                    return answer

    def _late(self, deadline_s: float) -> str:
        with contextlib.suppress(OSError):
            if self._folder and shutil.disk_usage(self._folder.name).free < _FULL_BYTES:
                return f"no space left in {Path(self._folder.name).parent} for the speech engine's files"
        return f"the speech engine did not answer within {deadline_s:g} s and was ended"

    def _ended(self) -> SpeechError:
        status = None
        if self._process:
            with contextlib.suppress(subprocess.TimeoutExpired):
                status = self._process.wait(0.5)
        self.close()
        return SpeechError(f"the speech process ended by itself (status {status})", gone=True)

    def close(self) -> None:
        """End the process now and clear its files. Safe to call twice."""
        process, self._process = self._process, None
        if process:
            process.kill()
            with contextlib.suppress(subprocess.TimeoutExpired):
                process.wait(2.0)
            with contextlib.suppress(OSError, ValueError):
                if process.stdin:  # standard output is closed by the thread that reads it, at its end
                    process.stdin.close()
        if self._folder:
            self._folder.cleanup()
            self._folder = None

    def kill(self) -> None:
        """End the process now, from any thread; whoever waits for its answer then hears that it is gone.

        One that has not been started yet ends as soon as it is.
        """
        self._killed = True
        process = self._process
        if process:
            process.kill()
