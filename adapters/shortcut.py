"""The short way from raw numbers to a sample: range checks in msgspec's own loops, and one compiled expression.

It takes only what is plainly right; everything else is left to the careful way (`adapters.mapping`), which gives the
same samples. Checks are on the raw value: `raw * factor + offset` never falls as raw rises (nor rises, for a negative
factor), rounding included, so bounds that hold at the ends hold between them.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Annotated, Any

import msgspec

from adapters.plan import TURNS, WIDE, Reading
from monitor.sample import CHANNELS, Sample

SampleOf = Callable[[Any], Sample]


def raw_type(reading: Reading, booleans: bool = False) -> Any:
    """The type of a reading's raw value, with the bounds between which the short way may be taken.

    booleans: `true` and `false` count as 1 and 0 for a channel of 0 to 1.
    """
    low, high = _bounds(reading)
    first, last = (low, high) if reading.factor > 0 else (high, low)
    least = _inward(first, reading, low, high, math.inf)
    most = _inward(last, reading, low, high, -math.inf)
    number = Annotated[float, msgspec.Meta(ge=least, le=most)]
    return number | bool if booleans and CHANNELS[reading.channel].high == 1.0 else number


def tuple_type(types: Sequence[Any]) -> Any:
    """The type of a tuple of just these types, made at run time."""
    return tuple.__class_getitem__(tuple(types))


def _bounds(reading: Reading) -> tuple[float, float]:
    if reading.above is not None:
        return -WIDE, WIDE
    return (-TURNS, TURNS) if reading.wrap == 360.0 else (reading.low, reading.high)


def _inward(end: float, reading: Reading, low: float, high: float, towards: float) -> float:
    """The raw value that gives the end of the range, moved in by roundings until what it gives is inside."""
    raw = (end - reading.offset) / reading.factor
    while not low <= raw * reading.factor + reading.offset <= high:
        raw = math.nextafter(raw, towards)
    return raw


def sample_maker(plan: Sequence[Reading], places: Sequence[int], width: int) -> SampleOf:
    """A function from a tuple of `width` raw values to the sample; the plan's readings are at `places` in it.

    Compiled from text like `dataclasses` does it: names and numbers of our own only, nothing from the feed's file.
    """
    names = ["_"] * width
    values: dict[str, Any] = {}
    terms: dict[str, str] = {}
    for number, (reading, place) in enumerate(zip(plan, places, strict=True)):
        if names[place] == "_":  # two channels may come from one field
            names[place] = f"v{number}"
        values |= {f"f{number}": reading.factor, f"o{number}": reading.offset, f"a{number}": reading.above}
        terms[reading.channel] = _term(reading, names[place], number)
    arguments = ", ".join(terms.get(channel, "None") for channel in CHANNELS)
    text = f"def make(raw):\n    {', '.join(names)}, = raw\n    return Sample({arguments})\n"
    namespace: dict[str, Any] = {"Sample": Sample, **values}
    exec(compile(text, "<sample maker>", "exec"), namespace)
    made: SampleOf = namespace["make"]
    return made


def _term(reading: Reading, name: str, number: int) -> str:
    plain = reading.factor == 1.0 and reading.offset == 0.0 and CHANNELS[reading.channel].high != 1.0
    value = name if plain else f"{name} * f{number} + o{number}"
    if reading.above is not None:
        return f"1.0 if {value} > a{number} else 0.0"
    return f"({value}) % 360.0" if reading.wrap == 360.0 else value
