"""The voice's own options, for every command that speaks: --voice, --voice-rate, --voice-volume, --voice-device.

Precedence as for all options: command line, environment (CLIMBOUT_VOICE and so on), the user's config.toml (keys
`voice_name`, `voice_rate`, `voice_volume`, `voice_device`), default.
"""

from __future__ import annotations

import argparse
import os
from collections.abc import Callable, Mapping
from pathlib import Path

from adapters.voice import VoiceSettings
from monitor.toml_check import Faults, plain, shown

_TEXTS = {
    "voice_name": ("--voice", "CLIMBOUT_VOICE", "ID", "voice to speak with; `climbout voice list` shows them"),
    "voice_device": ("--voice-device", "CLIMBOUT_VOICE_DEVICE", "NAME", 'sound device (part of its name), or "none"'),
}
_NUMBERS = {
    "voice_rate": ("--voice-rate", "CLIMBOUT_VOICE_RATE", "WPM", "words a minute, 80 to 400 (default 190)", 80, 400),
    "voice_volume": ("--voice-volume", "CLIMBOUT_VOICE_VOLUME", "X", "loudness, 0 to 1 (default 1)", 0, 1),
}
CONFIG_TEXT_KEYS = tuple(_TEXTS)
CONFIG_NUMBER_KEYS = tuple(_NUMBERS)


def add_voice_options(parser: argparse.ArgumentParser) -> None:
    """Add the options; `voice_settings` reads them."""
    group = parser.add_argument_group("voice options")
    for key, (flag, _, metavar, meaning, *_) in (_TEXTS | _NUMBERS).items():
        group.add_argument(flag, dest=key, metavar=metavar, help=meaning)


Asked = Callable[[str, str, str], tuple[object, str]]


def _asked(args: argparse.Namespace, env: Mapping[str, str], user: Mapping[str, object]) -> Asked:
    """A function that gives the value of a key and where it came from, the first place that has one winning."""

    def ask(key: str, flag: str, env_key: str) -> tuple[object, str]:
        places = ((getattr(args, key, None), flag), (env.get(env_key), env_key), (user.get(key), f"config.toml, {key}"))
        return next(((value, place) for value, place in places if value not in (None, "")), (None, ""))

    return ask


def _number(value: object, place: str, low: float, high: float, faults: list[str]) -> float | None:
    try:
        number = float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError):
        number = float("nan")
    if not low <= number <= high:
        faults.append(f"{place}: got {shown(value)}, wanted a number from {plain(low)} to {plain(high)}")
        return None
    return number


def voice_settings(
    args: argparse.Namespace,
    user: Mapping[str, object] | None = None,
    env: Mapping[str, str] = os.environ,
    language: str = "en",
    cache_dir: Path | None = None,
) -> VoiceSettings:
    """The settings asked for. Raises `Faults` with everything that is wrong."""
    faults: list[str] = []
    ask = _asked(args, env, user or {})
    texts = {key: str(ask(key, flag, env_key)[0] or "") for key, (flag, env_key, _, _) in _TEXTS.items()}
    numbers: dict[str, float] = {}
    for key, (flag, env_key, _, _, low, high) in _NUMBERS.items():
        value, place = ask(key, flag, env_key)
        number = None if value is None else _number(value, place, low, high, faults)
        if number is not None:
            numbers[key] = number
    if faults:
        raise Faults(faults)
    return VoiceSettings(
        voice=texts["voice_name"],
        device=texts["voice_device"],
        rate=round(numbers.get("voice_rate", 190)),
        volume=numbers.get("voice_volume", 1.0),
        language=language,
        cache_dir=cache_dir,
    )
