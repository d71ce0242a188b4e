"""The voice as a flight sees it: an output that says in one line what it is, never waits, and fails in words."""

from __future__ import annotations

import argparse
import errno
import json
import os
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from adapters import cli
from adapters.speech.cache import ClipCache, ClipKey
from adapters.speech.child import RenderChild
from adapters.speech.choose import NULL, choose_player
from adapters.speech.device import DevicePlayer
from adapters.speech.library import Deadlines, Library
from adapters.speech.players import Player, SilentPlayer
from adapters.speech.speaker import Opener
from adapters.voice import Voice, VoiceSettings, make_voice
from adapters.voice_options import add_voice_options, voice_settings
from monitor.events import Event
from monitor.snapshot import Snapshot
from monitor.toml_check import Faults
from tests.fake_speech import FakeClock, FakePlayer, fake_child

DEADLINE_S = 20.0
KEY = ClipKey("fake", "", "en", 190, 1.0, "1")
QUICK = Deadlines(hello_s=DEADLINE_S, phrase_s=0.3, urgent_s=0.3, pauses_s=(0.02, 0.05))
ROTATE = Event(1.0, "callout", "rotate", 1, say="Rotate")


@pytest.fixture(autouse=True)
def own_cache(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """The user's own cache of phrases is left alone."""
    monkeypatch.setenv("CLIMBOUT_HOME", str(tmp_path / "home"))


def _until(true: Callable[[], bool]) -> None:
    end = time.monotonic() + DEADLINE_S
    while not true():
        assert time.monotonic() < end, "did not happen in time"
        time.sleep(0.005)


def _silent(tell: object) -> tuple[Player, str]:
    return SilentPlayer(), "no sound device (test)"


def _null(tell: Callable[[str, int, int], None]) -> tuple[Player, str]:
    pytest.importorskip("miniaudio")
    return choose_player(tell, NULL)


@contextmanager
def _voice(
    folder: Path,
    make_child: Callable[[], RenderChild],
    open_player: Opener = _null,
    phrases: tuple[str, ...] = ("Rotate",),
) -> Iterator[tuple[Voice, str]]:
    voice = Voice(Library(phrases, KEY, ClipCache(folder), make_child, QUICK), open_player)
    try:
        yield voice, voice.start(DEADLINE_S) or ""
    finally:
        voice.close()


def _story(voice: Voice) -> list[tuple[str, str]]:
    return [(entry.what, entry.reason) for entry in voice.take_log()]


def test_one_line_says_what_speaks_and_the_log_what_was_said(tmp_path: Path) -> None:
    """Engine and player in one line; a call leaves its three lines in the log, taken once; the latency is measured."""
    with _voice(tmp_path, fake_child) as (voice, line):
        assert line.startswith("voice: fake, one, 190 words/min; played by Null")
        first_s = voice.latency_s()
        assert first_s is not None and 0.0 <= first_s < 5.0
        voice.event(ROTATE)
        voice.event(Event(1.0, "phase", "rotation"))
        voice.show(Snapshot())
        assert voice.drain(DEADLINE_S)
        assert _story(voice) == [("queued", ""), ("started", ""), ("finished", "")]
        assert voice.take_log() == []
        assert voice.take_notices() == []


def test_no_sound_device_is_said_and_calls_go_on_as_text(tmp_path: Path) -> None:
    """Without sound: one line with the reason, calls keep their time as captions, no latency is claimed."""
    with _voice(tmp_path, fake_child, _silent) as (voice, line):
        assert line == ("voice: off, calls are shown as text: no sound device (test)")
        voice.event(ROTATE)
        _until(lambda: voice.saying() == "Rotate")
        assert voice.drain(DEADLINE_S)
        assert _story(voice)[1] == ("started", "as text: no sound device (test)")
        assert voice.latency_s() is None


def test_no_speech_engine_is_said_and_calls_go_on_as_text(tmp_path: Path) -> None:
    """Without an engine: one line with the reason, calls as text."""
    with _voice(tmp_path, lambda: fake_child(hello="hello = {'error': 'no engine here'}")) as (voice, line):
        assert line.startswith("voice: off, calls are shown as text: no speech engine (no engine here)")
        voice.event(ROTATE)
        assert voice.drain(DEADLINE_S)
        assert _story(voice)[1] == ("started", "as text: no engine here")
        assert voice.take_notices() == []


def test_a_device_that_is_not_there_is_said_and_the_usual_one_speaks(tmp_path: Path) -> None:
    """A device named in the settings is missing: the line says so, and is no "off" when another one plays."""
    with _voice(tmp_path, fake_child, lambda tell: (_null(tell)[0], "no such device; played by Null")) as (_, line):
        assert line == "voice: fake, one, 190 words/min; no such device; played by Null"


def test_the_end_cuts_and_tells(tmp_path: Path) -> None:
    """`close` in the middle of a call: it returns soon, and the log tells what was cut and what was never said."""
    with _voice(tmp_path, fake_child, phrases=("one " * 50,)) as (voice, _):
        voice.event(Event(1.0, "callout", "a", 1, say="one " * 50))
        _until(lambda: voice.saying() is not None)
        voice.event(Event(1.0, "callout", "b", 1, say="two"))
    ends = [(entry.what, entry.id) for entry in voice.take_log() if entry.reason == "the end"]
    assert ends == [("cut", "a"), ("dropped", "b")]


def test_an_engine_that_hangs_delays_neither_start_nor_calls(tmp_path: Path) -> None:
    """An engine that answers nothing: the start goes on at its limit, calls too, and the end does not wait for it."""
    slow = Deadlines(hello_s=60.0, phrase_s=60.0, urgent_s=60.0)
    library = Library(["Rotate"], KEY, ClipCache(tmp_path), lambda: fake_child(hello="time.sleep(60)"), slow)
    voice = Voice(library, _null)
    line = voice.start(0.3) or ""
    assert "1 of 1 phrases are still being rendered" in line
    voice.event(ROTATE)
    assert voice.drain(DEADLINE_S)
    assert _story(voice)[1] == ("started", "as text: these words could not be rendered in time")
    voice.close()


def test_the_engine_killed_in_flight_is_replaced(tmp_path: Path) -> None:
    """Its process killed: phrases in memory are said as before, varying ones again after the restart."""
    made: list[RenderChild] = []

    def make() -> RenderChild:
        made.append(fake_child())
        return made[-1]

    with _voice(tmp_path, make) as (voice, _):
        made[0].kill()
        voice.event(ROTATE)
        assert voice.drain(DEADLINE_S)
        assert _story(voice)[1] == ("started", "")
        for number in range(50):
            voice.event(Event(2.0, "callout", f"speed{number}", 1, say=f"Speed number {number}"))
            assert voice.drain(DEADLINE_S)
            if ("started", "") in _story(voice):
                break
        else:
            pytest.fail("the engine did not come back")
        assert len(made) > 1


def test_a_device_that_vanishes_is_said_and_found_again(tmp_path: Path) -> None:
    """The open device is closed underneath: noticed and said; the next try opens another and calls are heard again."""
    opened: list[DevicePlayer] = []

    def open_player(tell: Callable[[str, int, int], None]) -> tuple[Player, str]:
        player, words = _null(tell)
        assert isinstance(player, DevicePlayer)
        opened.append(player)
        return player, words

    with _voice(tmp_path, fake_child, open_player) as (voice, _):
        opened[0]._device.close()
        _until(lambda: len(opened) == 2)
        notices: list[str] = []
        _until(lambda: bool(notices.extend(voice.take_notices()) or len(notices) == 2))
        assert "was lost" in notices[0] and notices[1].startswith("voice: sound is back, played by Null")
        voice.event(ROTATE)
        assert voice.drain(DEADLINE_S)
        assert ("started", "") in _story(voice)


def test_a_full_disk_and_a_damaged_cache_do_not_silence_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing can be kept and what was kept is damaged: rendered, said, and two lines tell of it."""
    (tmp_path / KEY.name("Rotate")).write_bytes(b"damaged")

    def full(self: Path, data: bytes) -> int:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(Path, "write_bytes", full)
    with _voice(tmp_path, fake_child) as (voice, _):
        voice.event(ROTATE)
        assert voice.drain(DEADLINE_S)
        assert _story(voice)[1] == ("started", "")
        notices = voice.take_notices()
    assert ["damaged" in line or "No space left" in line for line in notices] == [True, True]


def test_a_device_that_hangs_at_opening_holds_up_nobody(tmp_path: Path) -> None:
    """A sound driver that never answers: the start goes on at its limit and says so; calls as text."""
    release = threading.Event()

    def open_player(tell: object) -> tuple[Player, str]:
        release.wait(DEADLINE_S)
        return SilentPlayer(), "late"

    library = Library(["Rotate"], KEY, ClipCache(tmp_path), fake_child, QUICK)
    voice = Voice(library, open_player)
    assert "the sound device has not answered yet" in (voice.start(0.3) or "")
    voice.event(ROTATE)
    assert voice.drain(DEADLINE_S)
    assert _story(voice)[1][1].startswith("as text")
    voice.close()
    release.set()


def test_a_speaker_that_hangs_is_replaced(tmp_path: Path) -> None:
    """A player that blocks for ever: the watch says so and a new speaker takes the calls from then on."""
    release = threading.Event()

    class Blocking(FakePlayer):
        """Hangs when it is told to play, after the silence it is tried with."""

        def play(self, clip: object, serial: int) -> int | None:
            """Block."""
            if serial:
                release.wait(DEADLINE_S)
            return 0

    players: list[Player] = [Blocking(FakeClock())]

    def open_player(tell: object) -> tuple[Player, str]:
        return (players.pop(), "played by a fake") if players else (SilentPlayer(), "no sound (test)")

    voice = Voice(Library(["Rotate"], KEY, ClipCache(tmp_path), fake_child, QUICK), open_player, stuck_s=0.5)
    voice.start(DEADLINE_S)
    voice.event(ROTATE)
    notices: list[str] = []
    _until(lambda: bool(notices.extend(voice.take_notices()) or notices))
    assert notices == ["voice: the speaker did not go on and was replaced; its calls were shown as text"]
    voice.take_log()
    voice.event(Event(2.0, "callout", "clock", 1, say="Rotate"))
    assert voice.drain(DEADLINE_S)
    assert [what for what, _ in _story(voice)] == ["queued", "started", "finished"]
    voice.close()
    release.set()


def test_latency_moves_only_when_it_is_worth_recording(tmp_path: Path) -> None:
    """A change of a few milliseconds is not passed on, one of five or more is."""
    voice = Voice(Library([], KEY, ClipCache(tmp_path), fake_child, QUICK), _silent)
    told = []
    for now_s in (None, 0.0101, 0.0149, 0.0152, 0.013, 0.009, None):
        voice._speaker.latency_s = lambda now_s=now_s: now_s  # type: ignore[method-assign]
        told.append(voice.latency_s())
    assert told == [None, 0.010, 0.010, 0.015, 0.015, 0.009, None]


def test_nothing_optional_is_needed_to_start(tmp_path: Path) -> None:
    """Without pyttsx3, espeakng-loader and miniaudio the program runs: one line with each reason, calls as text."""
    for name in ("pyttsx3", "espeakng_loader", "miniaudio"):
        (tmp_path / f"{name}.py").write_text(f"raise ModuleNotFoundError(name={name!r})")
    code = (
        "from pathlib import Path\n"
        "from adapters.voice import VoiceSettings, make_voice\n"
        "from monitor.events import Event\n"
        f"voice = make_voice(['Rotate'], VoiceSettings(cache_dir=Path({str(tmp_path)!r})))\n"
        "print(voice.start()); voice.event(Event(1.0, 'callout', 'rotate', 1, say='Rotate'))\n"
        "print(voice.drain(10), [entry.what for entry in voice.take_log()]); voice.close()\n"
    )
    command, env = [sys.executable, "-c", code], {**os.environ, "PYTHONPATH": str(tmp_path)}
    done = subprocess.run(command, timeout=DEADLINE_S, check=False, capture_output=True, text=True, env=env)
    assert done.stderr == ""
    first, second = done.stdout.splitlines()
    assert first.startswith(
        "voice: off, calls are shown as text: no speech engine (the package pyttsx3 is not installed)"
    )
    assert "the package miniaudio is not installed" in first
    assert second == "True ['queued', 'started', 'finished']"


def test_settings_come_from_the_line_the_environment_and_the_config() -> None:
    """Option, then environment, then the user's config; all faults at once, each with its place."""
    parser = argparse.ArgumentParser()
    add_voice_options(parser)
    args = parser.parse_args(["--voice", "gmw/en"])
    env = {"CLIMBOUT_VOICE": "other", "CLIMBOUT_VOICE_RATE": "170"}
    found = voice_settings(args, {"voice_rate": 200, "voice_volume": 0.5, "voice_device": "usb"}, env)
    assert found == VoiceSettings(voice="gmw/en", rate=170, volume=0.5, device="usb")
    with pytest.raises(Faults) as caught:
        voice_settings(parser.parse_args(["--voice-rate", "fast"]), {"voice_volume": 7}, {})
    assert caught.value.faults == (
        '--voice-rate: got "fast", wanted a number from 80 to 400',
        "config.toml, voice_volume: got 7, wanted a number from 0 to 1",
    )


def test_the_command_lists_what_the_machine_has(capsys: pytest.CaptureFixture[str]) -> None:
    """`climbout voice list --json` names the engine and its voices, the one in use among them."""
    assert cli.main(["voice", "list", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["voice"] in [voice["id"] for voice in found["voices"]]
    assert cli.main(["voice", "list"]) == 0
    assert f"* {found['voice']}" in capsys.readouterr().out


def test_the_command_speaks(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """`climbout voice test` says words and tells the latency; without sound it says why and ends with 1."""
    pytest.importorskip("miniaudio")
    options = ["voice", "test", "--text", "Rotate", "--json", "--voice-device"]
    assert cli.main([*options, NULL]) == 0
    found = json.loads(capsys.readouterr().out)
    assert [entry["what"] for entry in found["log"]] == ["queued", "started", "finished"]
    assert found["latency_s"] >= 0.0  # in whole milliseconds
    assert cli.main([*options, "none"]) == 1
    assert "sound is switched off" in capsys.readouterr().err


def test_a_voice_is_made_without_touching_the_machine(tmp_path: Path) -> None:
    """Before `start` nothing is rendered, opened or written, and `close` is fine without it."""
    voice = make_voice(["Rotate"], VoiceSettings(cache_dir=tmp_path / "cache"))
    assert voice.latency_s() is None
    voice.close()
    assert not (tmp_path / "cache").exists()
