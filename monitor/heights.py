"""The height above the field, and the climb.

`height_ft` when it is sent, less what it reads on the wheels; aloft, where the ground below is another than the field's
or it is sent no more, the altimeter's takes its place. Else indicated altitude less the field's: given (unless the
altimeter is far from it there), or taken at rest and at line-up before the roll. It is not taken during the roll, where
indicated altitude sags 10 to 50 ft below the field's level (measured on recorded training flights).
"""

from __future__ import annotations

from math import inf

from monitor.options import Options
from monitor.sample import Sample
from monitor.trend import Trend

LOST_S = 1.5  # a channel that is missing for longer is no longer sent
LEVEL_TAU_S = 0.8
ALTIMETER_OFF_FT = 75.0  # so far from the field's elevation an altimeter is not to be used (AIM 7-2-3, from memory)
CLEAR_FT = 60.0  # above the field: no sag is so much (measured on recorded training flights: 10 to 50 ft)
TERRAIN_FT, TERRAIN_S, MOVES_FT = 80.0, 2.0, 15.0  # common practice, no source
TERRAIN_LOOK_S = 0.3  # while they agree it is enough to compare them so often
SAG_FROM_KT_S = 0.7  # a roll has begun: with the speed the altimeter's reading begins to sag
# Where vertical speed carries the level from sample to sample, only what the two differ by is left to smooth.
LEVEL_CARRIED_TAU_S = 2.0
LEVEL_NOISY_FT = 0.15  # from this mean scatter the smooth level is the better one


class Heights:
    """The part of `monitor.state.State` that keeps level, height and climb; the moment itself is kept there."""

    __slots__ = (
        "_by_altitude", "_given_field_ft", "_height_t", "_learned_ft", "_terrain", "_terrain_t", "_vertical_t",
        "_zero_n", "altitude_seen", "climb_fpm", "climbed_ft", "height", "level", "level_noise", "level_now",
        "level_smooth", "level_trend", "prev_level", "relevelled", "uses_height", "zero_ft",
    )  # fmt: skip

    dt: float
    prev: Sample
    sample: Sample
    v_trend: Trend

    def __init__(self, options: Options) -> None:
        self._given_field_ft = options.field_elevation_ft

    def restart_heights(self) -> None:
        """Forget everything that was learned from the samples; what was given stays."""
        self.level: float | None = None  # height_ft, or altitude_ft where that is not sent
        self.uses_height = False
        self.zero_ft: float | None = self._given_field_ft  # what `level` reads on the wheels
        self._learned_ft: float | None = None  # the same as the altimeter showed it there
        self._zero_n = 0
        self._height_t = 0.0  # when `height_ft` was last sent
        self._by_altitude = False  # it is no longer, or not the field's, and altitude takes its place
        self.relevelled = False  # since this sample
        self._terrain: tuple[float, float] | None = None  # time and altitude when the two first disagreed
        self._terrain_t = -inf  # when it is time to compare them again
        self._vertical_t = -inf
        self.height: float | None = None
        self.climb_fpm: float | None = None
        self.level_trend = Trend(LEVEL_TAU_S)  # of the level less `climbed_ft`
        self.climbed_ft = 0.0  # vertical speed summed up, ft
        self.level_smooth = 0.0  # the level less its noise
        self.level_now = self.prev_level = 0.0  # the level, less its noise, now and at the sample before
        self.level_noise = 0.0  # mean size of the level's scatter about its trend, ft
        self.altitude_seen = False  # ever: one that is missing now has been lost or set aside

    def _heights(self, t: float, sample: Sample) -> None:
        level = sample.height_ft
        self.relevelled = False
        if level is not None:
            self._height_t = t
            if not self.uses_height:
                self._use_height()
            if t >= self._terrain_t:
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
            self._terrain = None
            if self._by_altitude:
                self._show_by_altitude(False)
            return level
        above_ft = altitude_ft - self._learned_ft
        if not self._by_altitude:
            if abs(above_ft - level + zero) < TERRAIN_FT or above_ft < CLEAR_FT:
                self._terrain = None
                self._terrain_t = t + TERRAIN_LOOK_S
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
        trend, climbed_ft, noise = self.level_trend, self.climbed_ft, self.level_noise
        self.level = level
        self.prev_level = self.level_now
        off = trend.update(t, level - climbed_ft)
        smooth = self.level_smooth = trend.value + climbed_ft
        if -20.0 < off < 20.0 and trend.ready:
            dt = self.dt
            noise = self.level_noise = noise + (0.02 if dt > 0.02 else dt) * (abs(off) - noise)
        # The first noisy reading above a height comes early, so the smooth one counts; a clean one is exact.
        self.level_now = smooth if noise > LEVEL_NOISY_FT else level

    def _use_height(self) -> None:
        self.uses_height = True
        self.zero_ft = 0.0
        self.level_trend.reset()

    @property
    def altitude_ft(self) -> float | None:
        """Indicated altitude; where none was ever sent, by the field's elevation, if that is given; None if unknown."""
        altitude, field_ft = self.sample.altitude_ft, self._given_field_ft
        if altitude is not None or self.altitude_seen or field_ft is None:
            return altitude
        return field_ft + (self.height or 0.0)

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

    @property
    def rest_level_ft(self) -> float | None:
        """What the altimeter read on the wheels at rest or nearly, whatever elevation is given; None if not known."""
        shown, zero = self._learned_ft, self.zero_ft
        if shown is None or zero is None or abs(shown - zero) <= ALTIMETER_OFF_FT:
            return shown
        return zero  # landed on another field since

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

    def shift_heights(self, seconds: float) -> None:
        """Time stood still for so long."""
        self._height_t += seconds
        self._terrain_t += seconds
        self._vertical_t += seconds
        self.level_trend.shift(seconds)
