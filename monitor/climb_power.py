"""Power judged by what it does in the climb: for a loss that a governor hides, or that no engine channel shows.

Climb rate and airspeed together are energy: dE/dt = dh/dt + (v/g) dv/dt, the specific excess power of the textbooks
(for instance FAA-H-8083-3C ch. 4, "Energy Management", in words). It is compared with this climb's own, a few seconds
back, never with a table: an aeroplane that climbs poorly but steadily is not failing.
"""

from __future__ import annotations

from collections import deque

from monitor.agenda import Agenda, Hold
from monitor.aircraft import Aircraft
from monitor.geo import FEET_PER_S_PER_KNOT, G_FT_S2
from monitor.judge import Judge
from monitor.settings import Settings
from monitor.state import State
from monitor.trend import Trend

KINETIC_FT = FEET_PER_S_PER_KNOT**2 / (2.0 * G_FT_S2)  # height that a knot squared is worth
OFTEN_S = 0.2  # energy is a matter of seconds: of faster data so often is enough
SLOW_S = 0.5  # with samples further apart energy is followed as a height, over more of them
TOO_SLOW_S = 1.5  # in the mean, or
GAP_S = 4.0  # once: two or three samples would have to tell
SLOW_TAU_S = 4.0  # a gust of a knot is then worth 50 ft/min
TURNS_DEG = 10.0  # in a turn an aeroplane climbs less (two false calls in 2,364 clean model flights, both there)
CALM_KT_S = 0.35  # in air calmer than this a fall is held against what was before it, lest it pass for usual
BEFORE_S = 13.0  # a loss takes five seconds to show in the climb, and its mean as long again
CALM_TIMES, GUSTY_TIMES = 5.0, 4.0  # of the scatter a fall must be more
LEAST_FPM = 300.0  # a climb that is weak to begin with cannot halve
LULL_FPM = 500.0  # a fall by less may be sinking air even so
GAINS_KT_S, NEAR_KT = 0.3, 2.0  # gaining speed for the climb: what instruments' lag makes of that is no scatter
GUSTY_KT_S = 0.6  # with airspeed changing more than this in the mean, gusts hide what the engine does


class ClimbPower:
    """Watches the climb's energy for a fall under half of its own."""

    def __init__(self, state: State, aircraft: Aircraft, settings: Settings, agenda: Agenda, judge: Judge) -> None:
        self._s = state
        self._set = settings
        self._judge = judge
        self._climb_kt = aircraft.speeds_kias.best_rate
        self._fixed = aircraft.propeller == "fixed"
        self._hold = Hold(agenda, settings.climb_loss_hold_s, self._lost)
        self.begin()

    def begin(self) -> None:
        """A takeoff begins."""
        self._hold.clear()
        self._now: float | None = None
        self._energy = Trend(SLOW_TAU_S)  # of the height that climb and speed are worth together (ft)
        self._energy_since: float | None = None
        self._t = 0.0  # when it was last judged
        self._interval_s = 0.0  # between samples, the mean of some
        self._usual: float | None = None
        self._gust = 0.3
        self._settled = False  # the climb speed has been reached
        self._scatter = 150.0  # as in gusts, until this air is known
        self._before: deque[tuple[float, float, float]] = deque()  # time, scatter, usual, about one a second
        self._calm = 0.0, 0.0  # of these the least scatter and the most usual

    def update(self, altitude_stands: bool) -> None:
        """One sample of the climb; altitude_stands: it may be stuck, and no climb is none."""
        s = self._s
        if s.relevelled:
            self.begin()
        sample = s.sample
        dt = s.t - self._t
        if dt < OFTEN_S or (self._fixed and sample.rpm is not None):
            return  # a fixed-pitch propeller shows a loss itself, and sooner
        self._t = s.t
        dt = min(dt, OFTEN_S + s.dt)
        if s.ias is None or s.climb_fpm is None or s.height is None or s.height < 100.0:
            return
        steady = abs(s.ias - self._climb_kt) <= 10.0 and abs(sample.bank_deg or 0.0) < TURNS_DEG
        full = sample.throttle is not None and sample.throttle >= self._set.power_set_throttle
        gains = s.ias_trend.rate >= GAINS_KT_S and s.ias_trend.value <= self._climb_kt - NEAR_KT
        self._settled = self._settled or (steady and not gains)
        self._interval_s += 0.2 * (dt - self._interval_s)
        too_slow = self._interval_s > TOO_SLOW_S or s.dt > GAP_S
        if too_slow or not steady or not full or altitude_stands or s.height > self._set.after_takeoff_ft:
            self._hold.clear()
            self._energy_since = None
            return
        now = self._energy_fpm(s, s.ias, dt) if s.dt <= SLOW_S else self._slow_energy_fpm(s, s.ias)
        if now is not None:
            self._judge_energy(s, now, dt)

    def _energy_fpm(self, s: State, ias: float, dt: float) -> float:
        """What the energy grows by, as a climb, over the last seconds."""
        growth = 2.0 * KINETIC_FT * ias * s.ias_trend.rate * 60.0
        climb = s.climb_fpm or 0.0
        if s.sample.vertical_speed_fpm is not None:  # its source may be blocked while the height sent still grows
            climb += max(s.level_trend.rate * 60.0, 0.0)
        energy = climb + growth
        return energy if self._now is None else self._now + dt / 4.0 * (energy - self._now)

    def _slow_energy_fpm(self, s: State, ias: float) -> float | None:
        """The same by a line through energy heights: the slope between two slow samples is mostly noise."""
        if self._energy_since is None or not self._settled:
            self._energy_since = s.t
            self._energy.reset()
        self._energy.update(s.t, s.level_now + KINETIC_FT * ias * ias)
        return self._energy.rate * 60.0 if s.t - self._energy_since > SLOW_TAU_S else None

    def _judge_energy(self, s: State, now: float, dt: float) -> None:
        self._now = now
        usual = self._usual if self._usual is not None else self._now
        short = usual - self._now
        rate = s.ias_trend.rate
        self._gust += min(dt / 8.0, 1.0) * (abs(rate) - self._gust)
        low = self._fell(s.t, self._now, usual)
        if not low and self._settled:  # what is usual is learned while all is well: a loss must not teach it
            usual += dt / 12.0 * (max(self._now, 0.75 * usual) - usual)
            self._scatter += dt / 15.0 * (min(abs(short), 2.0 * self._scatter) - self._scatter)
        self._usual = usual
        self._hold.update(low, s.t)

    def _fell(self, t: float, now: float, usual: float) -> bool:
        """Below half of what is usual. In gusts a climb comes and goes: only a fall well beyond this air's own scatter
        is the engine's; in calm air beyond what it was before the fall began."""
        part = 1.0 - self._set.climb_loss_part
        before = self._before
        if not before or t - before[-1][0] >= 1.0:
            before.append((t, self._scatter, usual))
            while t - before[0][0] > BEFORE_S:
                before.popleft()
            self._calm = min(row[1] for row in before), max(row[2] for row in before)
        scatter, then = self._calm
        fell = then - now
        deep = fell > max(part * then, CALM_TIMES * scatter)
        if fell > LULL_FPM and self._gust < CALM_KT_S and then > LEAST_FPM and deep:
            return True
        return (
            self._gust < GUSTY_KT_S
            and usual > LEAST_FPM
            and usual - now > max(part * usual, GUSTY_TIMES * self._scatter)
        )

    def _lost(self, t: float) -> None:
        self._judge.cue("power-loss", t, lambda: True, False)
