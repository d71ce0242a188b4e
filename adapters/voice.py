"""The voice: takes events, says their words, and never holds anybody up.

`make_voice` puts together the library of rendered phrases, the player that works on this machine, and the speaker's
thread. Every way of failing ends in one line for a person and in calls that go on as text.
"""

from __future__ import annotations

import importlib.metadata
import os
import platform
import sys
import threading
import time
from collections import deque
from collections.abc import Mapping, Sequence
from pathlib import Path

import msgspec
import platformdirs

from adapters.speech.cache import ClipCache, ClipKey
from adapters.speech.child import RenderChild, render_command
from adapters.speech.choose import choose_player
from adapters.speech.library import Library
from adapters.speech.speaker import Opener, Speaker
from adapters.speech.spoken import Spoken
from monitor.events import Event
from monitor.snapshot import Snapshot

_START_WAIT_S = 3.0
_STUCK_S = 3.0
_STEP_S = 0.005


class VoiceSettings(msgspec.Struct, frozen=True):
    """How the voice speaks; empty means the machine's own choice.

    engine: pyttsx3's name of a driver. voice: an id that `climbout voice list` shows. rate: words a minute. volume: 0
    to 1. device: part of a sound device's name, "none" for no sound, "null" for a device heard by nobody. cache_dir:
    where rendered phrases are kept, None = `cache_folder`. language: BCP 47 tag, for the choice of an unnamed voice.
    """

    engine: str = ""
    voice: str = ""
    rate: int = 190
    volume: float = 1.0
    device: str = ""
    cache_dir: Path | None = None
    language: str = "en"


def _version(package: str) -> str:
    try:
        return importlib.metadata.version(package)
    except importlib.metadata.PackageNotFoundError:
        return ""


def clip_key(settings: VoiceSettings) -> ClipKey:
    """What the rendered phrases are kept under; the engine's version is its package's, or the system's."""
    default = {"darwin": "nsss", "win32": "sapi5"}.get(sys.platform, "espeak")
    engine_version = _version("espeakng-loader") if sys.platform.startswith("linux") else ""
    versions = f"pyttsx3 {_version('pyttsx3')}, engine {engine_version or platform.platform()}"
    engine = settings.engine or default
    return ClipKey(engine, settings.voice, settings.language, settings.rate, settings.volume, versions)


def cache_folder(env: Mapping[str, str] = os.environ) -> Path:
    """Where rendered phrases are kept: in CLIMBOUT_HOME when that is set, else the system's place for caches."""
    home = env.get("CLIMBOUT_HOME")
    if home:
        return Path(home).expanduser() / "voice"
    return platformdirs.user_cache_path("climbout", appauthor=False) / "voice"


def make_child(settings: VoiceSettings) -> RenderChild:
    """The engine's process with these settings, not yet started."""
    return RenderChild(
        render_command(settings.engine, settings.voice, settings.language, settings.rate, settings.volume)
    )


def make_library(phrases: Sequence[str], settings: VoiceSettings) -> Library:
    """The library of these phrases in this voice, not yet started."""
    folder = settings.cache_dir or cache_folder()
    return Library(phrases, clip_key(settings), ClipCache(folder), lambda: make_child(settings))


