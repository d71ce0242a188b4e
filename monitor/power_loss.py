"""Power lost or failing: judged by rpm and manifold pressure against the levers and the engine's own best.

The pilot's hand is no fault: while a lever has moved, nothing is lost. An engine is compared with its own best of this
takeoff, since rpm of one type ranges over 200 rev/min (measured on recorded training flights).
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from math import inf

from monitor.agenda import Agenda, Hold
from monitor.aircraft import Aircraft
from monitor.atmosphere import pressure_inhg
from monitor.conditions import LEVER_CLOSED
from monitor.judge import Judge
from monitor.settings import Settings
from monitor.state import State

RICH_LEAK_A_SECOND = 0.0003  # model engines, full rich at 6,500 to 7,000 ft, lose 0.03 to 0.1 % of their rpm a second
BACK_PART, BACK_S = 0.9, 3.0  # of its best, for so long: an engine that coughed is back (common practice, no source)
SLOW_HAND_S = 2.0  # a throttle is closed in that time, and an engine that fails has fallen (common practice, no source)
FALLS_OVER_S, FALLS_PART = 0.4, 0.06  # rpm that falls by more than this still falls, 15 % a second
MOST_CLIMB_FT_S = 1000.0 / 60.0  # hardly any trainer climbs faster (common practice, no source)
SLOW_S = 0.5  # with samples further apart a best is what two of them show, lest one damaged value be it
RICH_ABOVE_FT = 3500.0  # the lean height, before that shows
THIN_AIR_PART = 1.6  # of the loss that counts, there: power fades with the air and with a mixture not followed up


class PowerLoss:
    """Watches for a loss of power or an engine failure, once power has been judged good."""

    __slots__ = (
        "_aircraft", "_aloft_t", "_back_hold", "_best_ias", "_best_level", "_best_ratio",
        "_failure_hold", "_fixed", "_highest", "_judge", "_least_left", "_lever", "_lever_t", "_loss_hold",
        "_pressure_failure_hold", "_pressure_loss_hold", "_propeller", "_proven_ratio", "_proven_rpm", "_ratio",
        "_s", "_second", "_set", "_smooth", "best_rpm", "is_set", "maybe_off",
    )  # fmt: skip

    def __init__(self, state: State, aircraft: Aircraft, settings: Settings, agenda: Agenda, judge: Judge) -> None:
        self._s = state
        self._aircraft = aircraft
        self._fixed = aircraft.propeller == "fixed"
        self._least_left = 1.0 - settings.engine_failure_part  # with more of it left no drop is sudden
        self._set = settings
        self._judge = judge
        self._loss_hold = Hold(agenda, settings.power_loss_hold_s, self._lost)
        self._pressure_loss_hold = Hold(agenda, settings.power_loss_hold_s, self._pressure_lost)
        self._failure_hold = Hold(agenda, 0.0, self._failed)
        self._pressure_failure_hold = Hold(agenda, settings.engine_failure_hold_s, self._cue("engine-failure"))
        self._back_hold = Hold(agenda, BACK_S, lambda t: judge.engine_is_back())
        self.maybe_off = False
        self.is_set = False
        self.begin_loss()

    def begin_loss(self) -> None:
        """A takeoff begins."""
        for hold in (
            self._loss_hold, self._pressure_loss_hold, self._failure_hold, self._pressure_failure_hold,
            self._back_hold,
        ):  # fmt: skip
            hold.clear()
        self.best_rpm: float | None = None
        self._best_ias = 0.0
        self._best_level: float | None = None
        self._best_ratio: float | None = None
        self._ratio: float | None = None
        self._lever: float | None = None
        self._lever_t = 0.0
        self._propeller: float | None = None
        self._second: deque[tuple[float, float | None, float | None]] = deque()
        self._smooth: float | None = None
        self._proven_rpm = self._proven_ratio = 0.0  # the best of the takeoff, whatever the levers did since
        self._highest = 0.0
        self._aloft_t: float | None = None

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

    def _pressure_low(self) -> bool:
        """A governed engine breathes less than ambient pressure allows."""
        sample = self._s.sample
        pressure, altitude = sample.manifold_pressure_inhg, sample.altitude_ft
        if pressure is None or altitude is None or self._fixed:
            return False
        return pressure < pressure_inhg(altitude) - self._set.manifold_pressure_margin_inhg

    def _keep_second(self) -> None:
        """The last second of rpm and manifold pressure; two samples at least."""
        s, second = self._s, self._second
        second.append((s.t, s.sample.rpm, s.sample.manifold_pressure_inhg))
        while len(second) > 2 and s.t - second[1][0] >= 1.0:
            second.popleft()

    def _once_more(self, hold: Hold, true: bool) -> None:
        """Keep a hold from this sample on, once a second sample agrees."""
        if true:
            self._begin_once_more(hold, self._s.t)
        elif hold.since is not None:
            hold.clear()

    def _begin_once_more(self, hold: Hold, onset: float) -> None:
        hold.begin_agreed(onset, self._s.t, self._s.dt)

    def _begin_failure(self, onset: float) -> None:
        """A sudden drop counts once it has lasted, and at least one more sample says so: a spike is no failure."""
        hold, s = self._failure_hold, self._s
        lever = s.sample.throttle is not None
        hold.hold_s = self._set.engine_failure_hold_s if lever else self._set.no_lever_failure_hold_s
        if "rpm" in s.confirmed:  # the sample before said so too, and was held back
            hold.begin(onset)
        hold.begin_agreed(onset, s.t, s.dt)

    def _watch_loss(self, in_air: bool) -> None:
        s = self._s
        sample = s.sample
        rpm, pressure = sample.rpm, sample.manifold_pressure_inhg
        if in_air and self._aloft_t is None:
            self._aloft_t = s.t
        # Where no height is known, as high as it may be by now.
        height = s.height if s.height is not None else MOST_CLIMB_FT_S * (s.t - (self._aloft_t or s.t))
        if height > self._highest:
            self._highest = height
        # An engine at idle runs down as the aeroplane slows.
        closed = sample.throttle is not None and sample.throttle <= LEVER_CLOSED
        if not self.is_set or self._lever_moved(sample.throttle, sample.propeller) or closed:
            self._loss_hold.clear()
            self._pressure_loss_hold.clear()
            if self.is_set:  # what the engine still does of the lever's doing is no fault later on
                self._failure_hold.clear()
                self._pressure_failure_hold.clear()
                while len(self._second) > 1:
                    self._second.popleft()
            return
        if rpm is not None:
            self._watch_rpm(rpm, in_air)
        if pressure is not None and not self._fixed:
            self._watch_pressure(pressure, in_air)
        if self._judge.engine_failed:
            self._back_hold.update(self._as_before(BACK_PART), s.t)

    def _as_before(self, part: float) -> bool:
        """The engine turns, and breathes, nearly (to this part) as at its best before any lever was moved."""
        rpm, pressure = self._s.sample.rpm, self._s.sample.manifold_pressure_inhg
        if rpm is None and pressure is None:
            return False
        if rpm is not None and rpm < part * self._proven_rpm:
            return False
        return pressure is None or self._fixed or (self._ratio or 0.0) >= part * self._proven_ratio

    def _lever_moved(self, throttle: float | None, propeller: float | None) -> bool:
        """A lever has moved in the last 2 s, or two slow samples; the best so far then counts no more."""
        s = self._s
        lever, prop = self._lever, self._propeller
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
        return self._lever_t > 0.0 and s.t - self._lever_t < max(2.0, 2.2 * s.dt)

    def _watch_rpm(self, rpm: float, in_air: bool) -> None:
        s, set_ = self._s, self._set
        red = self._aircraft.rpm_red_line
        if red is not None and rpm > 1.25 * red:
            return  # no engine does that: a damaged value, whatever it stands for
        self._smooth = (
            rpm if self._smooth is None else self._smooth + (s.dt if s.dt < 1.0 else 1.0) * (rpm - self._smooth)
        )
        ias = s.ias if s.ias is not None else s.v if s.v is not None else self._best_ias
        if in_air and self._fixed and self.best_rpm is not None and self._too_rich():
            self.best_rpm *= 1.0 - RICH_LEAK_A_SECOND * min(s.dt, 1.0)
        before = s.prev.rpm
        shown = self._smooth if s.dt < SLOW_S or before is None else min(self._smooth, rpm, before)
        if self.best_rpm is None or shown > self.best_rpm:
            self.best_rpm, self._best_ias, self._best_level = shown, ias, s.level
            self._proven_rpm = max(self._proven_rpm, shown if red is None else min(shown, red))
        expected = self.best_rpm if red is None else min(self.best_rpm, red)  # an overspeed is no best
        if self._fixed:
            # A fixed-pitch propeller turns slower at less airspeed; the slope is a bound, not an estimate.
            expected -= set_.rpm_slope_per_kt * max(0.0, self._best_ias - ias)
            # And slower in thinner air.
            if s.level is not None and self._best_level is not None:
                climbed = max(0.0, s.level - self._best_level - set_.turn_height_ft)
                expected *= 1.0 - set_.rpm_lapse_per_1000_ft * climbed / 1000.0
        before = self._second[0][1]
        sudden = before is not None and self._sudden(before, rpm)
        if before is not None and (sudden or self._failure_hold.since is not None) and rpm < 0.88 * expected:
            self._failing(before, rpm, in_air)  # the second time, of slow data, it need not have fallen further
        elif self._failure_hold.since is not None and rpm > 0.9 * expected:
            self._failure_hold.clear()
        thin = in_air and self._fixed and s.sample.altitude_ft is not None and self._high_up()
        part = set_.power_loss_part * (THIN_AIR_PART if thin else 1.0)
        limit = expected * (1.0 - part)
        if rpm < limit and self._loss_can_be_told(in_air):
            self._begin_once_more(self._loss_hold, s.crossing(s.prev.rpm, rpm, limit))
        elif self._loss_hold.since is not None and rpm > expected * (1.0 - 0.8 * part):
            self._loss_hold.clear()

    def _sudden(self, before: float, now: float) -> bool:
        """So much is gone since the oldest value at hand that it is a failure: with slow data that is over a second
        old, and a part of the power lost in it may look like all of it lost in one."""
        if now > before * self._least_left:
            return False
        longer_s = self._s.t - self._second[0][0] - 1.0
        part = self._set.engine_failure_part * (1.0 + min(max(0.3 * longer_s, 0.0), 0.4))
        return now <= before * (1.0 - part)

    def _too_rich(self) -> bool:
        """Mixture full rich far above the lean height: power fades as it climbs, by the pilot's hand."""
        mixture = self._s.sample.mixture
        return self._high_up() and (mixture is None or mixture >= self._set.mixture_rich)

    def _high_up(self) -> bool:
        """Far above the lean height, or perhaps so: where not known."""
        altitude, lean_ft = self._s.sample.altitude_ft, self._aircraft.lean_height_ft
        lean_ft = self._set.lean_height_ft if lean_ft is None else lean_ft
        return altitude is None or altitude > lean_ft + RICH_ABOVE_FT

    def _failing(self, before: float, rpm: float, in_air: bool) -> None:
        """A sudden drop. Without a lever channel a closing throttle looks alike, but falls further; just off the ground
        nobody closes it."""
        s = self._s
        hold = self._failure_hold
        if s.sample.throttle is None:
            if in_air and self._highest > self._set.no_lever_failure_height_ft:
                return
            if self._closed(rpm) and not in_air:
                hold.clear()
                hold.fired = True  # the throttle was closed: not a failure, now or a moment later
                hold.since = s.t
                return
        self._begin_failure(self._dropped_t(before, rpm))

    def _dropped_t(self, before: float, rpm: float) -> float:
        """When it went through the limit; of a drop too great to be believed at once, when it first showed."""
        s = self._s
        if "rpm" in s.confirmed:
            return s.prev_t
        return s.crossing(s.prev.rpm, rpm, before * (1.0 - self._set.engine_failure_part))

    def slows(self) -> None:
        """The roll ends by slowing: with the lever full, that is a second sign of a failure that waits for one."""
        lever = self._s.sample.throttle
        if lever is None or lever < self._set.full_throttle:
            return
        for hold in (self._failure_hold, self._pressure_failure_hold):
            if hold.since is not None and not hold.fired:
                hold.clear()
                self._cue("engine-failure")(self._s.t)

    def _failed(self, t: float) -> None:
        """It has lasted. Without a lever channel and still falling, it may be a throttle closed by a slow hand: where
        that ends is waited for."""
        hold, s = self._failure_hold, self._s
        may_be = s.sample.throttle is None and (s.dt < SLOW_S or self._judge.zone != "air")
        slow_hand = may_be and hold.since is not None and t < hold.since + SLOW_HAND_S + s.dt
        if slow_hand and self._still_falls():
            hold.fired = False
            hold.schedule(t + FALLS_OVER_S)
            return
        self._cue("engine-failure")(t)

    def _still_falls(self) -> bool:
        now = self._s.sample.rpm
        for t, rpm, _ in reversed(self._second):
            over_s = self._s.t - t
            if over_s >= FALLS_OVER_S:
                part = FALLS_PART * min(over_s / FALLS_OVER_S, 3.0)
                return rpm is not None and now is not None and now < rpm * (1.0 - part)
        return False

    def _closed(self, rpm: float) -> bool:
        """Without a lever channel: rpm or manifold pressure of a closed throttle."""
        sample = self._s.sample
        return rpm < 0.55 * (self.best_rpm or rpm) or throttle_closed(sample.manifold_pressure_inhg, sample.altitude_ft)

    def _loss_can_be_told(self, in_air: bool) -> bool:
        """Whether less rpm can only mean less power."""
        s = self._s
        sample = s.sample
        if sample.throttle is not None and sample.throttle < self._set.power_set_throttle:
            return False
        if not in_air:
            return True
        slow_climb = s.climb_fpm is not None and s.climb_fpm < self._set.cannot_climb_fpm + 100.0
        if sample.throttle is None:
            low = self._highest < self._set.turn_height_ft
            slowing = s.ias is not None and s.ias_trend.rate < 0.0
            return slow_climb and low and slowing
        # With a governor and no propeller lever in the data, a pilot setting climb rpm looks like a loss.
        return self._fixed or sample.propeller is not None or (s.height or 0.0) < 500.0 or slow_climb

    def _watch_pressure(self, pressure: float, in_air: bool) -> None:
        s, set_ = self._s, self._set
        altitude = s.sample.altitude_ft
        if altitude is None:
            if "altitude_ft" in s.seen:
                return  # it was set aside: ambient pressure is no longer known
            altitude = s.height or 0.0
        ambient = pressure_inhg(altitude)
        now = pressure / ambient
        ratio = self._ratio = (
            now if self._ratio is None else self._ratio + (s.dt if s.dt < 1.0 else 1.0) * (now - self._ratio)
        )
        if self._best_ratio is None or ratio > self._best_ratio:
            self._best_ratio = ratio
            self._proven_ratio = max(self._proven_ratio, ratio)
        before = self._second[0][2]
        fell = before is not None and self._sudden(before, pressure)
        fell = fell or (self._pressure_failure_hold.since is not None and now < 0.88 * self._best_ratio)
        if fell and s.sample.throttle is not None:  # a closed throttle without a lever channel looks the same
            self._pressure_failure_hold.begin_agreed(s.t, s.t, s.dt)
        elif self._pressure_failure_hold.since is not None and now > 0.9 * self._best_ratio:
            self._pressure_failure_hold.clear()
        limit = self._best_ratio * (1.0 - set_.power_loss_part)
        low = now < limit and self._loss_can_be_told(in_air)
        if low or now > self._best_ratio * (1.0 - 0.8 * set_.power_loss_part):
            self._once_more(self._pressure_loss_hold, low)

    def _lost(self, t: float) -> None:
        """5 % down for a second. While it still falls fast it may be a failure: that is told apart first."""
        before, now = self._second[0][1], self._s.sample.rpm
        hold = self._loss_hold
        if self._s.sample.throttle is None and hold.since is not None:
            # A closing throttle begins like this too: wait for a sample that shows where it ends.
            if self._s.t < hold.since + 0.7 * hold.hold_s and t < hold.since + 3.0 * hold.hold_s:
                hold.fired = False
                hold.schedule(t + 0.5)
                return
            if now is not None and (self._closed(now) or (before is not None and now < 0.97 * before)):
                hold.clear()
                return
        falling = before is not None and now is not None and now < before * (1.0 - 0.5 * self._set.engine_failure_part)
        if falling and self._loss_hold.since is not None and t - self._loss_hold.since < self._loss_hold.hold_s + 0.6:
            self._loss_hold.fired = False
            self._loss_hold.schedule(t + 0.2)
            return
        if self._failure_hold.fired:
            return
        if self._failure_hold.due < inf:  # it looks like a failure, and waits for one more sample to say so
            self._loss_hold.fired = False
            self._loss_hold.schedule(self._failure_hold.due + 0.01)
            return
        failed = now is not None and self.best_rpm is not None and now < 0.75 * self.best_rpm
        self._cue("engine-failure" if failed else "power-loss")(t)

    def _pressure_lost(self, t: float) -> None:
        """The same by manifold pressure; without a lever channel, unless it is the pressure of a closed throttle."""
        sample, hold = self._s.sample, self._pressure_loss_hold
        if sample.throttle is None and hold.since is not None:
            if self._s.t < hold.since + 0.7 * hold.hold_s and t < hold.since + 3.0 * hold.hold_s:
                hold.fired = False
                hold.schedule(t + 0.5)
                return
            if throttle_closed(sample.manifold_pressure_inhg, sample.altitude_ft):
                return
        self._cue("power-loss")(t)


def throttle_closed(pressure_inhg_now: float | None, altitude_ft: float | None) -> bool:
    """Manifold pressure of a closed throttle: far below ambient, where no sick engine at full throttle has it."""
    return pressure_inhg_now is not None and pressure_inhg_now < 0.65 * pressure_inhg(altitude_ft or 0.0)
