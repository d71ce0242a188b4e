"""The procedure: every number the coach judges by, with its source, and every word it says."""

from __future__ import annotations

import msgspec

from monitor.settings import Settings


class Setting(msgspec.Struct, frozen=True):
    """One number of a procedure as the file gives it: value, unit, meaning, source, and the range allowed for it."""

    value: float
    unit: str
    meaning: str
    source: str
    low: float | None = None
    high: float | None = None


class Procedure(msgspec.Struct, frozen=True):
    """One procedure, checked whole.

    settings: the numbers, ready for use. words: phrase id to the words said; "{vy}" and the like are filled in.
    language: BCP 47 tag. short_field: climb at VX to the obstacle. flaps_deg: takeoff flaps, None = the profile's.
    turn_rule: "height" or "pattern". departure: "depart" or "circuit". level: "prompt", "correct", "test" or "auto".
    levels: level of single items that differ. table: every setting with unit, meaning and source, for the docs.
    """

    name: str
    settings: Settings
    words: dict[str, str]
    language: str = "en"
    short_field: bool = False
    flaps_deg: float | None = None
    turn_rule: str = "height"
    departure: str = "depart"
    level: str = "prompt"
    levels: dict[str, str] = {}
    pilot_calls_first: bool = False
    table: dict[str, Setting] = {}
    text: str = ""
