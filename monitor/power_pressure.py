"""Power lost by manifold pressure; and whether what was lost, by this gauge or by rpm, is lost still."""

from __future__ import annotations

from collections.abc import Callable
from math import inf

from monitor.agenda import Agenda, Hold
from monitor.aircraft import Aircraft
from monitor.atmosphere import pressure_inhg
from monitor.judge import Judge
from monitor.power_levers import FAILING_PART, MOVES_INHG, PowerLevers, throttle_closed
from monitor.settings import Settings
from monitor.state import State

BACK_PART = 0.9  # of its best: an engine that coughed is back (common practice, no source)
STILL_FILLS_S = 4.0  # at the pace of the last second (common practice, no source)
JUST_OFF_S = 1.0  # common practice, no source
SLOWEST_HAND_S = 5.0  # in which a throttle is closed (common practice, no source)


class PowerPressure(PowerLevers):
    """Watches the manifold pressure of a governed engine, as a part of ambient pressure."""

    __slots__ = (
        "_aircraft", "_aloft_t", "_calm_inhg", "_judge", "_pressure_failure_hold", "_pressure_loss_hold",
        "_proven_ratio", "_proven_rpm", "maybe_off",
    )  # fmt: skip

    def __init__(self, state: State, aircraft: Aircraft, settings: Settings, agenda: Agenda, judge: Judge) -> None:
        super().__init__(state, aircraft, settings)
        self._aircraft = aircraft
        self._judge = judge
        self._pressure_loss_hold = Hold(agenda, settings.power_loss_hold_s, self._pressure_lost)
        self._pressure_failure_hold = Hold(agenda, settings.engine_failure_hold_s, self._cue("engine-failure"))
        self.maybe_off = False
        self.begin_pressure()

    def begin_pressure(self) -> None:
        """A takeoff begins."""
        self.begin_levers()
        for hold in (self._pressure_loss_hold, self._pressure_failure_hold):
            hold.clear()
        self._calm_inhg = 0.0
        self._aloft_t: float | None = None
        self._proven_rpm = self._proven_ratio = 0.0  # the best of the takeoff, whatever the levers did since

    def _cue(self, reason: str) -> Callable[[float], None]:
        return lambda t: self._judge.cue(reason, t, lambda: self._still(reason), self.maybe_off)

    def _still(self, reason: str) -> bool:
        """What was lost is lost still."""
        if reason == "rpm-low":
            rpm, least = self._s.sample.rpm, self._aircraft.rpm_takeoff_min
            return rpm is None or least is None or rpm < least
        if reason == "manifold-pressure-low" and self._pressure_low():
            return True
        return not self._as_before(BACK_PART if reason == "engine-failure" else 1.0 - self._set.power_loss_part)

    def _as_before(self, part: float) -> bool:
        """The engine turns, and breathes, nearly (to this part) as at its best before any lever was moved."""
        rpm, pressure = self._s.sample.rpm, self._s.sample.manifold_pressure_inhg
        if rpm is None and pressure is None:
            return False
        if rpm is not None and rpm < part * self._proven_rpm:
            return False
        return pressure is None or self._fixed or (self._ratio or 0.0) >= part * self._proven_ratio

    def _pressure_low(self) -> bool:
        """A governed engine breathes less than ambient pressure allows."""
        return self._pressure_short_inhg() > 0.0

    def _pressure_short_inhg(self) -> float:
        """By how much; less than 0 where it is enough, or not known."""
        pressure, altitude = self._s.sample.manifold_pressure_inhg, self._s.altitude_ft
        if pressure is None or altitude is None or self._fixed:
            return -inf
        return pressure_inhg(altitude) - self._set.manifold_pressure_margin_inhg - pressure

    def _filling(self) -> bool:
        """Manifold pressure still rises after the throttle was opened, so that it will soon be enough."""
        gained = self._pressure_gained_inhg()
        over_s = max(self._s.t - self._second[0][0], 1.0) if self._second else 1.0
        return gained > MOVES_INHG and STILL_FILLS_S * gained / over_s > self._pressure_short_inhg()

    def _watch_pressure(self, pressure: float, in_air: bool) -> bool:
        """One look at the manifold pressure; whether all is well: then it is until it falls below `_calm_inhg`."""
        s, set_ = self._s, self._set
        altitude = s.sample.altitude_ft
        if altitude is None:
            if s.altitude_seen:
                return False  # it was set aside: ambient pressure is no longer known
            altitude = s.height or 0.0
        ambient = pressure_inhg(altitude)
        now = pressure / ambient
        ratio = self._ratio
        ratio = self._ratio = now if ratio is None else ratio + self._look_s * (now - ratio)
        if self._best_ratio is None or ratio > self._best_ratio:
            self._best_ratio = ratio
            self._proven_ratio = max(self._proven_ratio, ratio)
        before = self._second[0][2]
        fell = before is not None and pressure <= before * self._least_left and self._sudden(before, pressure)
        failure, loss = self._pressure_failure_hold, self._pressure_loss_hold
        good = self._good_part * self._best_ratio
        if now >= good and not fell and failure.since is None and loss.since is None:
            self._calm_inhg = good * ambient
            return True  # as at nearly every sample
        waits = failure.since is not None or (in_air and self._just_off())
        fell = fell or (waits and now < FAILING_PART * self._best_ratio)
        if fell and (s.sample.throttle is not None or self._not_by_hand(in_air)):
            failure.begin_agreed(s.t, s.t, s.dt)
        elif failure.since is not None and now > 0.9 * self._best_ratio:
            failure.clear()
        limit = self._best_ratio * (1.0 - set_.power_loss_part)
        if now < limit and self._loss_can_be_told(in_air, by_pressure=True):
            self._begin_once_more(loss, s.t)
        elif loss.since is not None and now > self._best_ratio * (1.0 - 0.8 * set_.power_loss_part):
            loss.clear()
        return False

    def _just_off(self) -> bool:
        """The first second off the ground, or sample: what failed before it was certain, and without a lever channel
        was taken for the pilot's hand, is older than the second in which a failure shows."""
        since, s = self._aloft_t, self._s
        return since is not None and s.sample.throttle is None and s.t - since <= max(JUST_OFF_S, 1.5 * s.dt)

    def _not_by_hand(self, in_air: bool) -> bool:
        """Without a lever channel: just off the ground nobody closes the throttle, but for practice."""
        sample = self._s.sample
        low = in_air and self._highest <= self._set.no_lever_failure_height_ft
        return low and throttle_closed(sample.manifold_pressure_inhg, sample.altitude_ft)

    def _pressure_lost(self, t: float) -> None:
        """The same by manifold pressure; without a lever channel, unless it is the pressure of a closed throttle."""
        sample, hold = self._s.sample, self._pressure_loss_hold
        if sample.throttle is None and hold.since is not None:
            if self._s.t < hold.since + 0.7 * hold.hold_s and t < hold.since + 3.0 * hold.hold_s:
                hold.again(t + 0.5)
                return
            if throttle_closed(sample.manifold_pressure_inhg, sample.altitude_ft):
                return
            if self._draining() and t < hold.since + SLOWEST_HAND_S:
                hold.again(t + 0.5)
                return
        self._cue("power-loss")(t)
