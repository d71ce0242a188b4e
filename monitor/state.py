"""What is derived from the samples: speed over the ground, trends, and values at past times.

Height and climb are a part of it, kept in `monitor.heights`.
"""

from __future__ import annotations

from collections import deque
from math import inf

from monitor.geo import CLIMB_FPM_PER_KT2_S, FEET_PER_S_PER_KNOT, G_FT_S2
from monitor.heights import LOST_S, Heights
from monitor.options import Options
from monitor.position import PositionSpeed
from monitor.relocation import stops
from monitor.sample import Sample
from monitor.trend import Trend

DEAD_KT, STEP_KT, STEP_S = 3.0, 15.0, 1.5  # some instruments read 0 until 20 to 25 kt (recorded training flights)
DIES_FROM_KT = 30.0  # from below, a needle that falls to 0 in a moment may be one of those (common practice, no source)
REPEATED_FROM_KT = 10.0  # common practice, no source
KEEP_S = 15.0
KEEP_MIN = 4
# time, indicated airspeed, level (height or altitude), vertical speed, pitch
Row = tuple[float, float | None, float | None, float | None, float | None]


class State(Heights):
    """The moment and its recent past. Speeds in knots, heights in feet, times in seconds of feed time."""

    __slots__ = (
        "_place", "_placed_t", "_position", "confirmed", "dt", "headwind_at_most_kt", "history", "ias",
        "ias_behind_kt", "ias_died", "ias_set_aside", "ias_trend", "prev", "prev_t", "rest_ias", "sample", "t",
        "track", "v", "v_measured", "v_trend",
    )  # fmt: skip

    def __init__(self, options: Options) -> None:
        super().__init__(options)
        self.restart()

    def restart(self) -> None:
        """Forget everything that was learned from the samples; what was given stays."""
        self.t = 0.0
        self.dt = 0.0
        self.sample = Sample()
        self.prev = Sample()
        self.prev_t = 0.0
        self.ias: float | None = None
        self.ias_set_aside = False  # the airspeed has been found dead
        self.ias_behind_kt = 0.0  # the groundspeed gained while the airspeed stands, as if stuck; 0 while it moves
        self.headwind_at_most_kt = inf  # as a needle that stuck since showed it against the groundspeed
        self.ias_died = False  # it fell to nothing in a moment, and there is no groundspeed to tell by
        self.v: float | None = None  # speed over the ground as well as it is known
        self.v_measured = False  # it is sent, or positions are; else it is taken from the airspeed itself
        self.ias_trend = Trend(1.0)
        self.v_trend = Trend(1.0)
        self.rest_ias: float | None = None
        self.track: float | None = None
        self.history: deque[Row] = deque()
        self.confirmed: frozenset[str] = frozenset()  # channels of which two samples in a row say the same sudden thing
        self._position = PositionSpeed()
        self._place: tuple[float, float] | None = None  # the last new position, and when it came
        self._placed_t = 0.0
        self.restart_heights()

    def update(self, t: float, sample: Sample) -> None:
        """Take in the sample of feed time `t`."""
        self.prev, self.prev_t = self.sample, self.t
        self.sample = sample
        self.dt = t - self.t if self.history else 0.0
        self.t = t
        ias, v, track = sample.ias_kt, sample.groundspeed_kt, sample.track_deg
        self.v_measured = v is not None or sample.latitude_deg is not None
        if ias is not None and (self.ias_died or (ias < DEAD_KT and self._dies(ias))):
            self.ias_died = ias < DEAD_KT
            self.ias = self.v = None
        elif ias is not None and not self.ias_set_aside:
            if ias > STEP_KT and self.ias is not None and self.ias < DEAD_KT and self.dt < STEP_S:
                self.ias_trend.reset()  # it comes alive in one step, which is no acceleration
                if sample.groundspeed_kt is None:
                    self.v_trend.reset()
            self.ias = ias
            self.ias_trend.update(t, ias)
        elif self.ias_set_aside or t - self.ias_trend.t > LOST_S:
            self.ias = None
        if v is None:
            self._speed_without(t, sample)
        else:
            self.v = v
            self.v_trend.update(t, v)
        if track is None:
            if v is not None:
                self._track_without(t, sample)
            track = self._position.track_deg
        if track is not None:
            self.track = track
        self._heights(t, sample)
        history = self.history
        history.append((t, self.ias, self.level, sample.vertical_speed_fpm, sample.pitch_deg))
        while t - history[0][0] > KEEP_S and len(history) > KEEP_MIN:
            history.popleft()

    def _dies(self, ias: float) -> bool:
        """Nearly 0: without groundspeed it would look like a stop. Many a needle drops to 0 as an aeroplane
        really stops, though, from where it comes alive."""
        fast = self.ias is not None and self.ias > DIES_FROM_KT
        return fast and not self.v_measured and stops(self.ias, ias, self.dt)

    @property
    def fastest_kt(self) -> float:
        """The greater of airspeed and speed over the ground; 0 where neither is known."""
        return max(self.ias or 0.0, self.v or 0.0)

    @property
    def energy_ft(self) -> float:
        """Height above the field and speed over the ground together, as a height: h + v^2 / 2g. 0 for what is not
        known."""
        v_ft_s = (self.v or 0.0) * FEET_PER_S_PER_KNOT
        return (self.height or 0.0) + v_ft_s * v_ft_s / (2.0 * G_FT_S2)

    @property
    def energy_fpm(self) -> float | None:
        """Climb and the speed gained together, as a climb (ft/min): the power in excess, whatever the nose does. None
        where neither is known. Over the ground, for dV, a gust shows not; see `monitor.climb_power`."""
        speed, climb = self.ias if self.ias is not None else self.v, self.climb_fpm
        if speed is None or climb is None:
            return climb
        rate = self.v_trend.rate if self.v_measured else self.ias_trend.rate
        return climb + CLIMB_FPM_PER_KT2_S * speed * rate

    def _speed_without(self, t: float, sample: Sample) -> None:
        """The speed over the ground where it is not sent: of positions, or the airspeed's."""
        v = None
        if self.prev.groundspeed_kt is not None:
            self._position = PositionSpeed()  # what it knew is as old as the gap before this one
        if sample.latitude_deg is not None and sample.longitude_deg is not None:
            if not self._moved_to(t, sample.latitude_deg, sample.longitude_deg):
                return
            v = self._position.speed_kt
        elif self.v is not None and self._position.knows(t):
            return  # a position every now and then: hold what it gave
        elif self.ias is not None:
            v = max(self.ias - (self.rest_ias or 0.0), 0.0)
        if v is not None:
            self.v = v
            self.v_trend.update(t, v)
        elif t - self.v_trend.t > LOST_S:
            self.v = None

    def _track_without(self, t: float, sample: Sample) -> None:
        """The track where groundspeed is sent, but no track: of positions."""
        if self.prev.track_deg is not None:
            self._position = PositionSpeed()  # positions have not been followed since it was sent
        if sample.latitude_deg is not None and sample.longitude_deg is not None:
            self._moved_to(t, sample.latitude_deg, sample.longitude_deg)

    def _moved_to(self, t: float, latitude_deg: float, longitude_deg: float) -> bool:
        """Follow one position; False for a row sent again, or a simulator that stands still: no aeroplane stops so."""
        place = latitude_deg, longitude_deg
        moves = self.v is not None and self.v > REPEATED_FROM_KT
        if moves and place == self._place and t - self._placed_t <= LOST_S:
            return False
        self._place, self._placed_t = place, t
        self._position.update(t, latitude_deg, longitude_deg)
        return True

    def at_rest(self) -> None:
        """The wheels are still, or nearly: learn what the instruments read there."""
        if self.ias is not None:
            rest = self.rest_ias
            self.rest_ias = self.ias if rest is None else rest + 0.1 * (self.ias - rest)
        self.learn_zero()

    def allow_for_wind(self) -> None:
        """Close to lift-off: on the roll the altimeter sagged, and a wind at rest made it sag as well.

        A static port errs with the square of the airspeed. The wind is what airspeed and groundspeed differ by: an
        indicator that reads 20 kt in still air shows no such thing.
        """
        zero, rest, v = self.zero_ft, self.rest_ias, self.v
        if zero is None or zero != self._learned_ft or rest is None or v is None or self.ias is None:
            return
        if self.uses_height or (self.sample.groundspeed_kt is None and not self._position.knows(self.t)):
            return
        rolled = [(row[2], row[1]) for row in self.history if row[2] is not None and row[1] is not None]
        lowest_ft, airspeed_kt = min(rolled, default=(zero, 0.0))
        wind_kt = min(rest, max(self.ias - v, 0.0))
        if lowest_ft < zero and airspeed_kt > 2.0 * wind_kt:
            self.zero_ft = zero + (zero - lowest_ft) * wind_kt**2 / (airspeed_kt**2 - wind_kt**2)

    def shift(self, seconds: float) -> None:
        """Time stood still for so long: all of the past is so much less old."""
        self.t += seconds
        self.prev_t += seconds
        self.history = deque((row[0] + seconds, row[1], row[2], row[3], row[4]) for row in self.history)
        for trend in (self.ias_trend, self.v_trend):
            trend.shift(seconds)
        self._position.shift(seconds)
        self._placed_t += seconds
        self.shift_heights(seconds)

    def crossing(self, before: float | None, now: float | None, threshold: float) -> float:
        """When a value went through `threshold` between the last sample and this; this sample's time if unknown."""
        if before is None or now is None or before == now or self.dt <= 0.0:
            return self.t
        part = (threshold - before) / (now - before)
        return self.t if not 0.0 <= part <= 1.0 else self.prev_t + part * (self.t - self.prev_t)

    def rose_through(self, before: float | None, now: float | None, threshold: float) -> float:
        """When a value now at or above `threshold` got there: the last sample's time if it was there already."""
        return self.prev_t if before is not None and before >= threshold else self.crossing(before, now, threshold)

    def airspeed_reached(self, threshold_kt: float) -> float:
        """When the airspeed, now above the threshold, came to it; now where that is longer ago than is kept."""
        rows = self.history
        for n in range(len(rows) - 1, 0, -1):
            later, before = rows[n], rows[n - 1]
            if before[1] is None or later[1] is None:
                return later[0]
            if before[1] < threshold_kt:
                return before[0] + (threshold_kt - before[1]) / (later[1] - before[1]) * (later[0] - before[0])
        return rows[-1][0]

    def values_at(self, t: float) -> tuple[float | None, float | None]:
        """Indicated airspeed and height above the field at `t`: interpolated, or carried on by the trend."""
        rows = self.history
        if not rows:
            return None, None
        if t >= rows[-1][0]:
            ahead = t - rows[-1][0]
            ias = None if self.ias is None else self.ias + self.ias_trend.rate * ahead
            level = None if self.level is None else self.level + (self.climb_fpm or 0.0) / 60.0 * ahead
            return ias, self._above(level)
        later = rows[-1]
        for row in reversed(rows):
            if row[0] <= t:
                part = (t - row[0]) / (later[0] - row[0]) if later[0] > row[0] else 0.0
                return _between(row[1], later[1], part), self._above(_between(row[2], later[2], part))
            later = row
        return later[1], self._above(later[2])

    def _above(self, level: float | None) -> float | None:
        return None if level is None or self.zero_ft is None else level - self.zero_ft


def _between(a: float | None, b: float | None, part: float) -> float | None:
    return (a if part < 0.5 else b) if a is None or b is None else a + part * (b - a)
