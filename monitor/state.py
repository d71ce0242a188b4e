"""What is derived from the samples: speed over the ground, height above the field, trends, and values at past times.

Height above the field. `height_ft` when it is sent, less what it reads on the wheels. Else indicated altitude less
the field's: given (unless the altimeter is far from it there), or taken at rest and at line-up before the roll. It is
not taken during the roll, where indicated altitude sags 10 to 50 ft below the field's level (measured on recorded
training flights).
"""

from __future__ import annotations

from collections import deque
from math import inf

from monitor.options import Options
from monitor.position import PositionSpeed
from monitor.relocation import stops
from monitor.sample import Sample
from monitor.trend import Trend

DEAD_KT, STEP_KT, STEP_S = 3.0, 15.0, 1.5  # some instruments read 0 until 20 to 25 kt (recorded training flights)
KEEP_S = 15.0
KEEP_MIN = 4
LEVEL_TAU_S = 0.8
ALTIMETER_OFF_FT = 75.0  # so far from the field's elevation an altimeter is not to be used (AIM 7-2-3, from memory)
LOST_S = 1.5  # a channel that is missing for longer is no longer sent
CLEAR_FT = 60.0  # above the field: no sag is so much (measured on recorded training flights: 10 to 50 ft)
TERRAIN_FT, TERRAIN_S, MOVES_FT = 80.0, 2.0, 15.0  # common practice, no source
SAG_FROM_KT_S = 0.7  # a roll has begun: with the speed the altimeter's reading begins to sag
# Where vertical speed carries the level from sample to sample, only what the two differ by is left to smooth.
LEVEL_CARRIED_TAU_S = 2.0
LEVEL_NOISY_FT = 0.15  # from this mean scatter the smooth level is the better one
# time, indicated airspeed, level (height or altitude), vertical speed, pitch
Row = tuple[float, float | None, float | None, float | None, float | None]


