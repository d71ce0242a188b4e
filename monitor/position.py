"""Speed over the ground and track made of positions, where neither is sent.

A recorder's clock that skips or repeats a second makes one step of slow data look like a stop or a leap. A step that
no light aeroplane makes is therefore taken for the clock's; two in a row are the aeroplane's own.
"""

from __future__ import annotations

from math import cos, hypot, radians

from monitor.geo import KNOTS_PER_MS, METRES_PER_DEGREE, speed_and_track, turn
from monitor.trend import Trend

POSITION_TAU_S = 0.8
HOLDS_S = 6.0  # positions may come now and then only; so long one speaks for what follows
SLOW_S = 0.5  # samples closer together are smoothed over many
FAST_KT = 10.0  # slower, a metre of the position's own scatter is as much
SLIP_MOST_S = 10.0  # a clock that goes further is a jump
UNLIKE_KT, UNLIKE_KT_S = 4.0, 4.0  # off what speed and trend foretell, and a second: 0.2 g (common practice, no source)


class PositionSpeed:
    """Follows the positions; `speed_kt` and `track_deg` are None before they are known."""

    __slots__ = ("_before", "_derived", "_doubted", "_east", "_north", "_origin", "_t", "speed_kt", "track_deg")

    def __init__(self) -> None:
        self._north = Trend(POSITION_TAU_S)
        self._east = Trend(POSITION_TAU_S)
        self._derived = Trend(1.0)
        self._origin: tuple[float, float] | None = None
        self._before = (0.0, 0.0, 0.0)  # time, north and east (m)
        self._t = 0.0  # the time that the positions themselves tell
        self._doubted = False
        self.speed_kt: float | None = None
        self.track_deg: float | None = None

    def knows(self, t: float) -> bool:
        """A position has been sent, and not too long before `t`."""
        return self._origin is not None and t - self._before[0] <= HOLDS_S

    def shift(self, seconds: float) -> None:
        """Time stood still for so long."""
        t, north, east = self._before
        self._before = (t + seconds, north, east)
        self._t += seconds
        for trend in (self._north, self._east, self._derived):
            trend.shift(seconds)

    def update(self, t: float, latitude_deg: float, longitude_deg: float) -> None:
        """One position at time `t` (s)."""
        if self._origin is None:
            self._origin = latitude_deg, longitude_deg
            self._before = (t, 0.0, 0.0)
            self._t = t
        north = (latitude_deg - self._origin[0]) * METRES_PER_DEGREE
        east = turn(self._origin[1], longitude_deg) * METRES_PER_DEGREE * cos(radians(self._origin[0]))
        now = self._t = self._t + self._elapsed(t, north, east)
        self._before = (t, north, east)
        self._north.update(now, north)
        self._east.update(now, east)
        if not self._north.ready:
            return
        speed_kt, track_deg = speed_and_track(self._north.rate, self._east.rate)
        if speed_kt > 10.0:
            self.track_deg = track_deg
        # A straight line through an accelerating position shows the speed of two time constants ago.
        self._derived.update(now, speed_kt)
        self.speed_kt = max(speed_kt + 2.0 * POSITION_TAU_S * self._derived.rate, 0.0)

    def _elapsed(self, t: float, north: float, east: float) -> float:
        """Seconds since the last position: by the clock, or by the way made where the clock has slipped."""
        last_t, last_north, last_east = self._before
        dt, speed_kt = t - last_t, self.speed_kt
        if dt < SLOW_S or speed_kt is None or speed_kt < FAST_KT:
            return dt
        foretold_kt = speed_kt + 0.5 * self._derived.rate * dt
        made_kt = hypot(north - last_north, east - last_east) * KNOTS_PER_MS  # in a second
        unlike = abs(made_kt / dt - foretold_kt) > UNLIKE_KT + UNLIKE_KT_S * dt
        self._doubted = unlike and not self._doubted
        if not self._doubted:
            return dt
        return min(max(made_kt / max(foretold_kt, FAST_KT), 0.1 * dt), dt + SLIP_MOST_S)
