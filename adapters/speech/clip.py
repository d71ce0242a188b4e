"""A spoken phrase as sound: one channel, 16 bits, `RATE_HZ`; reading, trimming, joining. Nothing here plays.

Every clip has the one rate, so that one open device plays them all and a cut is a swap of buffers.
"""

from __future__ import annotations

import sys
import wave
from array import array
from collections.abc import Sequence
from pathlib import Path

import msgspec

RATE_HZ = 22050  # what espeak-ng renders, and a common rate of the native engines
QUIET = 100  # of 32,767: below it nothing is heard; espeak-ng's pauses are pure zeros (measured)
_LEAD_S, _TAIL_S, _FADE_S = 0.004, 0.030, 0.005  # kept before and after the voiced part; the fade against clicks


class Clip(msgspec.Struct, frozen=True):
    """Sound of one phrase: `pcm` holds signed 16-bit samples in the machine's byte order, one channel, `RATE_HZ`."""

    pcm: bytes

    @property
    def frames(self) -> int:
        """How many samples it has."""
        return len(self.pcm) // 2

    @property
    def duration_s(self) -> float:
        """How long it sounds, in seconds."""
        return self.frames / RATE_HZ


def silence(duration_s: float) -> Clip:
    """A clip of nothing, `duration_s` long."""
    return Clip(bytes(2 * int(duration_s * RATE_HZ)))


def estimated(text: str, words_per_minute: int) -> Clip:
    """A silent clip about as long as the words would take to say, for keeping the time when there is no sound."""
    return silence(max(0.4, len(text.split()) * 60.0 / max(words_per_minute, 1)))


def _samples(data: bytes, width: int, channels: int, big_endian: bool) -> array[int]:
    if width != 2:
        raise ValueError(f"got {8 * width}-bit sound, wanted 16-bit")
    samples = array("h", data[: len(data) // (2 * channels) * 2 * channels])
    if big_endian != (sys.byteorder == "big"):
        samples.byteswap()
    return samples[::channels] if channels > 1 else samples


def _read_wav(path: Path) -> tuple[array[int], int]:
    with wave.open(str(path), "rb") as sound:
        data = sound.readframes(sound.getnframes())
        return _samples(data, sound.getsampwidth(), sound.getnchannels(), False), sound.getframerate()


def _extended(ten: bytes) -> float:
    """An 80-bit IEEE 754 extended number, as AIFF writes its rate (Apple, Audio Interchange File Format, 1989)."""
    exponent = int.from_bytes(ten[:2], "big") & 0x7FFF
    return float(int.from_bytes(ten[2:], "big") * 2.0 ** (exponent - 16383 - 63))


def _read_aiff(path: Path) -> tuple[array[int], int]:
    """AIFF and uncompressed AIFC: what the macOS engine writes, whatever the file's name says."""
    data = path.read_bytes()
    chunks: dict[bytes, bytes] = {}
    at = 12
    while at + 8 <= len(data):
        size = int.from_bytes(data[at + 4 : at + 8], "big")
        chunks.setdefault(data[at : at + 4], data[at + 8 : at + 8 + size])
        at += 8 + size + size % 2
    common, sound = chunks.get(b"COMM", b""), chunks.get(b"SSND", b"")
    if len(common) < 18 or len(sound) < 8:
        raise ValueError("got an AIFF file without COMM and SSND chunks")
    kind = common[18:22] if data[8:12] == b"AIFC" else b"NONE"
    if kind not in (b"NONE", b"sowt", b"twos"):
        raise ValueError(f"got AIFC compression {kind!r}, wanted none")
    skip = 8 + int.from_bytes(sound[:4], "big")
    width, channels = int.from_bytes(common[6:8], "big") // 8, int.from_bytes(common[:2], "big")
    return _samples(sound[skip:], width, max(channels, 1), kind != b"sowt"), round(_extended(common[8:18]))


def _resample(samples: array[int], rate_hz: int) -> array[int]:
    """To `RATE_HZ` by linear interpolation, averaging first when the rate is several times higher."""
    if rate_hz == RATE_HZ or not samples:
        return samples
    group = max(1, rate_hz // RATE_HZ)
    if group > 1:  # a mean over the group keeps most of what would fold back out of the voice
        samples = array("h", (sum(samples[i : i + group]) // group for i in range(0, len(samples) - group + 1, group)))
    step = rate_hz / group / RATE_HZ
    out = array("h", bytes(2 * int((len(samples) - 1) / step)))
    for i in range(len(out)):
        at = i * step
        low = int(at)
        out[i] = int(samples[low] + (samples[low + 1] - samples[low]) * (at - low))
    return out


def _trim(samples: array[int]) -> array[int]:
    """Without the engine's silence before and after: with espeak-ng 50 ms and 0.2 to 0.3 s (measured)."""
    first = next((i for i, x in enumerate(samples) if abs(x) > QUIET), None)
    if first is None:
        return array("h")
    last = next(i for i in range(len(samples) - 1, -1, -1) if abs(samples[i]) > QUIET)
    return samples[max(0, first - int(_LEAD_S * RATE_HZ)) : last + int(_TAIL_S * RATE_HZ)]


def load(path: Path) -> Clip:
    """The engine's file (WAV, AIFF or AIFC, 16-bit, any rate) as a trimmed clip.

    Raises ValueError when it is neither, or when nothing in it can be heard; OSError when it cannot be read.
    """
    with path.open("rb") as start:
        magic = start.read(4)
    try:
        samples, rate_hz = _read_aiff(path) if magic == b"FORM" else _read_wav(path)
    except (wave.Error, EOFError) as error:
        raise ValueError(f"got a sound file that cannot be read ({error})") from None
    trimmed = _trim(_resample(samples, rate_hz))
    if not trimmed:
        raise ValueError("got a sound file with nothing to hear in it")
    return Clip(trimmed.tobytes())


def join(clips: Sequence[Clip], gap_s: float) -> Clip:
    """The clips one after the other with `gap_s` of silence between: a phrase made of its pieces."""
    return Clip(silence(gap_s).pcm.join(clip.pcm for clip in clips))


def fade_out(pcm: bytes) -> bytes:
    """The first 5 ms of `pcm` falling to nothing: the end of a phrase that is cut, without a click."""
    samples = array("h", pcm[: 2 * int(_FADE_S * RATE_HZ)])
    count = len(samples)
    for i in range(count):
        samples[i] = samples[i] * (count - i) // (count + 1)
    return samples.tobytes()


def mix(under: bytes, over: bytes) -> bytes:
    """`over` with the samples of `under` added from its start, held within 16 bits; as long as the longer of both."""
    if not under:
        return over
    if len(under) > len(over):
        under, over = over, under
    low, high = array("h", under), array("h", over)
    for i, value in enumerate(low):
        high[i] = max(-32768, min(32767, high[i] + value))
    return high.tobytes()
