"""The aeroplane put somewhere else while feed time goes on, as when a practice takeoff is begun anew at the threshold.

No aeroplane stops within a moment. One channel that says so may be damaged, or its instrument has died; two that say so
in the same sample, and the next one too, are the simulator's doing. All numbers: common practice, no source.
"""

from __future__ import annotations

from monitor.sample import Sample

STOPS_KT, STOPS_KT_S = 15.0, 20.0  # faster than by this and so much a second (1 g is 19 kt/s)
DROPS_FT, DROPS_FT_S = 15.0, 100.0
LEAPS_DEG, LEAPS_DEG_S = 0.003, 0.001  # 1,100 ft of latitude
STAYS_KT = 10.0


class Relocation:
    """Compares a sample with the one before; `moved` once the second sample on the new place has come. It need not be
    asked while the airspeed falls by no more than `STOPS_KT` and nothing is pending."""

    __slots__ = ("pending_kt",)

    def __init__(self) -> None:
        self.pending_kt: float | None = None  # the speed there, where the sample before told of it

    def moved(self, sample: Sample, before: Sample, dt: float) -> bool:
        """One sample, `dt` seconds after the one before."""
        speed = sample.ias_kt if sample.ias_kt is not None else sample.groundspeed_kt
        pending, self.pending_kt = self.pending_kt, None
        if pending is not None and speed is not None and abs(speed - pending) < STAYS_KT:
            return True
        if speed is None or (before.ias_kt or before.groundspeed_kt or 0.0) - speed <= STOPS_KT:
            return False  # as at nearly every sample
        if _signs(before, sample, dt) >= 2:
            self.pending_kt = speed
        return False


def _signs(before: Sample, now: Sample, dt: float) -> int:
    """How many channels tell of it."""
    level, then = now.height_ft, before.height_ft
    if level is None:
        level, then = now.altitude_ft, before.altitude_ft
    dropped = level is not None and then is not None and then - level > DROPS_FT + DROPS_FT_S * dt
    latitude, before_latitude = now.latitude_deg, before.latitude_deg
    leapt = (
        latitude is not None
        and before_latitude is not None
        and abs(latitude - before_latitude) > LEAPS_DEG + LEAPS_DEG_S * dt
    )
    stopped = stops(before.ias_kt, now.ias_kt, dt) + stops(before.groundspeed_kt, now.groundspeed_kt, dt)
    return stopped + dropped + leapt if stopped else 0


def stops(before_kt: float | None, now_kt: float | None, dt: float) -> bool:
    """A speed fell in `dt` seconds as no brake makes it fall."""
    return before_kt is not None and now_kt is not None and before_kt - now_kt > STOPS_KT + STOPS_KT_S * dt
