"""Power lost or failing: judged by rpm against the levers and the engine's own best.

By manifold pressure it is judged in `monitor.power_pressure`; the levers are watched in `monitor.power_levers`.
The pilot's hand is no fault: while a lever has moved, nothing is lost. An engine is compared with its own best of this
takeoff, since rpm of one type ranges over 200 rev/min (measured on recorded training flights).
"""

from __future__ import annotations

from math import inf

from monitor.agenda import Agenda, Hold
from monitor.aircraft import Aircraft
from monitor.conditions_before import LEVER_CLOSED
from monitor.judge import Judge
from monitor.power_levers import FAILING_PART
from monitor.power_pressure import BACK_PART, PowerPressure
from monitor.settings import Settings
from monitor.state import State
from monitor.timeline import OFTEN_S

RICH_LEAK_A_SECOND = 0.0003  # model engines, full rich at 6,500 to 7,000 ft, lose 0.03 to 0.1 % of their rpm a second
BACK_S = 3.0  # for so long as before: an engine that coughed is back (common practice, no source)
SINKS_S, SINKS_FPM = 2.0, 100.0  # of energy: it will not climb away (common practice, no source)
SLOW_HAND_S = 2.0  # a throttle is closed in that time, and an engine that fails has fallen (common practice, no source)
FALLS_OVER_S, FALLS_PART = 0.4, 0.06  # rpm that falls by more than this still falls, 15 % a second
MOST_CLIMB_FT_S = 1000.0 / 60.0  # hardly any trainer climbs faster (common practice, no source)
SLOW_S = 0.5  # with samples further apart a best is what two of them show, lest one damaged value be it
RICH_ABOVE_FT = 3500.0  # the lean height, before that shows
RISES_RPM_S = 20.0  # a best rises no faster: an overspeed for 3 s is no best (common practice, no source)
GOVERNED_PART = 0.97  # what the profile calls the least of a governed propeller
THIN_AIR_PART = 1.3  # of the loss that counts, there: power fades with the air and with a mixture not followed up


