"""The settings that all commands share: their options, environment variables and config keys, and their checks."""

from __future__ import annotations

import argparse
import math
from collections.abc import Callable, Mapping
from typing import TypeVar

import msgspec

from monitor.toml_check import Faults, plain, shown

T = TypeVar("T")
LEVELS = ("prompt", "correct", "test", "auto")


class Setting(msgspec.Struct, frozen=True):
    """One common option. key: its name in config.toml; env: its environment variable; low, high: a number's range."""

    flag: str
    key: str
    env: str
    metavar: str
    meaning: str
    low: float | None = None
    high: float | None = None
    choices: tuple[str, ...] = ()


def _setting(flag: str, key: str, metavar: str, meaning: str, *span: float, choices: tuple[str, ...] = ()) -> Setting:
    env = "CLIMBOUT_" + flag[2:].upper().replace("-", "_")
    low, high = span or (None, None)
    return Setting(flag, key, env, metavar, meaning, low, high, choices)


SETTINGS: tuple[Setting, ...] = (
    _setting("--feed", "feed", "FILE", "feed description (TOML)"),
    _setting("--aircraft", "aircraft", "FILE or NAME", "aeroplane profile: a file, or a built-in one's name"),
    _setting("--procedure", "procedure", "FILE or NAME", "procedure: a file, or a built-in one's name"),
    _setting("--field-elevation", "field_elevation_ft", "FT", "the field's elevation above sea level", -1500, 20000),
    _setting("--runway-heading", "runway_heading_deg", "DEG", "the runway's heading, as the feed's heading", 0, 360),
    _setting("--runway-length", "runway_length_ft", "FT", "takeoff run available", 200, 25000),
    _setting("--obstacle-height", "obstacle_height_ft", "FT", "obstacle beyond the runway, above the field", 0, 2000),
    _setting("--level-off", "level_off_ft", "FT", "altitude to level off at, as indicated", -1000, 40000),
    _setting("--pattern-height", "pattern_height_ft", "FT", "traffic pattern, above the field", 100, 5000),
    _setting("--abort-point", "abort_point_ft", "FT", "along the runway; not airborne there: abort", 50, 25000),
    _setting("--runway-start", "runway_start", "LAT,LON", "surveyed threshold where the roll begins, WGS 84"),
    _setting("--runway-end", "runway_end", "LAT,LON", "the other threshold, for the centreline"),
    _setting("--runway-width", "runway_width_ft", "FT", "edge to edge, for the runway's edge ahead", 20, 500),
    _setting("--headwind", "headwind_kt", "KT", "headwind on the runway; a tailwind is negative", -60, 100),
    _setting("--level", "level", "LEVEL", "how much is said: " + ", ".join(LEVELS), choices=LEVELS),
)
NUMBERS: dict[str, Setting] = {setting.key: setting for setting in SETTINGS if setting.low is not None}
PLACES = ("runway_start", "runway_end")


class Gathering:
    """The faults found so far, so that all are told at once."""

    def __init__(self) -> None:
        """Start with none."""
        self.faults: list[str] = []

    def of(self, load: Callable[[], T]) -> T | None:
        """What `load` gives, or None with its faults noted."""
        try:
            return load()
        except Faults as error:
            self.faults += error.faults
            return None

    def done(self) -> None:
        """Raise when there was any fault."""
        if self.faults:
            raise Faults(self.faults)


def chosen(
    args: argparse.Namespace, env: Mapping[str, str], user: Mapping[str, object]
) -> tuple[dict[str, object], dict[str, str]]:
    """Each setting that was given anywhere, and where: option, then environment, then the user's config."""
    values: dict[str, object] = {}
    given: dict[str, str] = {}
    for item in SETTINGS:
        places = ((getattr(args, item.key, None), item.flag), (env.get(item.env), item.env), (user.get(item.key), ""))
        for value, place in places:
            if value is not None and value != "":
                values[item.key] = value
                given[item.key] = place or f"config.toml, {item.key}"
                break
    return values, given


def make_options(values: Mapping[str, object], given: Mapping[str, str], gathering: Gathering) -> dict[str, object]:
    """The fields of `Options` among the settings, as checked numbers."""
    fields: dict[str, object] = {}
    for key, item in NUMBERS.items():
        if key in values:
            fields[key] = gathering.of(lambda item=item, key=key: _number(values[key], item, given[key]))  # type: ignore[misc]
    for key in PLACES:
        if key in values:
            fields[key] = gathering.of(lambda key=key: _place(values[key], given[key]))  # type: ignore[misc]
    if len([key for key in PLACES if key in values]) == 1:
        gathering.faults.append("--runway-start and --runway-end: got one of them, wanted both or neither")
    level = values.get("level")
    if level is not None and level not in LEVELS:
        gathering.faults.append(f"{given['level']}: got {shown(level)}, wanted one of {', '.join(LEVELS)}")
    fields["level"] = level
    if level is not None:
        fields["levels"] = {}  # of single items, as a recording holds them: they belong to the level it was flown at
    return {key: value for key, value in fields.items() if value is not None}


def _number(value: object, item: Setting, place: str) -> float:
    wanted = f"a number from {plain(item.low or 0)} to {plain(item.high or 0)} ({item.metavar.lower()})"
    try:
        number = float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError):
        raise Faults([f"{place}: got {shown(value)}, wanted {wanted}"]) from None
    if isinstance(value, bool) or not (
        item.low is not None and item.high is not None and item.low <= number <= item.high
    ):
        raise Faults([f"{place}: got {shown(value)}, wanted {wanted}"])
    return number


def _place(value: object, place: str) -> tuple[float, float]:
    """ "31.25,-48.5", or from the config a list of two numbers: latitude and longitude in degrees."""
    parts = value.split(",") if isinstance(value, str) else value
    try:
        latitude, longitude = (float(part) for part in parts)  # type: ignore[attr-defined]
    except (TypeError, ValueError):
        latitude = longitude = math.nan
    if not (-90 <= latitude <= 90 and -180 <= longitude <= 180):
        wanted = "latitude and longitude in degrees, such as 31.25,-48.5"
        raise Faults([f"{place}: got {shown(value)}, wanted {wanted}"])
    return latitude, longitude
