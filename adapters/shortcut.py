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

from adapters.description import DecodeSettings
from adapters.plan import TURNS, WIDE, Reading
from adapters.tally import Tally
from monitor.sample import CHANNELS, Sample

SampleOf = Callable[[Any], Sample]
Short = Callable[[bytes], Sample | None]
"""The one sample in a packet, or None: "look more closely"."""
Samples = Callable[[bytes, int | None], list[Sample]]
"""The samples in a packet that arrived then."""
_LEAVE = "return careful(payload, arrival_ns)"
_INNER_RETURN = " or (13 in line and line.find(13) != len(line) - 1)"


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


class Ways(msgspec.Struct, frozen=True):
    """What a short way turns to: the careful way for what it leaves, the tally for the packets it takes."""

    careful: Samples
    tally: Tally


def line_maker(
    ways: Ways,
    columns: tuple[Sequence[Reading], Sequence[int], int],
    settings: DecodeSettings,
    ended: bool,
    other: Short,
) -> Samples:
    """A function from a packet of one line to its samples: its cells, all JSON numbers, are read as a JSON array.

    columns: the readings, their places, and the number of columns. What is no JSON array of the right numbers goes to
    `other`; a line end within the line is left to the careful way.
    """
    plan, places, width = columns
    types: list[Any] = [float] * width
    for reading, place in zip(plan, places, strict=True):
        types[place] = raw_type(reading)
    text, plain = _as_array(settings)
    # 10 and 13 are line feed and carriage return: as numbers they are found several times faster than as bytes.
    begin = ["line = payload[:-1]", f"if payload[-1:] != b'\\n' or 10 in line{_INNER_RETURN}:"]
    begin = begin if ended else ["line = payload", "if 10 in line or 13 in line:"]
    lines = [*begin, f"    {_LEAVE}", "try:"]
    lines += [] if plain else ["    if 44 in line:", "        raise DecodeError"]
    lines += [f"    {_targets(places, width)} = decode(b'[' + {text} + b']')", "except DecodeError:"]
    lines += ["    sample = other(payload)", "    if sample is None:", f"        {_LEAVE}"]
    lines += ["    tally.packets += 1", "    return [sample]", *_done(_sample(plan, places))]
    made: Samples = _compiled(lines, ways, decode=msgspec.json.Decoder(tuple_type(types)).decode, other=other)
    return made


def _done(sample: str) -> list[str]:
    return ["tally.packets += 1", f"return [{sample}]"]


def _as_array(settings: DecodeSettings) -> tuple[str, bool]:
    """The expression that makes a line's cells comma-separated, and whether commas may be in it."""
    comma = settings.decimal == ","
    text = "line.replace(b',', b'.')" if comma else "line"
    if settings.delimiter == "whitespace":
        return f"b','.join({text}.split())", comma
    if settings.delimiter == ",":
        return text, True
    return f"{text}.replace({settings.delimiter.encode()!r}, b',')", comma


def object_maker(ways: Ways, plan: Sequence[Reading], is_json: bool) -> Samples:
    """A function from a packet of one flat object to its samples.

    Of JSON only the mapped keys are read; MessagePack is read whole, since its texts are checked only so.
    """
    names = [f"v{number}" for number in range(len(plan))]
    record = msgspec.defstruct(
        "Record",
        [(name, raw_type(reading, booleans=True)) for name, reading in zip(names, plan, strict=True)],
        rename={name: str(reading.key) for name, reading in zip(names, plan, strict=True)},
        gc=False,
    )
    decode = msgspec.json.Decoder(record).decode if is_json else _unpacker(record)
    places = range(len(plan))
    lines = ["if not payload.isascii():", f"    {_LEAVE}"] if is_json else []
    lines += ["try:", f"    {_targets(places, len(plan))} = values(decode(payload))"]
    lines += ["except (DecodeError, ValueError, TypeError, RecursionError, OverflowError):", f"    {_LEAVE}"]
    lines += _done(_sample(plan, places, booleans=True))
    made: Samples = _compiled(lines, ways, decode=decode, values=msgspec.structs.astuple)
    return made


def _unpacker(record: type[msgspec.Struct]) -> Callable[[bytes], Any]:
    read, convert = msgspec.msgpack.decode, msgspec.convert
    return lambda payload: convert(read(payload), record)


def sample_maker(plan: Sequence[Reading]) -> SampleOf:
    """A function from the raw values, in the plan's order, to the sample."""
    places = range(len(plan))
    lines = [f"{_targets(places, len(plan))} = payload", f"return {_sample(plan, places)}"]
    made: SampleOf = _compiled(lines)
    return made


def _compiled(lines: Sequence[str], ways: Ways | None = None, **names: Any) -> Any:
    """A function of `payload` (and `arrival_ns`) made of text, as `dataclasses` does it.

    Nothing of a feed's file is in the text but numbers and the delimiter, both as Python's own `repr` of them.
    """
    text = "def made(payload, arrival_ns=None):\n" + "".join(f"    {line}\n" for line in lines)
    namespace: dict[str, Any] = {"Sample": Sample, "DecodeError": msgspec.DecodeError, **names}
    if ways is not None:
        namespace |= {"careful": ways.careful, "tally": ways.tally}
    exec(compile(text, "<short way>", "exec"), namespace)
    return namespace["made"]


def _targets(places: Sequence[int], width: int) -> str:
    """The names that a tuple of raw values is unpacked into: `v3` for place 3, `_` where nothing is wanted."""
    return ", ".join(f"v{place}" if place in places else "_" for place in range(width)) + ","


def _sample(plan: Sequence[Reading], places: Sequence[int], booleans: bool = False) -> str:
    """The expression that makes the sample. booleans: `true` and `false` may be among the values."""
    terms = {
        reading.channel: _term(reading, f"v{place}", booleans) for reading, place in zip(plan, places, strict=True)
    }
    last = max((place for place, channel in enumerate(CHANNELS) if channel in terms), default=-1)
    return f"Sample({', '.join(terms.get(channel, 'None') for channel in list(CHANNELS)[: last + 1])})"


def _term(reading: Reading, name: str, booleans: bool) -> str:
    """The channel's value as an expression of the raw one; a float's `repr` is that very float again."""
    value = name if reading.factor == 1.0 else f"{name} * {reading.factor!r}"
    if reading.offset != 0.0 or (booleans and value == name and CHANNELS[reading.channel].high == 1.0):
        value += f" + {reading.offset!r}"  # which also makes a float of true and false
    if reading.above is not None:
        return f"1.0 if {value} > {reading.above!r} else 0.0"
    return f"({value}) % 360.0" if reading.wrap == 360.0 else value
