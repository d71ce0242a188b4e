"""The voice of a flight or a replay: started beside it, polled with the screens, its trouble told as lines."""

from __future__ import annotations

import argparse
import os
import threading
import time
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING

from adapters import config
from adapters.common import Setup
from monitor.events import Event
from monitor.snapshot import Snapshot

if TYPE_CHECKING:
    from adapters.speech.spoken import Spoken
    from adapters.voice import Voice

Tell = Callable[[str], None]
_LOOK_S = 0.05
"""Between two looks at what is being said, once the flight is over."""


def wanted(args: argparse.Namespace, user: Mapping[str, object]) -> bool:
    """Whether the user wants to hear anything: not with --no-voice, nor with `voice = false` in the config."""
    return not args.no_voice and user.get("voice", True) is not False


def open_voice(
    args: argparse.Namespace,
    setup: Setup,
    user: Mapping[str, object],
    tell: Tell,
    env: Mapping[str, str] = os.environ,
) -> Speaking | None:
    """The voice for a flight, or None when none is wanted. Raises `Faults` when its options are wrong."""
    from adapters.voice_options import voice_settings

    named = getattr(args, "data_dir", None) or env.get("CLIMBOUT_HOME")
    cache = config.data_dir(args.data_dir, env) / "voice" if named else None
    settings = voice_settings(args, user, env, language=setup.procedure.language, cache_dir=cache)
    if not wanted(args, user):
        return None
    from adapters.voice import make_voice
    from monitor.callouts import phrases

    return Speaking(make_voice(phrases(setup.procedure, setup.aircraft), settings), tell)


class Speaking:
    """An output around the voice. Starting it takes up to 3 s, which nobody waits for."""

    name = "the voice"

    def __init__(self, voice: Voice, tell: Tell) -> None:
        """Not yet started.

        caption, when set, is given the words being said now. keep, when set, is given the spoken log, line by line as
        it grows; it must not wait.
        """
        self.voice = voice
        self.caption: Callable[[str | None], None] | None = None
        self.keep: Callable[[list[Spoken]], None] | None = None
        self._tell = tell
        self._words: str | None = None
        self._starting = threading.Thread(target=self._start, name="voice start", daemon=True)

    def start(self) -> str | None:
        """Begin to start; the line on what speaks, or why nothing does, is told when that is known."""
        self._starting.start()
        return None

    def event(self, event: Event) -> None:
        """Say the event's words."""
        self.voice.event(event)

    def show(self, snapshot: Snapshot) -> None:
        """No gauge is read; but this is the moment for captions and for what the voice has to tell."""
        self._follow()

    def _follow(self) -> None:
        for line in self.voice.take_notices():
            self._tell(line)
        words = self.voice.saying()
        if words != self._words and self.caption is not None:
            self.caption(words)
        self._words = words
        self._keep_log()

    def _keep_log(self) -> None:
        if self.keep is not None and (log := self.voice.take_log()):
            self.keep(log)

    def latency_s(self) -> float | None:
        """Seconds from an event to its first sound, as measured."""
        return self.voice.latency_s()

    def drain(self, timeout_s: float, stop: Callable[[], bool] = lambda: False) -> None:
        """Let it finish what it is saying, the captions going along, until `stop` says so."""
        end = time.monotonic() + timeout_s
        while not stop() and (left_s := end - time.monotonic()) > 0 and not self.voice.drain(min(left_s, _LOOK_S)):
            self._follow()
        self._follow()

    def close(self) -> None:
        """Fall silent."""
        self._starting.join(4.0)
        self.voice.close()
        self._keep_log()

    def _start(self) -> None:
        try:
            line = self.voice.start()
        except Exception as error:  # the voice is a convenience: the flight goes on
            line = f"voice: off, calls are shown as text: {type(error).__name__}: {error}"
        if line:
            self._tell(line)
