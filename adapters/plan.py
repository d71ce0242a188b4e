"""How the values of one shape of record become channels: worked out once for a shape, then only products and sums."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import msgspec

from adapters import units
from adapters.description import ChannelMap
from adapters.tally import Tally, shown
from monitor.sample import CHANNELS
from monitor.toml_check import nearest

TURNS = 720.0
"""Angles up to two turns either way are wrapped into their range; more is no angle. Common practice, no source."""
WIDE = 1e12
"""A value made 0 or 1 may be any number up to this."""
_WRAPPED = {"heading_deg": 360.0, "track_deg": 360.0, "bank_deg": 180.0, "pitch_deg": 180.0, "longitude_deg": 180.0}
SLACK = 0.001
"""Part of a channel's range by which a value may pass an end of 0 or 1 (rounding, a sensor's zero) and count as it."""


class Reading(msgspec.Struct, frozen=True):
    """One channel of a shape: `value = raw * factor + offset`, wrapped, checked against low and high, or made 0 or 1.

    wrap: 360 (0 to 360), 180 (-180 to 180) or 0. low, high: of the value before the 0-or-1 step, after wrapping.
    """

    channel: str
    field: str | int
    key: str | int
    unit: str
    factor: float
    offset: float
    low: float
    high: float
    wrap: float = 0.0
    above: float | None = None

    def finish(self, value: float) -> float | None:
        """The channel's value from the converted one; None when it is outside the range (NaN is outside too)."""
        if self.above is not None:
            return (1.0 if value > self.above else 0.0) if -WIDE <= value <= WIDE else None
        if self.wrap and -TURNS <= value <= TURNS:
            value = wrapped(value, self.wrap)
        if self.low <= value <= self.high:
            return value
        return self._nearly(value)

    def _nearly(self, value: float) -> float | None:
        """An end of the range that the value passes by no more than rounding does, else None."""
        slack = SLACK * (self.high - self.low)
        if self.low == 0 and self.channel != "time_s" and -slack <= value < 0:
            return 0.0
        if not CHANNELS[self.channel].unit and self.low - slack <= value <= self.high + slack:
            return self.low if value < self.low else self.high
        return None

    def label(self) -> str:
        """How a notice names it: `ias_kt (field "v")`."""
        field = f"column {self.field}" if isinstance(self.field, int) else f'field "{self.field}"'
        return f"{self.channel} ({field})"

    def wanted(self) -> str:
        """What a notice says was wanted: "a number in m/s"."""
        return f"a number in {self.unit}" if self.unit else "a number"


def wrapped(value: float, turn: float) -> float:
    """An angle in 0 to 360 (turn 360) or -180 to 180 (turn 180)."""
    if turn == 360.0:
        return value % 360.0
    return value if -180.0 <= value <= 180.0 else (value + 180.0) % 360.0 - 180.0


def make_plan(channels: Iterable[ChannelMap], shape: tuple[str | int, ...], tally: Tally) -> list[Reading]:
    """The readings for records that have these keys; a channel whose field is not among them is left out."""
    known = set(shape)
    by_name: dict[str, str] = {}  # worked out once: a hostile record may have thousands of labels
    for label in shape:
        if isinstance(label, str):
            by_name.setdefault(units.split_label(label)[0], label)
    plan = []
    for channel in channels:
        field = channel.field
        key = field if field in known else by_name.get(field) if isinstance(field, str) else None
        reading = None if key is None else _reading(channel, key, tally)
        if reading is not None:
            plan.append(reading)
    return plan


def _reading(channel: ChannelMap, key: str | int, tally: Tally) -> Reading | None:
    found = _converted(channel, key, tally)
    if found is None:
        return None
    factor, offset, unit = found
    info = CHANNELS[channel.channel]
    return Reading(
        channel=channel.channel,
        field=channel.field,
        key=key,
        unit=unit or info.unit,
        factor=factor,
        offset=offset - channel.declination_deg,
        low=info.low,
        high=info.high,
        wrap=_WRAPPED.get(channel.channel, 0.0),
        above=channel.above,
    )


def _converted(channel: ChannelMap, key: str | int, tally: Tally) -> tuple[float, float, str | None] | None:
    """Factor, offset and unit, the unit of the label included; None when that cannot be the channel's."""
    if channel.above is not None:
        return channel.scale, channel.shift, channel.unit
    label_unit = units.split_label(key)[1] if isinstance(key, str) else None
    if label_unit is None or not units.dimensions_of(label_unit):
        return channel.factor, channel.offset, channel.unit
    if channel.unit is not None:
        if label_unit != channel.unit:
            text = f'the label "{key}" and unit = "{channel.unit}" differ; the latter holds'
            tally.once(f"label {key}", f"{channel.channel}: {text}")
        return channel.factor, channel.offset, channel.unit
    try:
        conversion = units.conversion(label_unit, channel.channel, channel.density_kg_per_l)
    except units.UnitError as error:
        tally.once(f"label {key}", f'{channel.channel}: the unit in the label "{key}" {error}; channel not used')
        return None
    return channel.scale * conversion.factor, channel.shift * conversion.factor + conversion.offset, label_unit


def missing_text(channels: Sequence[ChannelMap], shape: tuple[str | int, ...]) -> str:
    """What to say of channels whose fields are in no record of this shape."""
    names = [key for key in shape if isinstance(key, str)]
    wanted = _some([f"{c.channel} (field {shown(c.field)}{_nearest(c.field, names)})" for c in channels])
    has = (
        f"the record has {_some([shown(name) for name in names])}" if names else f"the record has {len(shape)} columns"
    )
    return f"no such field, so not supplied: {wanted}; {has}"


def _nearest(field: str | int, names: Sequence[str]) -> str:
    """A hint at the label meant, such as one in other letters."""
    same = [name for name in names[:200] if name.lower() == str(field).lower()]
    return f"; did you mean {shown(same[0])}?" if same else nearest(str(field), names[:200])


def _some(texts: list[str]) -> str:
    """The texts with commas between, cut after the eighth."""
    return ", ".join(texts[:8]) + (f" and {len(texts) - 8} more" if len(texts) > 8 else "")
