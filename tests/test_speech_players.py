"""Players: the mixer of the open device, the device watched, the process player, the silent one."""

from __future__ import annotations

import itertools
import subprocess
import sys
import time
from array import array
from collections.abc import Callable
from pathlib import Path

import pytest

from adapters.speech import choose, device
from adapters.speech.clip import RATE_HZ, Clip
from adapters.speech.device import DevicePlayer, Mixer, open_device
from adapters.speech.players import IDLE, LOST, PLAYING, ProcessPlayer, SilentPlayer, find_programs, write_wav
from tests.fake_speech import FakeClock, FakeDevice, tone

DEADLINE_S = 10.0


class _Rig:
    """A device player on a fake device and clock, with what it told."""

    def __init__(self) -> None:
        self.clock, self.device, self.told = FakeClock(), FakeDevice(), []
        self.mixer = Mixer(lambda *what: self.told.append(what), self.clock)
        self.player = DevicePlayer("fake", self.device, self.mixer)

    def ask(self, times: int, frames: int = 220) -> None:
        for _ in range(times):
            self.clock.forward(frames / RATE_HZ)
            self.device.ask(frames)


def test_a_clip_comes_out_whole_in_the_next_buffer() -> None:
    """The device gets the clip's very samples, from the first of the next buffer, then silence."""
    rig, clip = _Rig(), tone(0.1)
    rig.ask(3)
    rig.player.play(clip, 5)
    assert rig.player.state() == PLAYING
    rig.ask(12)
    before = 3 * 220 * 2
    assert rig.device.heard[before : before + len(clip.pcm)] == clip.pcm
    assert set(rig.device.heard[:before]) | set(rig.device.heard[before + len(clip.pcm) :]) == {0}
    assert [what[:2] for what in rig.told] == [("first", 5), ("end", 5)]
    assert rig.told[0][2] == 987_654_321_123 + 4 * round(220 / RATE_HZ * 1e9)
    assert rig.player.state() == IDLE


@pytest.mark.parametrize("frames", [1, 7, 220, 4096])
def test_any_size_of_buffer_gives_the_same_sound(frames: int) -> None:
    """A device that asks for odd sizes gets the same samples, each buffer full."""
    rig, clip = _Rig(), tone(0.05)
    rig.player.play(clip, 1)
    while rig.player.state() == PLAYING:
        rig.ask(1, frames)
    assert rig.device.heard[: len(clip.pcm)] == clip.pcm
    assert len(rig.device.heard) % (2 * frames) == 0


def test_a_cut_is_in_the_next_buffer_and_fades() -> None:
    """The new clip begins at the next buffer's first sample, over 5 ms of the old one's end."""
    rig = _Rig()
    rig.player.play(tone(1.0, 300), 1)
    rig.ask(10)
    rig.player.play(tone(0.1, 900), 2)
    rig.ask(1)
    assert rig.told[-1][:2] == ("first", 2)
    last = array("h", rig.device.heard[-440:])
    clean = array("h", tone(0.1, 900).pcm[:440])
    fade = int(0.005 * RATE_HZ)
    assert last[fade:] == clean[fade:]
    assert any(abs(a - b) > 1000 for a, b in zip(last[:20], clean[:20], strict=True))
    assert max(abs(b - a) for a, b in itertools.pairwise(last)) < 4000


def test_stop_fades_to_silence() -> None:
    """Cut for nothing: 5 ms later there is silence."""
    rig = _Rig()
    rig.player.play(tone(1.0), 1)
    rig.ask(5)
    rig.player.stop()
    rig.ask(2)
    tail = array("h", rig.device.heard[-880:])
    assert any(tail[:110])
    assert not any(tail[111:])
    assert rig.player.state() == IDLE


def test_a_device_that_stops_asking_is_lost() -> None:
    """No buffer asked for in half a second, or the device's own word that it stopped: lost."""
    rig = _Rig()
    rig.ask(1)
    rig.clock.forward(0.4)
    assert rig.player.state() == IDLE
    rig.clock.forward(0.2)
    assert rig.player.state() == LOST
    rig.ask(1)
    assert rig.player.state() == IDLE
    rig.player.mark_stopped()
    assert rig.player.state() == LOST


def _until(true: Callable[[], bool]) -> None:
    end = time.monotonic() + DEADLINE_S
    while not true():
        assert time.monotonic() < end, "did not happen in time"
        time.sleep(0.005)


def test_the_real_device_library_takes_a_clip() -> None:
    """miniaudio's real-time null device takes every sample of a clip, in order."""
    pytest.importorskip("miniaudio")
    told: list[tuple[str, int, int]] = []
    heard = bytearray()
    player = open_device(lambda *what: told.append(what), null=True)
    try:
        player.mixer.tap = heard.extend
        player.play(tone(0.1), 1)
        _until(lambda: len(told) == 2)
    finally:
        player.close()
    assert tone(0.1).pcm in bytes(heard)


def test_a_real_device_that_is_closed_underneath_is_lost() -> None:
    """The device taken away while open is noticed within its limit."""
    pytest.importorskip("miniaudio")
    player = open_device(lambda *what: None, null=True)
    player.close()
    _until(lambda: player.state() == LOST)
    player.close()


def test_a_program_with_an_open_device_ends(tmp_path: Path) -> None:
    """Python ends although the device was left open by an error: its thread must not keep the program for ever."""
    pytest.importorskip("miniaudio")
    code = "from adapters.speech.device import open_device\np = open_device(print, null=True)\nraise SystemExit(3)"
    done = subprocess.run([sys.executable, "-P", "-c", code], timeout=DEADLINE_S, check=False, capture_output=True)
    assert (done.returncode, done.stderr) == (3, b"")


