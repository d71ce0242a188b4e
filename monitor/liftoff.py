"""Off the wheels: lift-off, with a ground switch and without one.

With a switch: lift-off is the last opening of the switch; it is for good once 2 s have passed or the aeroplane is 20 ft
up and climbing. A hop that settles is none.

Without: the field's elevation is no help, because indicated altitude sags 10 to 50 ft in the roll. From 0.62 VR on the
lowest level is kept; a rise above it that lasts is a lift-off (+6 ft for 0.3 s with fast data, +12 ft for 1.5 s with
slow data). It is stamped back to where the climb began, and a runway that rises is allowed for. All numbers: measured
on model flights and on recorded training flights.
"""

from __future__ import annotations

from bisect import bisect_left
from math import inf
from operator import itemgetter

from monitor.aloft import Aloft
from monitor.climb_lag import LAG_OVER_S
from monitor.grade import Grade
from monitor.liftoff_time import FAST_S, WheelsOff
from monitor.settings import Settings
from monitor.state import KEEP_S, State

CLIMBS_FPM = 200.0  # 2 % at 100 kt
REACH_S = 3.0  # the rows must reach back so far before the aeroplane was clear of the ground
# So high, for so long, a switch that says "on the ground" is wrong (common practice, no source).
OVERRULED_FT, OVERRULED_S = 50.0, 1.0
# Slowing by so much, altitude that sagged may be coming back; so far below the fastest it shows before the trend does;
# a speed that rises by so much is gathered (common practice, no source).
SLOWS_LITTLE_KT_S, FELL_KT, GATHERS_KT_S = 0.3, 2.0, 0.3
SHOWS_FPM, SHOWS_MOST_S = 100.0, 3.0  # by then the laziest vertical speed shows a climb (common practice, no source)
FLIES_FROM = 0.72  # of VR: no aeroplane leaves the ground slower (43 kt with a VR of 55 was seen in a recorded takeoff)