class Voice:
    """An output that speaks. Every method returns at once but `start` (3 s at most), `drain` and `close` (2 s)."""

    def __init__(self, library: Library, open_player: Opener, rate: int = 190, stuck_s: float = _STUCK_S) -> None:
        """Put the parts together; `make_voice` does so for this machine."""
        self._library, self._open_player, self._rate = library, open_player, rate
        self._stuck_s = stuck_s
        self._thread: threading.Thread | None = None
        self._log: deque[Spoken] = deque(maxlen=10_000)
        self._told_latency_s: float | None = None
        self._notices: deque[str] = deque(maxlen=50)
        self._closing = threading.Event()
        self._speaker = self._new_speaker()

    def _new_speaker(self) -> Speaker:
        return Speaker(self._library, self._open_player, self._log, self._rate)

    def start(self, wait_s: float = _START_WAIT_S) -> str | None:
        """Render or load the phrases, open the device; one line on what speaks, or on why nothing can be heard.

        Returns after `wait_s` at most: what is not ready by then goes on in the background.
        """
        end = time.monotonic() + wait_s
        self._library.start()
        self._run(self._speaker)
        threading.Thread(target=self._watch, name="voice watch", daemon=True).start()
        self._speaker.opened.wait(max(0.0, end - time.monotonic()))
        self._library.ready.wait(max(0.0, end - time.monotonic()))
        line = self._line()
        problem = self._library.problem
        for notice in self._library.take_notices():
            if problem is None or problem not in notice:  # the line has told it
                self._notices.append(notice)
        return line

    def _line(self) -> str:
        have, total = self._library.have()
        hello, problem = self._library.hello, self._library.problem
        engine, voice = (hello.engine, hello.voice) if hello else self._library.named
        speech = f"{engine}, {voice or 'default voice'}, {self._rate} words/min"
        if problem:
            speech = f"phrases kept from before, no speech engine ({problem})"
        why = [f"no speech engine ({problem})"] if problem and have < total else []
        why += [] if self._speaker.audible else [self._speaker.player_words]
        if why:
            return f"voice: off, calls are shown as text: {'; '.join(why)}"
        rest = "" if have == total else f"; {total - have} of {total} phrases are still being rendered"
        return f"voice: {speech}; {self._speaker.player_words}{rest}"

    def event(self, event: Event) -> None:
        """Say the event's words when their turn comes. Never waits."""
        if event.say:
            self._speaker.say(event)

    def show(self, snapshot: Snapshot) -> None:
        """The voice reads no gauges."""

    def saying(self) -> str | None:
        """The words being said now, for captions; None in silence."""
        return self._speaker.saying()

    def latency_s(self) -> float | None:
        """Seconds from an event to its first sample, as measured; None when nothing can be heard.

        Moves in steps of 5 ms or more, so that it is worth recording each time it changes.
        """
        now_s = self._speaker.latency_s()
        told_s = self._told_latency_s
        if now_s is None or told_s is None or abs(now_s - told_s) >= _STEP_S:
            self._told_latency_s = None if now_s is None else round(now_s, 3)
        return self._told_latency_s

    def take_log(self) -> list[Spoken]:
        """What was queued, started, cut, dropped and finished since the last call, in order."""
        return [self._log.popleft() for _ in range(len(self._log))]

    def take_notices(self) -> list[str]:
        """What went wrong or right again since the last call, one line each, for a person."""
        notices = self._library.take_notices()
        for source in (self._speaker.notices, self._notices):
            notices.extend(source.popleft() for _ in range(len(source)))
        return notices

    def drain(self, timeout_s: float) -> bool:
        """Wait until all has been said, `timeout_s` at most; whether it has."""
        end = time.monotonic() + timeout_s
        while not self._speaker.idle():
            if time.monotonic() > end:
                return False
            time.sleep(0.02)
        return True

    def close(self) -> None:
        """Fall silent, end the engine's process, let go of the device."""
        self._closing.set()
        self._speaker.closing = True
        self._speaker.inbox.put(("clip", ""))
        self._library.close()
        if self._thread:
            self._thread.join(1.0)

    def _run(self, speaker: Speaker) -> None:
        self._thread = threading.Thread(target=speaker.run, name="voice", daemon=True)
        self._thread.start()

    def _watch(self) -> None:
        """A speaker that has stopped turning is left behind and replaced; its calls stay on screen as text."""
        seen_ns = 0
        while not self._closing.wait(min(0.5, self._stuck_s / 2)):
            stuck, before_ns, seen_ns = self._speaker, seen_ns, self._speaker.beat_ns
            old = (time.monotonic_ns() - seen_ns) / 1e9 > self._stuck_s
            if old and seen_ns == before_ns:  # twice: after the machine has slept, both threads have just woken
                stuck.closing = True
                self._notices.append("voice: the speaker did not go on and was replaced; its calls were shown as text")
                self._speaker = self._new_speaker()
                self._run(self._speaker)


def make_voice(phrases: Sequence[str], settings: VoiceSettings | None = None) -> Voice:
    """The voice for these phrases, not yet started. Nothing optional is imported or opened before `start`."""
    settings = settings or VoiceSettings()
    return Voice(make_library(phrases, settings), lambda tell: choose_player(tell, settings.device), settings.rate)
