"""The one open sound device: clips from memory into its callback, faded cuts, and a watch over whether it still asks.

The device asks for a buffer every 10 ms for as long as it is open. A new clip or a cut takes effect in the next one.
"""

from __future__ import annotations

import atexit
import ctypes
import sys
import time
from collections.abc import Callable, Generator
from typing import Any, Protocol

from adapters.speech.clip import RATE_HZ, Clip, fade_out, mix
from adapters.speech.players import IDLE, LOST, PLAYING

BUFFER_MS = 10
_DEPTH_S = (
    2 * BUFFER_MS / 1000
)  # two more buffers queued ahead: miniaudio's usual three; it does not tell the real figure
SILENT_MAX_S = 0.5  # a device that has not asked for so long is lost (common practice, no source)


class Output(Protocol):
    """What asks for sound: miniaudio's device, or a test's."""

    def start(self, callback_generator: Any) -> None:
        """Begin asking."""
        ...

    def close(self) -> None:
        """Ask no more."""
        ...


class _Sound:
    """One clip on its way out. The speaker makes it, the device's thread moves it on."""

    def __init__(self, pcm: bytes, serial: int) -> None:
        self.pcm = pcm
        self.serial = serial
        self.at = 0


_NOTHING = _Sound(b"", -1)


class Mixer:
    """The device's side: what each buffer holds. No locks: the speaker only ever replaces `next`, one assignment."""

    def __init__(self, tell: Callable[[str, int, int], None], clock_ns: Callable[[], int] = time.monotonic_ns) -> None:
        """Start in silence; `tell` is called from the device's thread and must return at once."""
        self.next: _Sound = _NOTHING
        self._now: _Sound = _NOTHING
        self._tell, self._clock_ns = tell, clock_ns
        self.asked_ns: int = clock_ns()
        self.tap: Callable[[bytes], None] | None = None

    def fill(self, frames: int) -> bytes:
        """The next `frames` samples. Tells ("first" or "end", serial, time) as they happen."""
        self.asked_ns = self._clock_ns()
        tail = b""
        wanted = self.next
        if wanted is not self._now:
            tail = fade_out(self._now.pcm[self._now.at :])[: 2 * frames]
            self._now = wanted
        out = mix(tail, self._take(self._now, frames))
        out += bytes(2 * frames - len(out))
        if self.tap:
            self.tap(out)
        return out

    def _take(self, sound: _Sound, frames: int) -> bytes:
        if sound.at >= len(sound.pcm):
            return b""
        if sound.at == 0:
            self._tell("first", sound.serial, self.asked_ns)
        out = sound.pcm[sound.at : sound.at + 2 * frames]
        sound.at += len(out)
        if sound.at >= len(sound.pcm):
            self._tell("end", sound.serial, self.asked_ns)
        return out

    def busy(self) -> bool:
        """Something is sounding or about to."""
        return self.next.at < len(self.next.pcm)

    def unasked_s(self) -> float:
        """Seconds since the device last asked."""
        return (self._clock_ns() - self.asked_ns) / 1e9

    def stream(self) -> Generator[bytes, int, None]:
        """`fill` as the generator that the device wants."""
        frames = yield b""
        while True:
            frames = yield self.fill(frames)


class DevicePlayer:
    """The open device. Made by `open_device`; see `adapters.speech.players.Player`."""

    audible = True

    def __init__(self, name: str, device: Output, mixer: Mixer, depth_s: float = 0.0) -> None:
        """Start the device, which asks `mixer` from now on."""
        self.name, self.depth_s = name, depth_s
        self._device, self.mixer = device, mixer
        self._stopped = False
        stream = mixer.stream()
        next(stream)
        device.start(stream)

    def play(self, clip: Clip, serial: int) -> int | None:
        """Put `clip` into the next buffer, over the fading end of what sounds now."""
        self.mixer.next = _Sound(clip.pcm, serial)
        return None

    def stop(self) -> None:
        """Fade out in the next buffer."""
        self.mixer.next = _NOTHING

    def mark_stopped(self) -> None:
        """The device says that it has stopped (unplugged, or taken away)."""
        self._stopped = True

    def state(self) -> str:
        """`LOST` when the device has stopped asking."""
        if self._stopped or self.mixer.unasked_s() > SILENT_MAX_S:
            return LOST
        return PLAYING if self.mixer.busy() else IDLE

    def close(self) -> None:
        """Close the device. Safe to call twice."""
        atexit.unregister(self.close)
        self._device.close()


def _backends(null: bool) -> list[Any]:
    """The real ones of this system, never the silent one that the library falls back on without a word."""
    from miniaudio import Backend

    if null:
        return [Backend.NULL]
    if sys.platform == "win32":
        return [Backend.WASAPI, Backend.DSOUND, Backend.WINMM]
    if sys.platform == "darwin":
        return [Backend.COREAUDIO]
    return [Backend.PULSEAUDIO, Backend.ALSA, Backend.OSS]


def _words(error: Exception) -> str:
    return ", code ".join(str(item) for item in error.args)


def _library() -> Any:
    try:
        import miniaudio
    except (ImportError, OSError):
        raise OSError("the package miniaudio is not installed") from None
    _quieten_alsa()
    return miniaudio


def list_devices() -> list[str]:
    """The names of the sound devices. Raises OSError when there is none or no library to ask."""
    miniaudio = _library()
    try:
        return [str(item["name"]) for item in miniaudio.Devices(_backends(False)).get_playbacks()]
    except miniaudio.MiniaudioError as error:
        raise OSError(f"no sound device ({_words(error)})") from None


def _find(wanted: str) -> tuple[Any, str]:
    devices = _library().Devices(_backends(False)).get_playbacks()
    for item in devices:
        if wanted.lower() in str(item["name"]).lower():
            return item["id"], str(item["name"])
    raise OSError(f'no sound device is named "{wanted}" (climbout voice list shows them)')


def _quieten_alsa() -> None:
    """Keep ALSA's complaints off standard error, where they would run over the screen: we get its errors as codes.

    The handler given is a C function that takes no notice of its arguments, so that no Python runs on ALSA's threads.
    """
    if not sys.platform.startswith("linux"):
        return
    try:
        handler = ctypes.cast(ctypes.CDLL(None).getpid, ctypes.c_void_p)
        ctypes.CDLL("libasound.so.2").snd_lib_error_set_handler(handler)
    except (OSError, AttributeError):
        return  # no ALSA here: nothing to quieten


def open_device(tell: Callable[[str, int, int], None], wanted: str = "", null: bool = False) -> DevicePlayer:
    """Open the sound device whose name holds `wanted` (empty: the system's own choice); it may block.

    null: a device nobody hears, paced in real time, for measuring. Raises OSError saying why there is none.
    """
    miniaudio = _library()
    try:
        identity, name = _find(wanted) if wanted and not null else (None, "default device")
        device = miniaudio.PlaybackDevice(
            miniaudio.SampleFormat.SIGNED16,
            1,
            RATE_HZ,
            BUFFER_MS,
            identity,
            backends=_backends(null),
            app_name="climbout",
        )
        depth_s = 0.0 if null else _DEPTH_S
        player = DevicePlayer(f"{device.backend}, {name}", device, Mixer(tell), depth_s)
    except miniaudio.MiniaudioError as error:
        raise OSError(f"no sound device ({_words(error)})") from None
    device.stop_callback = player.mark_stopped
    atexit.register(player.close)  # left open, its thread would wait for an interpreter that waits for it
    return player