def test_no_device_says_why_and_prints_nothing_else(tmp_path: Path) -> None:
    """On a machine without sound the sound library's own complaints stay off the screen; the reason is in words."""
    pytest.importorskip("miniaudio")
    code = (
        "from adapters.speech.choose import choose_player\n"
        "player, words = choose_player(print, 'no such device 123')\n"
        "player.close(); print(words)"
    )
    done = subprocess.run([sys.executable, "-P", "-c", code], timeout=DEADLINE_S, check=False, capture_output=True)
    assert done.stderr == b""
    assert b'no sound device is named "no such device 123"' in done.stdout or b"no sound device" in done.stdout
    assert len(done.stdout.splitlines()) == 1


def _program(folder: Path, code: str) -> list[str]:
    path = folder / "play.py"
    path.write_text(code)
    return [sys.executable, str(path)]


def test_a_program_plays_from_a_file_and_is_cut(tmp_path: Path) -> None:
    """Without a device of our own a program gets a WAV file; a cut ends it, a new clip replaces it."""
    log = tmp_path / "log"
    code = (
        "import sys, time, wave\n"
        "sound = wave.open(sys.argv[1]); seconds = sound.getnframes() / sound.getframerate()\n"
        f"open({str(log)!r}, 'a').write(f'{{seconds:.2f}} ')\n"
        "time.sleep(60 if seconds > 1 else 0)"
    )
    player = ProcessPlayer(_program(tmp_path, code), check_s=DEADLINE_S)
    assert player.play(tone(2.0), 1) is not None
    _until(lambda: "2.00" in log.read_text())
    assert player.state() == PLAYING
    player.play(tone(0.5), 2)
    _until(lambda: player.state() == IDLE)
    assert log.read_text().split() == ["0.05", "2.00", "0.50"]
    player.play(tone(2.0), 3)
    player.stop()
    assert player.state() == IDLE
    player.close()


def test_a_program_that_fails_is_found_out(tmp_path: Path) -> None:
    """A program that cannot play is refused at the start; one that fails later is a lost device."""
    with pytest.raises(OSError, match="found no sound device .status 1."):
        ProcessPlayer(_program(tmp_path, "raise SystemExit(1)"), check_s=DEADLINE_S)
    with pytest.raises(OSError, match="did not end within 0.3 s"):
        ProcessPlayer(_program(tmp_path, "import time; time.sleep(60)"), check_s=0.3)
    code = "import sys, wave\nraise SystemExit(wave.open(sys.argv[1]).getnframes() > 5000)"
    player = ProcessPlayer(_program(tmp_path, code), check_s=DEADLINE_S)
    player.play(tone(0.5), 1)
    _until(lambda: player.state() == LOST)
    player.close()


def test_the_silent_player_keeps_the_time() -> None:
    """Nobody hears it, but it is busy exactly as long as the clip is."""
    clock = FakeClock()
    player = SilentPlayer(clock_ns=clock)
    assert player.play(tone(0.5), 1) == clock()
    clock.forward(0.49)
    assert player.state() == PLAYING
    clock.forward(0.02)
    assert player.state() == IDLE
    player.play(tone(0.5), 2)
    player.stop()
    assert player.state() == IDLE


def test_which_player_is_chosen(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """The device first; without one a program; without both the silent player, with both reasons in one line."""

    def no_device(*_: object, **__: object) -> DevicePlayer:
        raise OSError("no sound device (test)")

    good, bad = tmp_path / "good", tmp_path / "bad"
    for folder in (good, bad):
        folder.mkdir()
    commands = {"good": _program(good, "pass"), "bad": _program(bad, "raise SystemExit(1)")}
    monkeypatch.setattr(choose, "open_device", no_device)
    monkeypatch.setattr(choose, "find_programs", lambda: [commands["bad"], commands["good"]])
    player, words = choose.choose_player(print)
    player.close()
    assert isinstance(player, ProcessPlayer)
    assert words.startswith("no sound device (test); ") and "played by the program" in words
    monkeypatch.setattr(choose, "find_programs", list)
    player, words = choose.choose_player(print)
    assert (player.audible, words) == (False, "no sound device (test); no playing program either")
    assert choose.choose_player(print, choose.NO_SOUND)[1] == "sound is switched off"


def test_without_the_sound_library_the_reason_is_its_name(monkeypatch: pytest.MonkeyPatch) -> None:
    """No miniaudio: nothing fails at import, and the reason names the package."""
    monkeypatch.setitem(sys.modules, "miniaudio", None)
    with pytest.raises(OSError, match="package miniaudio is not installed"):
        open_device(print)
    with pytest.raises(OSError, match="package miniaudio is not installed"):
        device.list_devices()


def test_programs_are_those_of_the_system() -> None:
    """macOS has its own; an unknown system is treated like Linux; Windows plays in a process of ours."""
    assert all(command[0] in ("pw-play", "paplay", "aplay") for command in find_programs("freebsd14"))
    assert all(command[0] == "afplay" for command in find_programs("darwin"))
    assert find_programs("win32")[0][-1] == "adapters.speech.winplay"


def test_a_wav_file_holds_the_clip(tmp_path: Path) -> None:
    """What a program is given is the clip."""
    write_wav(tmp_path / "a.wav", Clip(b"\x01\x00" * 50))
    assert (tmp_path / "a.wav").read_bytes().endswith(b"\x01\x00" * 50)
