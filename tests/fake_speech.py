"""Stand-ins for the voice's outer parts: an engine's process that misbehaves, a sound device, clips, a clock."""

from __future__ import annotations

import math
import sys
import time
from array import array
from collections.abc import Callable
from typing import Any

from adapters.speech.child import RenderChild
from adapters.speech.clip import RATE_HZ, Clip
from adapters.speech.players import IDLE, LOST, PLAYING
from adapters.speech.spoken import Spoken
from monitor.events import Event

S = 1_000_000_000

_CHILD = """
import base64, json, sys, time, os
hello = {"engine": "fake", "voice": "one", "version": "1", "missing": MISSING, "voices": []}
HELLO
sys.stdout.write(json.dumps(hello) + "\\n"); sys.stdout.flush()
for line in sys.stdin:
    job = json.loads(line)
    pcm = base64.b64encode(bytes([1, 2]) * 2205 * max(1, len(job["text"].split()))).decode()
    answer = {"job": job["job"], "pcm": pcm}
    JOB
    sys.stdout.write(json.dumps(answer) + "\\n"); sys.stdout.flush()
"""


def fake_child(job: str = "pass", hello: str = "pass", missing: bool = False) -> RenderChild:
    """A real process that keeps the protocol, with `job` and `hello` run (one line) before each answer.

    Its clips are 0.1 s a word.
    """
    code = _CHILD.replace("MISSING", str(missing)).replace("HELLO", hello).replace("JOB", job)
    return RenderChild([sys.executable, "-c", code])


def tone(duration_s: float, hz: float = 440.0, peak: int = 8000) -> Clip:
    """A clip that can be told from silence."""
    count = int(duration_s * RATE_HZ)
    return Clip(array("h", (round(peak * math.sin(6.2832 * hz * i / RATE_HZ)) for i in range(count))).tobytes())


class FakeClips:
    """Clips of 0.1 s a word for the phrases it was given; others only when `render` is called."""

    def __init__(self, *phrases: str, problem: str | None = None) -> None:
        """Have the clips of `phrases`."""
        self.clips = {text: tone(0.1 * len(text.split())) for text in phrases}
        self.asked: list[tuple[str, Callable[[str], None]]] = []
        self.problem = problem

    def get(self, text: str) -> Clip | None:
        """From memory."""
        return self.clips.get(text)

    def want(self, text: str, done: Callable[[str], None]) -> None:
        """Note what is wanted."""
        self.asked.append((text, done))

    def pieces(self, text: str) -> Clip | None:
        """No pieces."""
        return None

    def render(self, ok: bool = True) -> None:
        """Answer all that was asked for."""
        for text, done in self.asked:
            if ok:
                self.clips[text] = tone(0.1 * len(text.split()))
            done(text)
        self.asked.clear()


class FakeClock:
    """A monotonic clock that only moves when told; starts at an odd number so that mixing clocks shows."""

    def __init__(self) -> None:
        """Start."""
        self.ns = 987_654_321_123

    def __call__(self) -> int:
        """The time, integer nanoseconds."""
        return self.ns

    def forward(self, seconds: float) -> None:
        """Move on."""
        self.ns += round(seconds * S)


class FakePlayer:
    """A player on a fake clock that notes what it is told; `lose` makes its device vanish."""

    depth_s = 0.0

    def __init__(self, clock: FakeClock, audible: bool = True) -> None:
        """Idle."""
        self.name, self.audible = "fake", audible
        self._clock = clock
        self._end_ns = 0
        self.done: list[tuple[str, int]] = []
        self.lost = False
        self.closed = False

    def play(self, clip: Clip, serial: int) -> int | None:
        """Start at once."""
        self._end_ns = self._clock() + round(clip.duration_s * S)
        self.done.append(("play", serial))
        return self._clock()

    def stop(self) -> None:
        """Cut."""
        self._end_ns = 0
        self.done.append(("stop", 0))

    def state(self) -> str:
        """By the clock."""
        if self.lost:
            return LOST
        return PLAYING if self._clock() < self._end_ns else IDLE

    def close(self) -> None:
        """Note it."""
        self.closed = True


class FakeDevice:
    """A sound device that asks for a buffer whenever `ask` is called, and keeps all it was given."""

    def __init__(self) -> None:
        """Not started."""
        self.stream: Any = None
        self.heard = bytearray()
        self.closed = False

    def start(self, callback_generator: Any) -> None:
        """Begin."""
        self.stream = callback_generator

    def ask(self, frames: int = 220) -> bytes:
        """One buffer."""
        out: bytes = self.stream.send(frames)
        self.heard += out
        return out

    def close(self) -> None:
        """End."""
        self.closed = True


class InstantVoice:
    """A voice without sound, thread or engine: begins a call at one look and has said it at the next.

    Its latency changes at every look, from 0.02 to 0.06 s.
    """

    def __init__(self) -> None:
        """Nothing said."""
        self.log: list[Spoken] = []
        self.looks = 0
        self._waiting: list[Event] = []
        self._now: Event | None = None

    def start(self) -> str | None:
        """Say that it is there."""
        return "voice: instant"

    def event(self, event: Event) -> None:
        """Take in words."""
        if event.say:
            self._waiting.append(event)
            self._note("queued", event)

    def saying(self) -> str | None:
        """One look."""
        if self._now is not None:
            self._note("finished", self._now)
            self._now = None
        elif self._waiting:
            self._now = self._waiting.pop(0)
            self._note("started", self._now)
        return None if self._now is None else self._now.say

    def _note(self, what: str, event: Event) -> None:
        self.log.append(Spoken(what, event.say or "", event.id, time.monotonic_ns(), ""))

    def take_log(self) -> list[Spoken]:
        """What was noted since the last call."""
        taken, self.log = self.log, []
        return taken

    def take_notices(self) -> list[str]:
        """All is well."""
        return []

    def latency_s(self) -> float | None:
        """Another one each time."""
        self.looks += 1
        return 0.02 + self.looks % 5 / 100

    def drain(self, timeout_s: float) -> bool:
        """Whether all was said; only looks say anything."""
        return self._now is None and not self._waiting

    def close(self) -> None:
        """Cut what is being said, drop the rest."""
        if self._now is not None:
            self._note("cut", self._now)
        for event in self._waiting:
            self._note("dropped", event)
        self._now, self._waiting = None, []