class State:
    """The moment and its recent past. Speeds in knots, heights in feet, times in seconds of feed time."""

    __slots__ = (
        "_by_altitude", "_given_field_ft", "_height_t", "_learned_ft", "_position", "_terrain", "_vertical_t",
        "_zero_n", "altitude_seen", "climb_fpm", "climbed_ft", "confirmed", "dt", "height", "history", "ias",
        "ias_died", "ias_set_aside", "ias_trend", "level", "level_noise", "level_now", "level_smooth", "level_trend",
        "prev", "prev_level", "prev_t", "relevelled", "rest_ias", "sample", "t", "track", "uses_height", "v",
        "v_trend", "zero_ft",
    )  # fmt: skip

    def __init__(self, options: Options) -> None:
        self._given_field_ft = options.field_elevation_ft
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
        self.ias_died = False  # it fell to nothing in a moment, and there is no groundspeed to tell by
        self.v: float | None = None  # speed over the ground as well as it is known
        self.level: float | None = None  # height_ft, or altitude_ft where that is not sent
        self.uses_height = False
        self.zero_ft: float | None = self._given_field_ft  # what `level` reads on the wheels
        self._learned_ft: float | None = None  # the same as the altimeter showed it there
        self._zero_n = 0
        self._height_t = 0.0  # when `height_ft` was last sent
        self._by_altitude = False  # it is no longer, or not the field's, and altitude takes its place
        self.relevelled = False  # since this sample
        self._terrain: tuple[float, float] | None = None  # time and altitude when the two first disagreed
        self._vertical_t = -inf
        self.height: float | None = None
        self.climb_fpm: float | None = None
        self.ias_trend = Trend(1.0)
        self.v_trend = Trend(1.0)
        self.level_trend = Trend(LEVEL_TAU_S)  # of the level less `climbed_ft`
        self.climbed_ft = 0.0  # vertical speed summed up, ft
        self.level_smooth = 0.0  # the level less its noise
        self.level_now = self.prev_level = 0.0  # the level, less its noise, now and at the sample before
        self.level_noise = 0.0  # mean size of the level's scatter about its trend, ft
        self.rest_ias: float | None = None
        self.track: float | None = None
        self.history: deque[Row] = deque()
        self.altitude_seen = False  # ever: one that is missing now has been lost or set aside
        self.confirmed: frozenset[str] = frozenset()  # channels of which two samples in a row say the same sudden thing
        self._position = PositionSpeed()

    def update(self, t: float, sample: Sample) -> None:
        """Take in the sample of feed time `t`."""
        self.prev, self.prev_t = self.sample, self.t
        self.sample = sample
        self.dt = t - self.t if self.history else 0.0
        self.t = t
        ias = sample.ias_kt
        if ias is not None and (self.ias_died or self._dies(ias)):
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
        self._ground_speed(t, sample)
        self._heights(t, sample)
        history = self.history
        history.append((t, self.ias, self.level, sample.vertical_speed_fpm, sample.pitch_deg))
        while t - history[0][0] > KEEP_S and len(history) > KEEP_MIN:
            history.popleft()

    def _dies(self, ias: float) -> bool:
        """Without groundspeed the airspeed's fall would look like a stop."""
        return ias < DEAD_KT and not self.v_measured and stops(self.ias, ias, self.dt)

    @property
    def v_measured(self) -> bool:
        """The speed over the ground is sent, or positions are; else it is taken from the airspeed itself."""
        return self.sample.groundspeed_kt is not None or self.sample.latitude_deg is not None

    @property
    def fastest_kt(self) -> float:
        """The greater of airspeed and speed over the ground; 0 where neither is known."""
        return max(self.ias or 0.0, self.v or 0.0)

    def _ground_speed(self, t: float, sample: Sample) -> None:
        v = sample.groundspeed_kt
        if v is None:
            if sample.latitude_deg is not None and sample.longitude_deg is not None:
                self._position.update(t, sample.latitude_deg, sample.longitude_deg)
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
        track = sample.track_deg if sample.track_deg is not None else self._position.track_deg
        if track is not None:
            self.track = track

    def _heights(self, t: float, sample: Sample) -> None:
        level = sample.height_ft
        self.relevelled = False
        if level is not None:
            self._height_t = t
            if not self.uses_height:
                self._use_height()
            level = self._over_terrain(t, level, sample.altitude_ft)
        else:
            level = self._in_place_of_height(t, sample.altitude_ft) if self.uses_height else sample.altitude_ft
        if sample.altitude_ft is not None:
            self.altitude_seen = True
        trend = self.level_trend
        vertical = sample.vertical_speed_fpm
        if vertical is not None:
            self._vertical_t = t
            before = self.prev.vertical_speed_fpm
            if before is None:
                before = vertical
            self.climbed_ft += (before + vertical) * self.dt / 120.0
            if trend.tau_s != LEVEL_CARRIED_TAU_S:
                trend.retune(LEVEL_CARRIED_TAU_S)
        if level is not None:
            self._level(t, level)
        elif t - trend.t > LOST_S:
            self.level = None
        self.height = None if self.level is None or self.zero_ft is None else self.level - self.zero_ft
        if vertical is not None:
            self.climb_fpm = vertical
        elif t - self._vertical_t > LOST_S:  # else it is missing from this one sample
            self.climb_fpm = trend.rate * 60.0 if self.level is not None else None

    def _over_terrain(self, t: float, level: float, altitude_ft: float | None) -> float:
        """The height sent, or the altimeter's where the ground below is another than the field's."""
        zero = self.zero_ft or 0.0
        if altitude_ft is None or self._learned_ft is None or level - zero < CLEAR_FT:
            self._show_by_altitude(False)
            return level
        above_ft = altitude_ft - self._learned_ft
        if not self._by_altitude:
            if abs(above_ft - level + zero) < TERRAIN_FT or above_ft < CLEAR_FT:
                self._terrain = None
            elif self._terrain is None:
                self._terrain = t, altitude_ft
            elif t - self._terrain[0] >= TERRAIN_S and abs(altitude_ft - self._terrain[1]) >= MOVES_FT:
                self._show_by_altitude(True)  # an altimeter that moves is right
        return above_ft + zero if self._by_altitude else level

    def _show_by_altitude(self, by_altitude: bool) -> None:
        if by_altitude != self._by_altitude:
            self._by_altitude = by_altitude
            self.relevelled = True
            self._terrain = None
            self.level_trend.reset()

    def _in_place_of_height(self, t: float, altitude_ft: float | None) -> float | None:
        """The height that the altimeter shows, where `height_ft` is sent no more: clear of the ground, for in the roll
        it sags."""
        if altitude_ft is None or self._learned_ft is None or t - self._height_t <= LOST_S:
            return None
        above_ft = altitude_ft - self._learned_ft
        if above_ft > CLEAR_FT:
            self._show_by_altitude(True)
        return above_ft + (self.zero_ft or 0.0) if self._by_altitude else None

    def _level(self, t: float, level: float) -> None:
        """The level of this sample, with its noise and without."""
        trend, dt, climbed_ft, noise = self.level_trend, self.dt, self.climbed_ft, self.level_noise
        self.level = level
        self.prev_level = self.level_now
        carried = level - climbed_ft
        off = carried - trend.value - trend.rate * dt
        trend.update(t, carried)
        smooth = self.level_smooth = trend.value + climbed_ft
        if -20.0 < off < 20.0 and trend.ready:
            noise = self.level_noise = noise + (0.02 if dt > 0.02 else dt) * (abs(off) - noise)
        # The first noisy reading above a height comes early, so the smooth one counts; a clean one is exact.
        self.level_now = smooth if noise > LEVEL_NOISY_FT else level

    def _use_height(self) -> None:
        self.uses_height = True
        self.zero_ft = 0.0
        self.level_trend.reset()

    def at_rest(self) -> None:
        """The wheels are still, or nearly: learn what the instruments read there."""
        if self.ias is not None:
            rest = self.rest_ias
            self.rest_ias = self.ias if rest is None else rest + 0.1 * (self.ias - rest)
        self.learn_zero()

    def learn_zero(self) -> None:
        """The wheels are on the ground at low speed: take the level as zero unless it was given."""
        if self.level is None:
            return
        if self.uses_height:
            if self._by_altitude:
                return
            # A height that is not quite 0 on the wheels is the aeroplane's own (its reference point); 15 ft is not.
            self.zero_ft = self.level if 1.5 < abs(self.level) < 15.0 else 0.0
            if self.sample.altitude_ft is not None and self.v_trend.rate < SAG_FROM_KT_S:
                self._mean_level(self.sample.altitude_ft)
        elif self._learned_ft is None or self.v_trend.rate < SAG_FROM_KT_S:
            learned, given = self._mean_level(self.level), self._given_field_ft
            # Given and shown too far apart: the altimeter is not set, or the field is another one.
            self.zero_ft = learned if given is None or abs(learned - given) > ALTIMETER_OFF_FT else given

    def landed(self) -> None:
        """The wheels are down again: far from the field's level as known, it is another field's, or the subscale has
        been turned."""
        level, zero = self.level, self.zero_ft
        if not self.uses_height and level is not None and zero is not None and abs(level - zero) > ALTIMETER_OFF_FT:
            self.zero_ft = level

    def _mean_level(self, level: float) -> float:
        """The mean of what the altimeter reads there, over some seconds; elsewhere on the field it starts anew."""
        mean = self._learned_ft
        if mean is None or abs(level - mean) > 8.0 + 4.0 * self.level_noise:
            self._learned_ft, self._zero_n = level, 1
            return level
        self._zero_n += 1
        mean += max(1.0 / self._zero_n, min(1.0, self.dt / 6.0)) * (level - mean)
        self._learned_ft = mean
        return mean

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
        self._height_t += seconds
        self._vertical_t += seconds
        self.history = deque((row[0] + seconds, row[1], row[2], row[3], row[4]) for row in self.history)
        for trend in (self.ias_trend, self.v_trend, self.level_trend):
            trend.shift(seconds)
        self._position.shift(seconds)

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
        """When the airspeed, now above the threshold, came to it; at most as long ago as is kept."""
        rows = self.history
        for n in range(len(rows) - 1, 0, -1):
            later, before = rows[n], rows[n - 1]
            if before[1] is None or later[1] is None:
                return later[0]
            if before[1] < threshold_kt:
                return before[0] + (threshold_kt - before[1]) / (later[1] - before[1]) * (later[0] - before[0])
        return rows[0][0]

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
