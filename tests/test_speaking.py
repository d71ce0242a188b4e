"""The voice around a flight: nobody waits for it, its trouble is a line, its words become captions."""

from __future__ import annotations

import argparse
import threading
from pathlib import Path

import pytest

from adapters import cli, common
from adapters.speaking import Speaking, open_voice
from adapters.speech.spoken import Spoken
from monitor.events import Event
from monitor.snapshot import Snapshot
from monitor.toml_check import Faults
from replay.trainer_feed import feed_text

EVENT = Event(1.0, "callout", "rotate", 1, "takeoff-roll", "Rotate")


class FakeVoice:
    """Says nothing; starts when it is let, or fails."""

    def __init__(self, trouble: Exception | None = None) -> None:
        """Not started."""
        self.let, self.trouble = threading.Event(), trouble
        self.said: list[Event] = []
        self.words: str | None = None
        self.notices: list[str] = []
        self.log: list[Spoken] = []
        self.following: list[str] = []
        self.closed = False

    def start(self) -> str | None:
        """Start when let."""
        assert self.let.wait(20)
        if self.trouble:
            raise self.trouble
        return "voice: fake"

    def event(self, event: Event) -> None:
        """Keep."""
        self.said.append(event)

    def saying(self) -> str | None:
        """As set."""
        return self.words

    def take_notices(self) -> list[str]:
        """As set, once."""
        taken, self.notices = self.notices, []
        return taken

    def take_log(self) -> list[Spoken]:
        """As set, once."""
        taken, self.log = self.log, []
        return taken

    def drain(self, timeout_s: float) -> bool:
        """Done when the words set to follow are out."""
        self.words = self.following.pop(0) if self.following else None
        return self.words is None

    def close(self) -> None:
        """Note, and log the end."""
        self.closed = True
        self.log.append(Spoken("cut", "Rotate", "rotate", 9, "the end"))


def _speaking(voice: FakeVoice) -> tuple[Speaking, list[str]]:
    told: list[str] = []
    return Speaking(voice, told.append), told  # type: ignore[arg-type]


def test_nobody_waits_for_the_voice_to_start() -> None:
    """`start` returns and events are taken while the voice is still starting; its line is told when it has."""
    voice = FakeVoice()
    speaking, told = _speaking(voice)
    assert speaking.start() is None
    speaking.event(EVENT)
    assert voice.said == [EVENT] and told == []
    voice.let.set()
    speaking.close()
    assert told == ["voice: fake"] and voice.closed


def test_a_voice_that_fails_to_start_is_one_line() -> None:
    """Whatever goes wrong at the start is told as "off", and nothing is raised."""
    voice = FakeVoice(OSError("no engine"))
    voice.let.set()
    speaking, told = _speaking(voice)
    speaking.start()
    speaking.close()
    assert told == ["voice: off, calls are shown as text: OSError: no engine"]


def test_words_become_captions_when_they_change() -> None:
    """The screen gets the words being said now, once each time they change, and the voice's notices are told."""
    voice, captions = FakeVoice(), list[str | None]()
    speaking, told = _speaking(voice)
    speaking.caption = captions.append
    for words in (None, "Rotate", "Rotate", None):
        voice.words = words
        speaking.show(Snapshot())
    voice.notices = ["voice: gone"]
    speaking.show(Snapshot())
    assert captions == ["Rotate", None]
    assert told == ["voice: gone"]


def test_captions_follow_the_last_words_too() -> None:
    """While the voice finishes after the flight, the captions go along and end; an interrupt ends the waiting."""
    voice, captions = FakeVoice(), list[str | None]()
    speaking, _ = _speaking(voice)
    speaking.caption = captions.append
    voice.following = ["Turn height", "Level off"]
    speaking.drain(60.0)
    assert captions == ["Turn height", "Level off", None]
    voice.following = ["Turn height"]
    speaking.drain(60.0, lambda: True)
    assert voice.following == ["Turn height"]


def test_the_spoken_log_is_handed_on_to_its_last_line() -> None:
    """Every line once, as it grows, and what `close` adds; with nobody to keep it, nothing is taken."""
    voice, kept = FakeVoice(), list[Spoken]()
    voice.let.set()
    speaking, _ = _speaking(voice)
    speaking.start()
    first, second = (Spoken(what, "Rotate", "rotate", 7, "", 0.02) for what in ("queued", "started"))
    voice.log = [first]
    speaking.show(Snapshot())
    assert voice.log == [first]
    speaking.keep = kept.extend
    speaking.show(Snapshot())
    voice.log = [second]
    speaking.show(Snapshot())
    speaking.show(Snapshot())
    assert kept == [first, second]
    speaking.close()
    assert [line.what for line in kept] == ["queued", "started", "cut"]


def _args(*line: str) -> argparse.Namespace:
    parser = cli.Parser()
    common.add_common(parser)
    return parser.parse_args(line)


@pytest.mark.parametrize(
    ("line", "user", "speaks"),
    [
        ((), {}, True),
        (("--no-voice",), {}, False),
        ((), {"voice": False}, False),
        (("--no-voice",), {"voice": True}, False),
    ],
)
def test_who_wants_no_voice_gets_none(
    line: tuple[str, ...], user: dict[str, object], speaks: bool, tmp_path: Path
) -> None:
    """--no-voice and `voice = false` in the config each switch it off."""
    args = _args(*line, "--data-dir", str(tmp_path))
    setup = common.resolve(args, use_config=False, assumed_feed=feed_text(), env={})
    assert (open_voice(args, setup, user, print, env={}) is not None) is speaks


def test_voice_options_are_checked_with_all_others(tmp_path: Path) -> None:
    """A wrong rate is told in the same message as a wrong elevation."""
    args = _args("--voice-rate", "fast", "--field-elevation", "high", "--data-dir", str(tmp_path))
    with pytest.raises(Faults) as error:
        common.resolve(args, use_config=False, assumed_feed=feed_text(), env={})
    assert len(error.value.faults) == 2
