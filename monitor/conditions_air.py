"""The conditions in the air: touchdown, the end of the initial climb, the end of the climb."""

from __future__ import annotations

from functools import partial
from math import inf

from monitor.settings import Settings
from monitor.state import State
from monitor.timeline import OFTEN_S
from monitor.touchdown import Touchdown

CIRCUIT_FT, DESCENT_FT = 700.0, 300.0  # above the field, and down from there (common practice, no source)


class AirConditions:
    """Watches a flight; `keep_climb` every `OFTEN_S` in it, then the phase's conditions are asked."""

    __slots__ = (
        "_climb_best", "_climb_kt", "_climb_slow", "_flat_since", "_highest_ft", "_kept_t", "_level_noticed_t",
        "_power_best", "_s", "_set", "_sinking_since", "_throttle_full", "_vr", "level_since",
        "touchdown", "touches_down",
    )  # fmt: skip

    def __init__(self, state: State, settings: Settings, rotate_kt: float, climb_kt: float) -> None:
        self._s = state
        self._set = settings
        self._vr = rotate_kt
        self._climb_kt = climb_kt
        self.touchdown = Touchdown(settings, rotate_kt)
        self.touches_down = partial(self.touchdown.update, state)  # the condition: the wheels are on the ground again
        self.restart_air()

    def restart_air(self) -> None:
        """Start over, as after a jump of the clock."""
        self.touchdown.reset()
        self.level_since: float | None = None  # where the climb fell off, told only once it shows
        self._level_noticed_t = 0.0
        self._flat_since: float | None = None
        self._sinking_since: float | None = None
        self._throttle_full = 0.0
        self._power_best = 0.0
        self._climb_slow = self._climb_best = 0.0
        self._highest_ft = 0.0
        self._kept_t = -inf

    def begin_flight(self) -> None:
        """Off the ground: watch for its end."""
        self.restart_air()
        self._keep_most_power()

    def climbs_away(self) -> float | None:
        """1,000 ft above the field, the first power reduction above 500 ft, or levelling off."""
        s = self._s
        height = s.height
        if height is None:
            return None
        thousand = 1000.0 + (s.zero_ft or 0.0)
        if s.level_now >= thousand:
            return s.rose_through(s.prev_level, s.level_now, thousand)
        reduced = self.power_reduced() if height > 500.0 else None
        if reduced is not None:
            return reduced
        if self._highest_ft >= CIRCUIT_FT and self._descends():
            return s.t
        return None if self.level_since is None else self.levelled()

    def _descends(self) -> bool:
        """Well on the way down from a height at which circuits are flown, whatever else was seen of it."""
        height = self._s.height
        return height is not None and self._highest_ft >= CIRCUIT_FT and height <= self._highest_ft - DESCENT_FT

    def power_reduced(self) -> float | None:
        """When the pilot took off 10 % of the power or more; None while it is on."""
        s = self._s
        throttle = s.sample.throttle
        if throttle is not None:
            limit = self._throttle_full - 0.1
            return None if throttle > limit else s.crossing(s.prev.throttle, throttle, limit)
        power, best = self._power_shown(), self._power_best
        return s.t if power is not None and 0.55 * best < power < 0.9 * best else None

    def _power_shown(self) -> float | None:
        """What stands for the power where the throttle is not sent: manifold pressure, or rpm."""
        pressure = self._s.sample.manifold_pressure_inhg
        return pressure if pressure is not None else self._s.sample.rpm

    def _keep_most_power(self) -> None:
        """The most there was of it, to tell a reduction by."""
        throttle = self._s.sample.throttle
        if throttle is None:
            self._power_best = max(self._power_best, self._power_shown() or 0.0)
        elif throttle > self._throttle_full:
            self._throttle_full = throttle

    def keep_climb(self) -> None:
        """The climb rate averaged over some seconds, and this climb's best."""
        s = self._s
        dt = s.t - self._kept_t
        self._kept_t = s.t
        self._keep_most_power()
        if s.climb_fpm is not None:
            self._climb_slow += min(1.0, min(dt, OFTEN_S + s.dt) / 4.0) * (s.climb_fpm - self._climb_slow)
            if self._climb_slow > self._climb_best:
                self._climb_best = self._climb_slow
            if s.climb_fpm > 0.5 * self._climb_best:
                self._flat_since = None
            elif self._flat_since is None:
                self._flat_since = s.crossing(s.prev.vertical_speed_fpm, s.climb_fpm, 0.5 * self._climb_best)
        if s.height is not None and s.height > self._highest_ft:
            self._highest_ft = s.height
        high = s.height is not None and s.height >= 300.0
        if not high or s.climb_fpm is None or not self.level() or not self._faster_or_eased():
            self.level_since = None
        elif self.level_since is None:
            self._level_noticed_t = s.t
            self.level_since = s.t if self._flat_since is None else self._flat_since

    def level(self) -> bool:
        """Flying level: little climb, and little against what this aeroplane has shown (a weak one climbs slowly)."""
        return abs(self._climb_slow) < min(150.0, 0.35 * self._climb_best)

    def _faster_or_eased(self) -> bool:
        """What levelling off brings with it: more speed, or less power. A weak climb in gusts has neither."""
        s = self._s
        return s.ias is None or s.ias_trend.value > self._climb_kt + 3.0 or self.power_reduced() is not None

    def levelled(self) -> float | None:
        """When the aeroplane levelled off, once it has been level for 5 s."""
        since = self.level_since
        return since if since is not None and self._s.t - self._level_noticed_t >= 5.0 else None

    def ends_climb(self) -> float | None:
        """Level for 15 s, or going down for 5 s: the climb is over."""
        s = self._s
        climb = s.climb_fpm
        if climb is None:
            return None
        if climb > -300.0:
            self._sinking_since = None
        elif self._sinking_since is None:
            self._sinking_since = s.t
        elif s.t - self._sinking_since >= 5.0:
            return self._sinking_since
        if self._descends():
            return s.t
        since = self.level_since
        return since if since is not None and s.t - self._level_noticed_t >= 15.0 else None
