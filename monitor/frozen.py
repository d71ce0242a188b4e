"""A simulator that stands still and goes on sending: every packet the same but for the time, while the aeroplane moves.

Where the feed's time is a clock on the wall, or there is none, a pause shows in no other way. A speed that stays and a
place that does not change contradict each other, and on the ground no roll has a constant speed in every digit. A level
flight whose few channels are rounded may rightly stand still. All numbers: common practice, no source.
"""

from __future__ import annotations

from monitor.sample import Sample

MOVES_KT = 20.0
LASTS_S, LASTS_INTERVALS = 1.0, 3.5  # copies of one frame of the simulator are fewer
ON_THE_GROUND_FT = 10.0

UNROUNDED = 4  # so many channels that are not rounded: in the air too at least one of them would move
_LIVELY = (
    "ias_kt", "groundspeed_kt", "altitude_ft", "vertical_speed_fpm", "pitch_deg", "bank_deg", "heading_deg", "rpm",
)  # fmt: skip
_CHANNELS = tuple(name for name in Sample.__struct_fields__ if name != "time_s")


class Frozen:
    """Compares samples with the one before. `stands` need be asked only where the airspeed is the same in both."""

    __slots__ = ("_asked_t", "since_t")

    def __init__(self) -> None:
        self._asked_t = 0.0
        self.since_t: float | None = None  # the same since then

    def stands(self, t: float, sample: Sample, before: Sample, before_t: float, interval_s: float) -> bool:
        """One sample at feed time `t` and the one before it, `interval_s` being the usual interval: whether it has
        stood still for long enough not to be a part of the flight."""
        asked_t, self._asked_t = self._asked_t, t
        if asked_t != before_t:
            self.since_t = None  # in between the airspeed was another
        if sample.rpm != before.rpm or not _moves(sample):  # as at nearly every one with the same airspeed
            self.since_t = None
            return False
        if any(getattr(sample, name) != getattr(before, name) for name in _CHANNELS):
            self.since_t = None
            return False
        if self.since_t is None:
            self.since_t = before_t
        return t - self.since_t >= max(LASTS_S, LASTS_INTERVALS * interval_s)


def _moves(sample: Sample) -> bool:
    """It is not at rest, and something that is sent would have to change by the next sample."""
    if max(sample.groundspeed_kt or 0.0, sample.ias_kt or 0.0) < MOVES_KT:
        return False
    if sample.latitude_deg is not None and sample.longitude_deg is not None:
        return True
    low = sample.height_ft is not None and sample.height_ft < ON_THE_GROUND_FT
    if low or (sample.on_ground or 0.0) >= 0.5:
        return True
    values: list[float | None] = [getattr(sample, name) for name in _LIVELY]
    return sum(1 for value in values if value is not None and value != round(value)) >= UNROUNDED