class PowerLoss(PowerPressure):
    """Watches for a loss of power or an engine failure, once power has been judged good."""

    __slots__ = (
        "_back_hold", "_best_ias", "_best_level", "_calm_rpm", "_calm_until", "_failure_hold",
        "_looked_t", "_loss_hold", "_sinks_hold", "is_set",
    )  # fmt: skip

    def __init__(self, state: State, aircraft: Aircraft, settings: Settings, agenda: Agenda, judge: Judge) -> None:
        super().__init__(state, aircraft, settings, agenda, judge)
        self._loss_hold = Hold(agenda, settings.power_loss_hold_s, self._lost)
        self._failure_hold = Hold(agenda, 0.0, self._failed)
        self._back_hold = Hold(agenda, BACK_S, lambda t: judge.engine_is_back())
        self._sinks_hold = Hold(agenda, SINKS_S, judge.cannot_climb)
        self.is_set = False
        self.begin_loss()

    def begin_loss(self) -> None:
        """A takeoff begins."""
        self.begin_pressure()
        for hold in (self._loss_hold, self._failure_hold, self._back_hold, self._sinks_hold):
            hold.clear()
        self._best_ias = 0.0
        self._best_level: float | None = None
        self._looked_t = self._calm_until = -inf
        self._calm_rpm = 0.0

    def _begin_failure(self, onset: float) -> None:
        """A sudden drop counts once it has lasted, and at least one more sample says so: a spike is no failure."""
        hold, s = self._failure_hold, self._s
        lever = s.sample.throttle is not None
        hold.hold_s = self._set.engine_failure_hold_s if lever else self._set.no_lever_failure_hold_s
        if "rpm" in s.confirmed:  # the sample before said so too, and was held back
            hold.begin(onset)
        hold.begin_agreed(onset, s.t, s.dt)

    def _watch_loss(self, in_air: bool) -> None:
        s, set_ = self._s, self._set
        sample = s.sample
        since_s = s.t - self._looked_t
        self._looked_t = s.t
        self._look_s = min(since_s if since_s < 2.0 * OFTEN_S else s.dt, 1.0)
        self._calm_until = -inf
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
            for hold in (self._loss_hold, self._pressure_loss_hold, self._sinks_hold):
                hold.clear()
            if self.is_set:  # what the engine still does of the lever's doing is no fault later on
                self._failure_hold.clear()
                self._pressure_failure_hold.clear()
                while len(self._second) > 1:
                    self._second.popleft()
            return
        well = self._watch_rpm(rpm, in_air) if rpm is not None else True
        if pressure is not None and not self._fixed:
            well = self._watch_pressure(pressure, in_air) and well
        if in_air and (self._sinks_hold.since is not None or self._judge.told("power-loss")):
            energy = s.energy_fpm
            low = height < set_.land_ahead_high_ft
            self._sinks_hold.update(energy is not None and energy < -SINKS_FPM and low, s.t)
        if self._judge.engine_failed:
            self._back_hold.update(self._as_before(BACK_PART), s.t)
        elif well and in_air and self._sinks_hold.since is None:
            self._calm_until = s.t + OFTEN_S

    def _watch_rpm(self, rpm: float, in_air: bool) -> bool:
        """One look at the rpm; whether all is well: then it is until it falls below `_calm_rpm`."""
        s, set_ = self._s, self._set
        red = self._aircraft.rpm_red_line
        if red is not None and rpm > 1.25 * red:
            return False  # no engine does that: a damaged value, whatever it stands for
        smooth = self._smooth
        smooth = self._smooth = rpm if smooth is None else smooth + self._look_s * (rpm - smooth)
        ias = s.ias if s.ias is not None else s.v if s.v is not None else self._best_ias
        if in_air and self._fixed and self.best_rpm is not None and self._too_rich():
            self.best_rpm *= 1.0 - RICH_LEAK_A_SECOND * self._look_s
        before = s.prev.rpm
        shown = smooth if s.dt < SLOW_S or before is None else min(smooth, rpm, before)
        if self.best_rpm is None or shown > self.best_rpm:
            best = self.best_rpm = self._held_rpm(shown, ias)
            self._best_ias, self._best_level = ias, s.level
            self._proven_rpm = max(self._proven_rpm, best if red is None else min(best, red))
        expected = self.best_rpm if red is None or self.best_rpm < red else red  # an overspeed is no best
        if self._fixed:
            # A fixed-pitch propeller turns slower at less airspeed; the slope is a bound, not an estimate.
            expected -= set_.rpm_slope_per_kt * max(0.0, self._best_ias - ias)
            # And slower in thinner air.
            if s.level is not None and self._best_level is not None:
                climbed = max(0.0, s.level - self._best_level - set_.turn_height_ft)
                expected *= 1.0 - set_.rpm_lapse_per_1000_ft * climbed / 1000.0
        good = self._good_part * expected
        if rpm >= good and self._failure_hold.since is None and self._loss_hold.since is None:
            self._calm_rpm = good
            return True  # as at nearly every sample
        before = self._second[0][1]
        sudden = before is not None and rpm <= before * self._least_left and self._sudden(before, rpm)
        if before is not None and (sudden or self._failure_hold.since is not None) and rpm < FAILING_PART * expected:
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
        return False

    def _first_best(self) -> None:
        """Power has just been judged good: what the gauges show now is the first best, lest an engine that fails, or a
        throttle that is closed, with the next sample be held against that one."""
        sample = self._s.sample
        if self._judge.zone == "air":
            return
        if sample.rpm is not None:
            self._watch_rpm(sample.rpm, in_air=False)
        if sample.manifold_pressure_inhg is not None and not self._fixed:
            self._watch_pressure(sample.manifold_pressure_inhg, in_air=False)

    def _held_rpm(self, shown: float, ias: float) -> float:
        """What of a new best counts: an excess that comes and goes is none, nor is what a governor overshoots by.

        Free are what the profile calls the least (of a governed propeller the rpm it is governed to) and what the speed
        gained explains.
        """
        best, least = self.best_rpm, self._aircraft.rpm_takeoff_min or 0.0
        usual = least if self._fixed else least / GOVERNED_PART
        if best is None:
            return shown if self._fixed or usual == 0.0 else min(shown, usual)
        gained_kt = max(ias - self._best_ias, 0.0) if self._fixed else 0.0
        grown = best + self._set.rpm_slope_per_kt * gained_kt + RISES_RPM_S * self._look_s
        return min(shown, max(grown, usual))

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
            hold.again(t + FALLS_OVER_S)
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

    def _lost(self, t: float) -> None:
        """5 % down for a second. While it still falls fast it may be a failure: that is told apart first."""
        before, now = self._second[0][1], self._s.sample.rpm
        hold = self._loss_hold
        if self._s.sample.throttle is None and hold.since is not None:
            # A closing throttle begins like this too: wait for a sample that shows where it ends.
            if self._s.t < hold.since + 0.7 * hold.hold_s and t < hold.since + 3.0 * hold.hold_s:
                hold.again(t + 0.5)
                return
            if now is not None and (self._closed(now) or (before is not None and now < 0.97 * before)):
                hold.clear()
                return
        falling = before is not None and now is not None and now < before * (1.0 - 0.5 * self._set.engine_failure_part)
        if falling and self._loss_hold.since is not None and t - self._loss_hold.since < self._loss_hold.hold_s + 0.6:
            hold.again(t + 0.2)
            return
        if self._failure_hold.fired:
            return
        if self._failure_hold.due < inf:  # it looks like a failure, and waits for one more sample to say so
            hold.again(self._failure_hold.due + 0.01)
            return
        failed = now is not None and self.best_rpm is not None and now < 0.75 * self.best_rpm
        self._cue("engine-failure" if failed else "power-loss")(t)
