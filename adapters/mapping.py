"""Records to samples: named values to channels in the coach's units, and nothing wild among them.

One bad value loses that value only (None, "not supplied"), counted and told; a bad time loses the whole record, since
nothing in it can be placed. An empty value is "not supplied" and no fault.
"""

from __future__ import annotations

from adapters.description import FeedDescription
from adapters.merging import Merger
from adapters.plan import Reading, make_plan, missing_text
from adapters.ports import Fields
from adapters.tally import Tally, shown
from monitor.sample import CHANNELS, Sample

_SHAPES_KEPT = 64
_YES, _NO = frozenset({"true", "on", "yes"}), frozenset({"false", "off", "no"})


def to_number(raw: object, decimal: str = ".") -> float | None:
    """A raw value as a number; None for "not supplied". Raises ValueError for what is no number (NaN is one)."""
    if type(raw) is float:
        return raw
    if raw is None:
        return None
    if isinstance(raw, str):
        return _from_text(raw, decimal)
    if isinstance(raw, int | float):
        try:
            return float(raw)
        except OverflowError:
            raise ValueError("too large a number") from None
    raise ValueError("not a number")


def _from_text(raw: str, decimal: str) -> float | None:
    text = raw.strip()
    if not text:
        return None
    if decimal != ".":
        text = text.replace(decimal, ".")
    if "_" in text:  # Python's own digit grouping, no sender's
        raise ValueError("not a number")
    return float(text)


class Mapper:
    """Maps the records of one sender. `sample` gives None when nothing in the record can be used."""

    def __init__(self, feed: FeedDescription, tally: Tally | None = None) -> None:
        """Map by the feed's channels; `tally` is shared with a decoder, so that notices name the packet."""
        self._tally = tally or Tally(feed.where)
        self._counting = tally is None
        self._channels = feed.channels
        self._decimal = feed.decode.decimal
        self.timed = any(channel.channel == "time_s" for channel in feed.channels)
        self._plans: dict[tuple[str | int, ...], list[Reading]] = {}
        self._told: set[str] = set()
        self._found: set[str] = set()
        self._merger = Merger(feed) if feed.decode.merge else None

    def sample(self, record: Fields, arrival_ns: int | None = None) -> Sample | None:
        """The sample, or None. arrival_ns: of the packet, for the age of values carried on between records."""
        if self._counting:
            self._tally.packets += 1
        values = self.values(record)
        if values is None:
            return None
        if self._merger is not None:
            return self._merger.sample(values, arrival_ns)
        if self.timed and values.get("time_s") is None:
            self._tally.note("no time", "time_s: got nothing, wanted a number", "record skipped")
            return None
        if not any(name != "time_s" for name in values):
            return None
        return Sample(**values)

    def values(self, record: Fields) -> dict[str, float] | None:
        """The channel values a record gives, without the bad and the missing ones; None when its time is bad."""
        values: dict[str, float] = {}
        for reading in self.plan(tuple(record)):
            value = self._value(reading, record[reading.key])
            if value is not None:
                values[reading.channel] = value
            elif reading.channel == "time_s" and record[reading.key] not in (None, ""):
                return None
        return values

    def plan(self, shape: tuple[str | int, ...]) -> list[Reading]:
        """The readings for records with these keys."""
        plan = self._plans.get(shape)
        if plan is None:
            if len(self._plans) >= _SHAPES_KEPT:
                self._plans.clear()
            plan = self._plans[shape] = make_plan(self._channels, shape, self._tally)
            if self._merger is None:
                self._tell_missing(plan, shape)
        return plan

    @property
    def absent(self) -> frozenset[str]:
        """Channels told as not supplied, whose fields no record has had."""
        return frozenset(self._told - self._found)

    def _tell_missing(self, plan: list[Reading], shape: tuple[str | int, ...]) -> None:
        found = {reading.channel for reading in plan}
        self._found |= found
        missing = [c for c in self._channels if c.channel not in found and c.channel not in self._told]
        if missing:
            self._told |= {channel.channel for channel in missing}
            self._tally.once(f"missing {missing[0].channel}", missing_text(missing, shape))

    def _value(self, reading: Reading, raw: object) -> float | None:
        try:
            number = to_number(raw, self._decimal)
        except ValueError:
            number = _word(raw) if CHANNELS[reading.channel].high == 1.0 else None
            if number is None:
                self._bad(reading, f"got {shown(raw)}, wanted {reading.wanted()}", "text")
                return None
        if number is None:
            return None
        value = reading.finish(number * reading.factor + reading.offset)
        if value is None:
            self._bad(reading, f"got {shown(raw)}, wanted {_range(reading)}", "range")
        return value

    def _bad(self, reading: Reading, text: str, kind: str) -> None:
        result = "record skipped" if reading.channel == "time_s" else "value not used"
        self._tally.note(f"{reading.channel} {kind}", f"{reading.label()}: {text}", result)

    def ages_s(self, arrival_ns: int) -> dict[str, float]:
        """How old the latest value of each channel is, in seconds; empty unless records are merged."""
        return self._merger.ages_s(arrival_ns) if self._merger is not None else {}

    def take_notices(self) -> list[str]:
        """What was wrong since the last call, one line each."""
        return self._tally.take()


def _word(raw: object) -> float | None:
    """1 or 0 for the usual words; None for any other text."""
    word = raw.strip().lower() if isinstance(raw, str) else ""
    return 1.0 if word in _YES else 0.0 if word in _NO else None


def _range(reading: Reading) -> str:
    if reading.above is not None:
        return "a finite number"
    unit = f" {CHANNELS[reading.channel].unit}".rstrip()
    return f"{reading.low:g} to {reading.high:g}{unit}"