class LiftOff:
    """Watches the roll for the wheels leaving the ground for good."""

    def __init__(self, settings: Settings, rotate_kt: float) -> None:
        self._set = settings
        self._rotate_kt = rotate_kt
        self._grade = Grade()
        self._aloft = Aloft(settings.hop_s)
        self.reset()

    def reset(self) -> None:
        """A new roll begins."""
        self._grade.reset()
        self._aloft.reset()
        self.since: float | None = None  # wheels off, not yet known to be for good
        self._lowest_ft: float | None = None  # of the level less what the runway rose
        self._rising_since: float | None = None
        self._clear_since: float | None = None
        self._fastest = (0.0, 0.0)  # speed over the ground and its time
        self._armed_t: float | None = None
        self._flies_t: float | None = None
        self._banks: dict[float, float] = {}  # how far the wings were off level (deg), by time, oldest first
        self._floats_t: float | None = None  # the time of lift-off as found when it was first off for good
        self._opened = (0.0, 0.0)  # the last sample with the switch closed, the first with it open
        self._doubtful = False
        self._high_since: float | None = None  # with the switch at "on the ground"
        self.switch_dead = False  # it says "on the ground" in the air

    @property
    def ground_ft(self) -> float | None:
        """What the level reads on the wheels where they left the ground; None while it is not known."""
        return None if self._lowest_ft is None else self._lowest_ft + self._grade.risen_ft

    @property
    def possible(self) -> bool:
        """The aeroplane may be off the ground: nothing that presumes wheels on it should be said."""
        return (
            self.since is not None or self._doubtful or self._rising_since is not None or self._clear_since is not None
        )

    def update(self, s: State, interval_s: float) -> float | None:
        """The time of lift-off once it is certain, else None. Call with every sample of the roll."""
        speed = s.fastest_kt
        if self._armed_t is None and speed >= 0.62 * self._rotate_kt:
            self._armed_t = s.t
        if self._flies_t is None and speed >= FLIES_FROM * self._rotate_kt:
            self._flies_t = s.t
        switch = s.sample.on_ground
        if switch is not None and not self.switch_dead:
            return self._by_switch(s, switch, interval_s)
        return self._by_level(s, interval_s)

    def _by_switch(self, s: State, switch: float, interval_s: float) -> float | None:
        slow = interval_s > FAST_S and s.level is not None
        if slow:
            self._follow_level(s, False)
        if switch >= 0.5:
            self.since = None
            self.switch_dead = self._overruled(s)
            return None
        if self.since is None:
            before = s.prev.on_ground
            self.since = s.t if before is None else s.crossing(before, switch, 0.5)
            self._opened = (s.t if before is None else s.prev_t, s.t)
        high = s.height is not None and s.height > self._set.liftoff_sure_ft and (s.climb_fpm or 0.0) > 100.0
        if not high and s.t - self.since < self._set.hop_s:
            return None
        if not slow or s.sample.vertical_speed_fpm is None:
            return self.since
        return min(max(self._began(s, interval_s), self._opened[0]), self._opened[1])  # between two slow samples

    def _overruled(self, s: State) -> bool:
        """High and fast with the switch at "on the ground": at once where vertical speed says so too, for a height may
        be off for a moment."""
        if s.height is None or s.height <= OVERRULED_FT or s.v is None or s.v <= 0.8 * self._rotate_kt:
            self._high_since = None
            return False
        if self._high_since is None:
            self._high_since = s.t
        climbs = (s.sample.vertical_speed_fpm or 0.0) > CLIMBS_FPM
        return climbs or s.t - self._high_since >= OVERRULED_S

    def _follow_level(self, s: State, fast: bool) -> float | None:
        """How far the level is above the lowest of the roll, less what the runway rose; None: not above it, or too
        slow to fly."""
        self._grade.roll(s, self._armed_t is not None)
        if s.level is None or s.fastest_kt < 0.62 * self._rotate_kt:
            return None
        if self._flies_t is not None:
            self._aloft.rolling(s, self._grade)
        level = (s.level_smooth if fast else s.level) - self._grade.risen_ft
        if self._lowest_ft is None or level <= self._lowest_ft:
            self._lowest_ft = level
            return None
        return level - self._lowest_ft

    def _by_level(self, s: State, interval_s: float) -> float | None:
        fast = interval_s <= FAST_S
        if fast and s.sample.bank_deg is not None and self._flies_t is not None:
            self._keep_bank(s.t, abs(s.sample.bank_deg))
        if s.level is None:
            return self._by_climb(s)
        if s.v is not None and s.v >= self._fastest[0]:
            self._fastest = s.v, s.t
        rise = self._follow_level(s, fast)
        if rise is None:
            self._rising_since = self._clear_since = None
            self._doubtful = False
            return None
        if self._aloft.for_good and self._floats_t is None:
            self._floats_t = self._began(s, interval_s)
        set_ = self._set
        doubt = set_.liftoff_doubt_ft if s.uses_height else 0.5 * set_.liftoff_rise_fast_ft
        climb = (s.climb_fpm or 0.0) - self._grade.climb_fpm(s.v)
        self._doubtful = climb > 100.0 or (rise > doubt + 2.0 * s.level_noise and climb > 50.0)
        if s.uses_height and self._clear_of_ground(s, rise):
            return self._began(s, interval_s)
        need = set_.liftoff_rise_fast_ft + 2.0 * s.level_noise if fast else set_.liftoff_rise_slow_ft
        if rise < need or s.fastest_kt < 0.75 * self._rotate_kt:
            self._rising_since = None if rise < 0.5 * need else self._rising_since
            return None
        if self._rising_since is None:
            self._rising_since = s.t
        hold = set_.liftoff_hold_fast_s if fast else set_.liftoff_hold_slow_s
        sure = not fast and rise > 2.0 * need and climb > 150.0 and s.sample.vertical_speed_fpm is not None
        if s.t - self._rising_since < hold and not sure:
            return None
        if self._sag_goes(s, climb, rise < 3.0 * need):
            return None
        told = s.uses_height or s.sample.vertical_speed_fpm is None or climb >= SHOWS_FPM
        if not told and s.t - self._rising_since < hold + SHOWS_MOST_S:
            return None  # altitude jumps as the nose rises: the vertical speed, which lags, is to tell the moment
        return self._began(s, interval_s)

    def _sag_goes(self, s: State, climb_fpm: float, little: bool) -> bool:
        """Altitude that sagged with speed comes back as the aeroplane slows: no lift-off, until it is above what it was
        at rest, or vertical speed shows more than that gives (the sag is as the square of the speed)."""
        rest_ft, lowest_ft, v = s.rest_level_ft, self._lowest_ft, s.v
        if s.v_trend.rate < -1.0 and little:
            return True
        if s.uses_height or rest_ft is None or lowest_ft is None or s.level is None or not v:
            return False
        slows_kt_s, fell_kt = -s.v_trend.rate, self._fastest[0] - v
        if fell_kt > FELL_KT and slows_kt_s > -GATHERS_KT_S:
            slows_kt_s = max(slows_kt_s, fell_kt / (s.t - self._fastest[1]))
        if slows_kt_s < SLOWS_LITTLE_KT_S:
            return False
        if s.level - self._grade.risen_ft >= rest_ft + self._set.liftoff_rise_slow_ft:
            return False
        comes_back_fpm = 60.0 * max(rest_ft - lowest_ft, 0.0) * 2.0 * slows_kt_s / v
        return s.sample.vertical_speed_fpm is None or climb_fpm < CLIMBS_FPM + comes_back_fpm

    def _keep_bank(self, t: float, bank_deg: float) -> None:
        banks = self._banks
        banks[t] = bank_deg
        oldest = next(iter(banks))
        if t - oldest > KEEP_S:
            del banks[oldest]

    def _by_climb(self, s: State) -> float | None:
        """Neither height nor altitude: a climb that no runway gives, for the time of a hop."""
        climb = s.sample.vertical_speed_fpm
        if climb is None or self._flies_t is None or climb < CLIMBS_FPM:
            self._rising_since = None
            return None
        if self._rising_since is None:
            self._rising_since = s.t
        return self._rising_since if s.t - self._rising_since >= self._set.hop_s else None

    def _began(self, s: State, interval_s: float) -> float:
        """When the wheels left, once it is certain that they did. After a long float the rows no longer tell."""
        since = self._aloft.since
        if self._floats_t is not None and since is not None and s.t - since > KEEP_S - REACH_S:
            return self._floats_t
        # No aeroplane leaves the ground sooner than it may fly; the lag is found over some seconds.
        first = -inf if self._flies_t is None else min(self._flies_t, s.t - LAG_OVER_S) - 1.0
        rows = list(self._grade.levelled(s.history))
        rows = rows[bisect_left(rows, first, key=itemgetter(0)) :]
        search = WheelsOff(self._set, s, rows, self._banks, self._lowest_ft or 0.0, since)
        t = search.time(interval_s)
        return max(t, self._flies_t if self._flies_t is not None else t)

    def _clear_of_ground(self, s: State, rise: float) -> bool:
        """Height above ground is sent: a hold in ground effect shows as no altitude would."""
        if rise < self._set.liftoff_clear_ft + 3.0 * s.level_noise:
            self._clear_since = None
            return False
        if self._clear_since is None:
            self._clear_since = s.t
        return s.t - self._clear_since >= self._set.hop_s
