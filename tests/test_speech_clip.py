"""Clips: reading what engines write, trimming, joining, cutting without a click."""

from __future__ import annotations

import math
import struct
import wave
from array import array
from pathlib import Path

import numpy as np
import pytest

from adapters.speech.clip import RATE_HZ, Clip, estimated, fade_out, join, load, mix, silence
from tests.fake_speech import tone


def _wav(path: Path, samples: array[int], rate_hz: int = RATE_HZ, channels: int = 1) -> Path:
    with wave.open(str(path), "wb") as sound:
        sound.setnchannels(channels)
        sound.setsampwidth(2)
        sound.setframerate(rate_hz)
        sound.writeframes(samples.tobytes())
    return path


def _aiff(path: Path, samples: array[int], kind: bytes = b"AIFF") -> Path:
    """A file to Apple's "Audio Interchange File Format" (1989): its example writes 44,100 Hz as 400E AC44 0000 ..."""
    half = bytes.fromhex("400DAC44000000000000")  # 22,050 Hz: the same mantissa, the exponent one less
    big = array("h", samples)
    big.byteswap()
    common = struct.pack(">hIh", 1, len(samples), 16) + half
    if kind == b"AIFC":
        common += b"sowt" + b"\x00\x00"
        big.byteswap()
    sound = struct.pack(">II", 0, 0) + big.tobytes()
    chunks = b"".join(
        name + struct.pack(">I", len(body)) + body + b"\x00" * (len(body) % 2)
        for name, body in ((b"COMM", common), (b"ANNO", b"odd"), (b"SSND", sound))
    )
    path.write_bytes(b"FORM" + struct.pack(">I", 4 + len(chunks)) + kind + chunks)
    return path


def _voiced(silence_s: float = 0.1, voiced_s: float = 0.3) -> array[int]:
    quiet = array("h", bytes(2 * int(silence_s * RATE_HZ)))
    return quiet + array("h", tone(voiced_s).pcm) + quiet


def test_silence_before_and_after_a_phrase_is_trimmed(tmp_path: Path) -> None:
    """A phrase starts within 5 ms of its first sound and ends within 40 ms of its last, so that calls are prompt."""
    clip = load(_wav(tmp_path / "a.wav", _voiced()))
    assert 0.3 < clip.duration_s < 0.34
    samples = array("h", clip.pcm)
    assert next(i for i, x in enumerate(samples) if abs(x) > 300) < 0.005 * RATE_HZ


@pytest.mark.parametrize("kind", [b"AIFF", b"AIFC"])
def test_aiff_gives_the_same_clip_as_wav(tmp_path: Path, kind: bytes) -> None:
    """The macOS engine writes AIFF whatever the file's name: both kinds give the very samples of the WAV."""
    samples = _voiced()
    assert load(_aiff(tmp_path / "a.wav", samples, kind)) == load(_wav(tmp_path / "b.wav", samples))


@pytest.mark.parametrize("rate_hz", [8000, 16000, 44100, 48000])
def test_other_rates_keep_their_pitch(tmp_path: Path, rate_hz: int) -> None:
    """A 500 Hz tone at any engine's rate is a 500 Hz tone of the same length in the clip."""
    samples = array("h", (round(9000 * math.sin(2 * math.pi * 500 * i / rate_hz)) for i in range(rate_hz // 2)))
    clip = load(_wav(tmp_path / "a.wav", samples, rate_hz))
    assert clip.duration_s == pytest.approx(0.5, abs=0.04)
    spectrum = np.abs(np.fft.rfft(np.frombuffer(clip.pcm, "<i2")))
    assert spectrum.argmax() / clip.duration_s == pytest.approx(500, abs=3)


def test_two_channels_become_one(tmp_path: Path) -> None:
    """Stereo from an engine plays at the right speed: the left channel is taken."""
    left = _voiced()
    both = array("h", [x for sample in left for x in (sample, -sample)])
    assert load(_wav(tmp_path / "a.wav", both, channels=2)) == load(_wav(tmp_path / "b.wav", left))


@pytest.mark.parametrize(
    ("data", "why"),
    [
        (b"", "cannot be read"),
        (b"RIFF\x00\x00\x00\x00WAVE", "cannot be read"),
        (b"FORM\x00\x00\x00\x04AIFF", "COMM and SSND"),
        (b"#!/bin/sh\n", "cannot be read"),
    ],
)
def test_a_file_that_is_no_sound_says_so(tmp_path: Path, data: bytes, why: str) -> None:
    """An empty, cut off or foreign file is refused in words."""
    path = tmp_path / "a.wav"
    path.write_bytes(data)
    with pytest.raises(ValueError, match=why):
        load(path)


def test_a_silent_file_is_refused(tmp_path: Path) -> None:
    """An engine that wrote only silence is found out, since nobody would hear the call."""
    with pytest.raises(ValueError, match="nothing to hear"):
        load(_wav(tmp_path / "a.wav", array("h", bytes(8000))))


def test_a_cut_has_no_click() -> None:
    """The end of a cut phrase falls to nothing in 5 ms, without a step greater than the sound's own."""
    clip = tone(0.1, hz=200, peak=20000)
    own = int(np.abs(np.diff(np.frombuffer(clip.pcm, "<i2").astype(int))).max())
    tail = np.frombuffer(fade_out(clip.pcm), "<i2").astype(int)
    assert len(tail) == int(0.005 * RATE_HZ)
    assert abs(tail[-1]) < 400
    assert np.abs(np.diff(tail)).max() <= own + 200
    assert fade_out(b"") == b""


def test_mixing_stays_within_16_bits() -> None:
    """Loud over loud is held at the limit instead of turning over."""
    loud = array("h", [30000, -30000, 5]).tobytes()
    assert array("h", mix(loud, loud)).tolist() == [32767, -32768, 10]
    assert array("h", mix(loud[:2], loud)).tolist() == [32767, -30000, 5]
    assert mix(b"", loud) == loud == mix(loud, b"")


def test_pieces_are_joined_with_a_gap() -> None:
    """Two pieces sound one after the other with the gap between them."""
    joined = join([tone(0.2), tone(0.3)], 0.1)
    assert joined.duration_s == pytest.approx(0.6, abs=0.001)
    assert set(joined.pcm[2 * int(0.2 * RATE_HZ) : 2 * int(0.299 * RATE_HZ)]) == {0}


def test_words_without_sound_still_take_their_time() -> None:
    """Four words at 190 words a minute keep about 1.3 s, the same as an engine's, so captions stay readable."""
    assert estimated("abort abort oil pressure", 190).duration_s == pytest.approx(1.26, abs=0.01)
    assert silence(0.5).duration_s == pytest.approx(0.5, abs=0.001)
    assert Clip(b"").duration_s == 0.0
