"""The engine's power at the start of a takeoff: set or not, by throttle, rpm and manifold pressure.

A governor is slow and an intake takes time to fill: at takeoff power nothing is judged while the gauge still rises.
Throttle short of full is the pilot's doing, never low power. What comes after is judged in `monitor.power_loss`.
"""

from __future__ import annotations

from collections.abc import Callable

from monitor.acceleration import Acceleration
from monitor.agenda import Agenda, Hold
from monitor.aircraft import Aircraft
from monitor.judge import Judge
from monitor.power_levers import throttle_closed
from monitor.power_loss import PowerLoss
from monitor.settings import Settings
from monitor.state import State

# A propeller on its fine stop gains 10 to 40 rev/min a second with the speed (model propellers), and may pause.
GOVERNOR_GAINS_RPM, GOVERNOR_PAUSES_S = 10.0, 5.0  # common practice, no source
STILL_RISES_S = 4.0  # of the last second's rise in rpm (common practice, no source)
NEXT_WITHIN_S = 6.0  # the slowest data that is told apart from lost data
SPUN_UP_S = 2.0  # after full throttle no engine still gains speed by its own slowness (common practice, no source)


class Power(PowerLoss):
    """Watches power from the opening of the throttle to the end of the climb."""

    __slots__ = (
        "_acceleration", "_grown_rpm", "_grown_t", "_low_hold", "_on_the_roll", "_peak_rpm", "_power_set",
        "_pressure_hold", "_rpm_before_full", "_set_hold", "_steady_rpm", "_steady_since", "full_since",
    )  # fmt: skip

    def __init__(
        self,
        state: State,
        aircraft: Aircraft,
        settings: Settings,
        agenda: Agenda,
        judge: Judge,
        power_set: Callable[[float], None],
    ) -> None:
        super().__init__(state, aircraft, settings, agenda, judge)
        self._power_set = power_set
        self._set_hold = Hold(agenda, 0.0, self._judge_set)
        self._low_hold = Hold(agenda, settings.rpm_low_hold_s, self._cue("rpm-low"))
        self._pressure_hold = Hold(agenda, settings.manifold_pressure_low_hold_s, self._pressure_stays_low)
        self._on_the_roll = (self._low_hold, self._pressure_hold)
        self._acceleration = Acceleration(state, aircraft, settings, agenda, self._cue("engine-failure"))
        self.begin()

    def begin(self) -> None:
        """A takeoff begins."""
        self.begin_loss()
        self._acceleration.begin()
        for hold in (self._set_hold, self._low_hold, self._pressure_hold):
            hold.clear()
        self.is_set = False
        self.full_since: float | None = None
        self._rpm_before_full: float | None = None
        self._steady_rpm: float | None = None
        self._steady_since = 0.0
        self._peak_rpm = self._grown_rpm = 0.0
        self._grown_t = 0.0  # when it last became so much more than before

    # ---- a sample of the roll, or lined up with the throttle opening -----------------------------------------------

    def lined_up(self) -> None:
        """Power on the brakes, before the roll: only whether it is set."""
        self._keep_second()
        self._watch_setting(rolling=False)

    def roll(self) -> None:
        """One sample of the roll."""
        self._keep_second()
        self._watch_setting(rolling=True)
        self._watch_loss(in_air=False)
        sample = self._s.sample
        gauges = sample.rpm is not None or sample.manifold_pressure_inhg is not None
        self._acceleration.roll(self.is_set if gauges else self.full_since is not None, self.maybe_off)

    def end_roll(self) -> None:
        """Off the ground: what is judged on the wheels only waits no more."""
        for hold in self._on_the_roll:
            hold.clear()
        self._acceleration.end()

    def climb(self) -> None:
        """One sample of the climb."""
        self._keep_second()
        s = self._s
        sample = s.sample
        if (
            s.t >= self._calm_until
            or (sample.rpm or 0.0) < self._calm_rpm
            or (sample.manifold_pressure_inhg or 0.0) < self._calm_inhg
        ):  # else all was well a moment ago, and no gauge says otherwise
            self._watch_loss(in_air=True)

    def _watch_setting(self, rolling: bool) -> None:
        s = self._s
        sample = s.sample
        rpm, throttle = sample.rpm, sample.throttle
        if self.is_set:
            if rolling:
                self._watch_minimum(rpm, throttle)
            return
        if throttle is not None:
            if throttle < self._set.power_set_throttle:
                self.full_since = None
                self._set_hold.clear()
                return
            if self.full_since is None:
                self.full_since = s.crossing(s.prev.throttle, throttle, self._set.power_set_throttle)
                self._rpm_before_full = s.prev.rpm
        elif self.full_since is None:
            if not rolling or s.v_trend.rate < 0.5:
                return
            self.full_since = s.t
        if throttle is not None and not self._fixed and s.t >= self.full_since + self._set.power_set_latest_s:
            # A governor still on its way says nothing of the pressure.
            self._watch_pressure_minimum(rolling and throttle >= self._set.full_throttle)
        self._schedule_setting(rpm, throttle is not None, rolling)

    def _schedule_setting(self, rpm: float | None, lever: bool, rolling: bool) -> None:
        """Power is judged when rpm has been steady for 1 s, or 3 s after full throttle; later while it still rises."""
        s, set_ = self._s, self._set
        least = self._aircraft.rpm_takeoff_min
        full = self.full_since if self.full_since is not None else s.t
        if rpm is None:
            if lever and rolling and not self._set_hold.fired:
                self._set_hold.schedule(full + set_.power_set_latest_s)
            return
        if rpm < 1.2 * (self._aircraft.rpm_red_line or rpm):
            self._peak_rpm = max(self._peak_rpm, rpm)
        if rpm > self._grown_rpm + GOVERNOR_GAINS_RPM:
            self._grown_rpm, self._grown_t = rpm, s.t
        self._watch_peak(rpm, lever)
        if self._steady_rpm is None or abs(rpm - self._steady_rpm) > set_.rpm_steady:
            self._steady_rpm, self._steady_since = rpm, max(s.t, full)
        due = max(self._steady_since, full) + set_.rpm_steady_s
        if s.t == self._steady_since:
            due = max(due, s.t + 1.5 * s.dt)  # steady is what at least one more sample has shown
        good = self._good(rpm)
        if lever and good:
            due = min(due, full + set_.power_set_latest_s)
        elif lever:
            due = max(due, full + set_.power_set_latest_s)
            if self._fixed and self._stays_low(rpm):
                due = full + set_.power_set_latest_s
            if rpm == self._rpm_before_full:  # not even in its last digit has the gauge moved since
                due = full + set_.power_judged_latest_s
            due = min(due, full + set_.power_judged_latest_s)
        elif not good:
            self._set_hold.clear()
            return
        # Standing still, a constant-speed propeller need not reach its governed rpm; far below it is another matter.
        static = self._fixed or (least is not None and rpm < 0.8 * least)
        if not rolling and not (good or static):
            self._set_hold.clear()
            return
        self._set_hold.again(max(due, s.t))

    def _watch_peak(self, rpm: float, lever: bool) -> None:
        """Before power has been judged: an engine that was nearly there, and falls back with the lever full."""
        s, least = self._s, self._aircraft.rpm_takeoff_min
        gone = self._peak_rpm * (1.0 - self._set.engine_failure_part)
        if lever and least is not None and self._peak_rpm > 0.8 * least and rpm < gone:
            self._begin_failure(s.crossing(s.prev.rpm, rpm, gone))
        elif self._failure_hold.since is not None:
            self._failure_hold.clear()

    def _good(self, rpm: float | None) -> bool:
        least = self._aircraft.rpm_takeoff_min
        if rpm is not None and least is not None and rpm < least:
            return False
        return not self._pressure_low()

    def _pressure_stays_low(self, t: float) -> None:
        """Of slow data a failing engine's pressure is low before a second sample has shown that it fell at once."""
        fails = self._failure_hold.since is not None or self._pressure_failure_hold.since is not None
        self._cue("engine-failure" if fails else "manifold-pressure-low")(t)

    def _judge_set(self, t: float) -> None:
        sample = self._s.sample
        rpm, throttle = sample.rpm, sample.throttle
        if rpm is None and sample.manifold_pressure_inhg is None:
            return  # a lever alone shows no power
        if self._good(rpm):
            self.is_set = True
            self._first_best()
            self._power_set(t)
            return
        if throttle is None or throttle < self._set.full_throttle:
            return  # the lever is the pilot's doing
        if self.full_since is None or self._s.t < self.full_since + SPUN_UP_S:
            self._set_hold.fired = False
            return  # with slow data: the last sample shows an engine still gaining speed, the next one will tell
        least = self._aircraft.rpm_takeoff_min
        low = rpm is not None and least is not None and rpm < least
        if rpm is not None and rpm < self._peak_rpm * (1.0 - self._set.engine_failure_part):
            self.is_set = True  # it was there, and is gone
            self._cue("engine-failure")(t)
            return
        if low and self._falls(rpm):
            self._set_hold.fired = False
            return  # how far, the next sample tells: low power, or none
        if (low and self._governor_rising()) or (not low and self._filling()):
            self._steady_rpm = None
            self._set_hold.fired = False
            return
        self.is_set = True
        self._cue("rpm-low" if low else "manifold-pressure-low")(t)

    def _falls(self, rpm: float | None) -> bool:
        before = self._s.prev.rpm
        return rpm is not None and before is not None and rpm < before * (1.0 - self._set.power_loss_part)

    def _stays_low(self, rpm: float) -> bool:
        """A fixed-pitch propeller gains rpm with speed; not so much that this becomes the least there should be."""
        least, (before_t, before, _) = self._aircraft.rpm_takeoff_min, self._second[0]
        if before is None or least is None or before_t >= self._s.t:
            return False
        return rpm + STILL_RISES_S * max(rpm - before, 0.0) / (self._s.t - before_t) < least

    def _governor_rising(self) -> bool:
        """A constant-speed propeller on its fine stop gains rpm with speed until the governor takes over."""
        rpm, least = self._s.sample.rpm, self._aircraft.rpm_takeoff_min
        if self._fixed or rpm is None or least is None:
            return False
        speed = self._s.ias if self._s.ias is not None else self._s.v
        early = speed is None or speed < 0.75 * self._aircraft.speeds_kias.rotate
        return early and rpm > 0.93 * least and self._s.t < self._grown_t + GOVERNOR_PAUSES_S

    def _watch_minimum(self, rpm: float | None, throttle: float | None) -> None:
        """After the first judgement: below the profile's least, lever full, though near the engine's own best."""
        s = self._s
        full = throttle is None or throttle >= self._set.full_throttle
        least = self._aircraft.rpm_takeoff_min
        if rpm is not None and least is not None:
            near_best = self.best_rpm is None or rpm > self.best_rpm * (1.0 - self._set.power_loss_part)
            if full and rpm < least and near_best:
                self._begin_once_more(self._low_hold, s.crossing(s.prev.rpm, rpm, least))
                if throttle is None:  # it may be closing: of slow data the next sample tells where that ends
                    self._low_hold.at_least_until(s.t + min(1.1 * s.dt, NEXT_WITHIN_S))
            elif self._low_hold.since is not None:
                self._low_hold.clear()
        if not self._fixed:
            self._watch_pressure_minimum(full)

    def _watch_pressure_minimum(self, full: bool) -> None:
        sample = self._s.sample
        low = full and self._pressure_low() and not self._filling()
        if low and sample.throttle is None:
            closed = throttle_closed(sample.manifold_pressure_inhg, sample.altitude_ft)
            low = not closed and not self._draining()
        self._once_more(self._pressure_hold, low)
