"""The pilot's hand on the levers, against what the engine showed over the last second.

While a lever has moved, nothing is lost; and where no lever is in the data, less power may be a throttle that was
closed.
"""

from __future__ import annotations

from collections import deque

from monitor.agenda import Hold
from monitor.aircraft import Aircraft
from monitor.atmosphere import pressure_inhg
from monitor.settings import Settings
from monitor.state import State

FAILING_PART = 0.88  # of the best (common practice, no source)
MOVES_INHG = 0.2  # in a second (common practice, no source)
# Of ambient pressure: with so much in the manifold the throttle is open, and fully open (common practice, no source).
OPEN_PART, FULLY_OPEN_PART = 0.85, 0.93


class PowerLevers:
    """Keeps the engine's last second and the levers; knows whether less power can be the pilot's doing."""

    __slots__ = (
        "_best_ratio", "_fixed", "_good_part", "_highest", "_least_left", "_lever", "_lever_t", "_look_s", "_propeller",
        "_ratio", "_s", "_second", "_set", "_smooth", "best_rpm",
    )  # fmt: skip

    def __init__(self, state: State, aircraft: Aircraft, settings: Settings) -> None:
        self._s = state
        self._fixed = aircraft.propeller == "fixed"
        self._least_left = 1.0 - settings.engine_failure_part  # with more of it left no drop is sudden
        self._good_part = max(1.0 - settings.power_loss_part, FAILING_PART)  # with more of it left nothing is lost
        self._set = settings
        self.begin_levers()

    def begin_levers(self) -> None:
        """A takeoff begins."""
        self.best_rpm: float | None = None
        self._best_ratio: float | None = None
        self._ratio: float | None = None
        self._lever: float | None = None
        self._lever_t = 0.0
        self._propeller: float | None = None
        self._second: deque[tuple[float, float | None, float | None]] = deque()
        self._smooth: float | None = None
        self._highest = 0.0
        self._look_s = 0.0  # since rpm and pressure were last looked at; 1 s at most

    def _keep_second(self) -> None:
        """The last second of rpm and manifold pressure; two samples at least."""
        s, second = self._s, self._second
        t, sample = s.t, s.sample
        second.append((t, sample.rpm, sample.manifold_pressure_inhg))
        while len(second) > 2 and t - second[1][0] >= 1.0:
            second.popleft()

    def _sudden(self, before: float, now: float) -> bool:
        """Less than `_least_left` is left since the oldest value at hand: whether that is a failure. With slow data it
        is over a second old, and a part of the power lost in it may look like all of it lost in one."""
        longer_s = self._s.t - self._second[0][0] - 1.0
        part = self._set.engine_failure_part * (1.0 + min(max(0.3 * longer_s, 0.0), 0.4))
        return now <= before * (1.0 - part)

    def _once_more(self, hold: Hold, true: bool) -> None:
        """Keep a hold from this sample on, once a second sample agrees."""
        if true:
            self._begin_once_more(hold, self._s.t)
        elif hold.since is not None:
            hold.clear()

    def _begin_once_more(self, hold: Hold, onset: float) -> None:
        hold.begin_agreed(onset, self._s.t, self._s.dt)

    def _lever_moved(self, throttle: float | None, propeller: float | None) -> bool:
        """A lever has moved in the last 2 s, or two slow samples; the best so far then counts no more."""
        if throttle != self._lever or propeller != self._propeller:  # as at few samples
            self._follow_levers(throttle, propeller)
        s = self._s
        return self._lever_t > 0.0 and s.t - self._lever_t < max(2.0, 2.2 * s.dt)

    def _follow_levers(self, throttle: float | None, propeller: float | None) -> None:
        s, lever, prop = self._s, self._lever, self._propeller
        moved = (throttle is not None and lever is not None and throttle < lever - 0.03) or (
            propeller is not None and prop is not None and abs(propeller - prop) > 0.03
        )
        if moved:
            self._lever_t = s.t
            self.best_rpm = self._best_ratio = self._smooth = self._ratio = None
            self._second.clear()
            self._second.append((s.t, s.sample.rpm, s.sample.manifold_pressure_inhg))
        if moved or lever is None or (throttle is not None and throttle > lever):
            self._lever = throttle
        if moved or prop is None:
            self._propeller = propeller

    def _closed(self, rpm: float) -> bool:
        """Without a lever channel: rpm or manifold pressure of a closed throttle. At nearly ambient pressure it is
        open, whatever the rpm."""
        pressure, altitude_ft = self._s.sample.manifold_pressure_inhg, self._s.sample.altitude_ft
        if throttle_closed(pressure, altitude_ft):
            return True
        return rpm < 0.55 * (self.best_rpm or rpm) and not self._open(OPEN_PART)

    def _open(self, part: float) -> bool:
        """Manifold pressure nearly ambient, to this part: the throttle is open."""
        pressure, altitude_ft = self._s.sample.manifold_pressure_inhg, self._s.sample.altitude_ft
        return pressure is not None and pressure > part * pressure_inhg(altitude_ft or 0.0)

    def _pressure_gained_inhg(self) -> float:
        """What manifold pressure has gained within the last second; 0 where that is not known."""
        before, pressure = self._second[0][2] if self._second else None, self._s.sample.manifold_pressure_inhg
        return 0.0 if before is None or pressure is None else pressure - before

    def _draining(self) -> bool:
        """It still falls, as while a slow hand closes the throttle."""
        return self._pressure_gained_inhg() < -MOVES_INHG

    def _loss_can_be_told(self, in_air: bool, by_pressure: bool = False) -> bool:
        """Whether less rpm, or less manifold pressure, can only mean less power."""
        s = self._s
        sample = s.sample
        if sample.throttle is not None and sample.throttle < self._set.power_set_throttle:
            return False
        if not in_air:
            return True
        slow_climb = s.climb_fpm is not None and s.climb_fpm < self._set.cannot_climb_fpm + 100.0
        if sample.throttle is None and not (self._fixed and self._open(FULLY_OPEN_PART)):
            low = self._highest < self._set.turn_height_ft
            slowing = s.ias is not None and s.ias_trend.rate < 0.0
            return slow_climb and low and slowing
        # With a governor and no propeller lever in the data, a pilot setting climb rpm looks like a loss; but that
        # raises the pressure.
        return by_pressure or self._fixed or sample.propeller is not None or (s.height or 0.0) < 500.0 or slow_climb


def throttle_closed(pressure_inhg_now: float | None, altitude_ft: float | None) -> bool:
    """Manifold pressure of a closed throttle: far below ambient, where no sick engine at full throttle has it."""
    return pressure_inhg_now is not None and pressure_inhg_now < 0.65 * pressure_inhg(altitude_ft or 0.0)
