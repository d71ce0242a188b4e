"""Power judged by what it does in the climb: for a loss that a governor hides, or that no engine channel shows.

Climb rate and the speed gained along the path together are the excess power per weight, dh/dt + (V/g) dV/dt, of the
textbooks (for instance FAA-H-8083-3C ch. 4, "Energy Management", in words). It is compared with this climb's own, a few
seconds back, never with a table: an aeroplane that climbs poorly but steadily is not failing.

With the speed over the ground for dV a gust, or a wind that changes with height, leaves it as it is, since what such a
wind gives or takes in climb it takes or gives in groundspeed; airspeed alone shows every gust as power. (In model
flights in gusts of 1 kt the one scatters by some 30 ft/min, the other by 150.) In a turn it is the other way round, for
the wind's part along the path changes: there both have to show the loss.

Sinking air takes the climb as a loss does, but not the nose: at one airspeed an aeroplane flies at one angle of attack,
so that with less power its nose goes down by what the climb loses, and in sinking air it does not. What the nose does
not bear out has to last for longer than air mostly sinks. All numbers below: measured on model flights.
"""

from __future__ import annotations

from collections import deque
from math import asin, degrees, inf, radians, sqrt

from monitor.agenda import Agenda, Hold
from monitor.aircraft import Aircraft
from monitor.geo import CLIMB_FPM_PER_KT2_S, FEET_PER_S_PER_KNOT
from monitor.judge import Judge
from monitor.settings import Settings
from monitor.state import State

OFTEN_S = 0.2  # energy is a matter of seconds: of faster data so often is enough
TOO_SLOW_S = 1.5  # between samples, in the mean, or
GAP_S = 4.0  # once: two or three samples would have to tell
NEAR_KT = 10.0  # of the climb speed
LOWEST_FT = 100.0  # above the field: clear of ground effect
TURNS_DEG, STEEP_DEG = 10.0, 25.0  # of bank: it turns, and turns so that it climbs less for that
TURNED_S = 5.0  # for so long what a turn did to the groundspeed is in the mean
TURNS_PART = 0.8  # of the part that counts in straight flight
SMOOTH_S = 2.5
KEPT_EVERY_S, KEPT_S, BEFORE_S, ENOUGH = 1.0, 30.0, 5.0, 5  # what was usual: before the last seconds, of so many values
LEAST_FPM = 200.0  # a climb that is weak to begin with has nothing to fall from
LULL_FPM, TURNING_FPM = 250.0, 450.0  # a fall by less may be sinking air, or what a turn takes
# And a fall must be more than so many times this climb's own scatter (of airspeed alone more times), and than this for
# each kt/s by which the airspeed changes in gusts, in the mean.
TIMES, GUST_FPM_PER_KT_S = 3.0, 1000.0
AIR_TIMES = 6.0
SINKING_HOLD_S = 25.0  # for longer than air mostly sinks that strongly (common practice, no source)
NO_LIFT_DEG = 4.0  # below the datum the angle of attack without lift, flaps up (common practice, no source)
SINKING_PART = 0.5  # of the fall is the air's own
FPM_PER_KT = FEET_PER_S_PER_KNOT * 60.0
AIR_HOLD_S = 8.0  # by airspeed alone: a lull of the wind, to which the pilot lowers the nose, takes the climb for 5 s
GAINS_KT_S, SHORT_KT = 0.3, 2.0  # still gaining speed for the climb: what instruments' lag makes of that is no scatter

Usual = tuple[float, float]
"""Mean and scatter (standard deviation), ft/min."""


class ClimbPower:
    """Watches the climb's energy for a fall under about half of its own."""

    def __init__(self, state: State, aircraft: Aircraft, settings: Settings, agenda: Agenda, judge: Judge) -> None:
        self._s = state
        self._set = settings
        self._judge = judge
        self._climb_kt = aircraft.speeds_kias.best_rate
        self._fixed = aircraft.propeller == "fixed"
        self._hold = Hold(agenda, settings.climb_loss_hold_s, self._lost)
        self._long_hold = Hold(agenda, SINKING_HOLD_S, self._lost)
        self.begin()

    def begin(self) -> None:
        """A takeoff begins."""
        self._clear()
        self._t = 0.0  # when it was last judged
        self._interval_s = 0.0  # between samples, the mean of some
        self._gust = 0.3  # kt/s
        self._turned_t = -inf
        self._settled = False  # the climb speed has been reached
        self._now: tuple[float, float] | None = None  # by speed over the ground, and by airspeed (ft/min)
        self._kept: deque[tuple[float, float, float]] = deque()  # time, and the same two
        self._usual: tuple[Usual, Usual] | None = None
        self._attack = Attack()

    def _clear(self) -> None:
        self._hold.clear()
        self._long_hold.clear()

    def looks(self) -> bool:
        """Whether `update` is due, with this sample of the climb."""
        s = self._s
        if s.relevelled:
            self.begin()
        if self._fixed and s.sample.rpm is not None:
            return False  # a fixed-pitch propeller shows a loss itself, and sooner
        return s.t - self._t >= OFTEN_S

    def update(self, altitude_stands: bool, may_stand: bool) -> None:
        """One look at the climb; altitude_stands: it seems stuck, and no climb is none; may_stand: that will show."""
        s = self._s
        sample = s.sample
        dt = min(s.t - self._t, OFTEN_S + s.dt)
        self._t = s.t
        if s.ias is None or s.climb_fpm is None or s.height is None:
            return
        by_ground, by_air = self._now = self._follow(s, s.ias, s.climb_fpm, dt)
        self._attack.update(s.sample.pitch_deg, s.ias, s.climb_fpm, dt)
        self._interval_s += 0.2 * (dt - self._interval_s)
        too_slow = self._interval_s > TOO_SLOW_S or s.dt > GAP_S
        bank = abs(sample.bank_deg or 0.0)
        if bank >= TURNS_DEG:
            self._turned_t = s.t
        steady = abs(s.ias - self._climb_kt) <= NEAR_KT and bank < (STEEP_DEG if s.v_measured else TURNS_DEG)
        full = sample.throttle is not None and sample.throttle >= self._set.power_set_throttle
        climbs_out = LOWEST_FT <= s.height <= self._set.after_takeoff_ft
        if too_slow or not steady or not full or altitude_stands or not climbs_out:
            self._clear()
            return
        gains = s.ias_trend.rate >= GAINS_KT_S and s.ias_trend.value <= self._climb_kt - SHORT_KT
        self._settled = self._settled or not gains
        if self._settled:
            turns = s.t - self._turned_t < TURNED_S
            if not turns and self._long_hold.since is None:
                self._keep(s.t, by_ground, by_air)
            self._hold.hold_s = self._set.climb_loss_hold_s if s.v_measured else AIR_HOLD_S
            fell = self._fell(s, by_ground, by_air, turns)
            self._hold.update(fell and not self._air_sinks(by_ground), s.t)
            self._long_hold.update(fell, s.t)
            for hold in (self._hold, self._long_hold):
                if may_stand and hold.since is not None:
                    hold.at_least_until(s.t + 2.0 * dt)

    def _follow(self, s: State, ias: float, climb_fpm: float, dt: float) -> tuple[float, float]:
        """What the energy grows by, as a climb, over the last seconds."""
        climb = climb_fpm
        if s.sample.vertical_speed_fpm is not None:  # its source may be blocked while the height sent still grows
            climb += max(s.level_trend.rate * 60.0, 0.0)
        air, ground = s.ias_trend.rate, s.v_trend.rate if s.v_measured else 0.0
        by_air = climb + CLIMB_FPM_PER_KT2_S * ias * air
        by_ground = climb + CLIMB_FPM_PER_KT2_S * ias * ground if s.v_measured else by_air
        self._gust += min(dt / 8.0, 1.0) * (abs(air - ground) - self._gust)
        if self._now is None:
            return by_ground, by_air
        new, (old_ground, old_air) = min(dt / SMOOTH_S, 1.0), self._now
        return old_ground + new * (by_ground - old_ground), old_air + new * (by_air - old_air)

    def _keep(self, t: float, by_ground: float, by_air: float) -> None:
        """What is usual: what was before the last seconds."""
        kept = self._kept
        if kept and t - kept[-1][0] < KEPT_EVERY_S:
            return
        kept.append((t, by_ground, by_air))
        self._attack.keep()
        while t - kept[0][0] > KEPT_S:
            kept.popleft()
        before = [row for row in kept if t - row[0] >= BEFORE_S]
        if len(before) >= ENOUGH:
            self._usual = _mean_and_scatter([row[1] for row in before]), _mean_and_scatter([row[2] for row in before])

    def _fell(self, s: State, by_ground: float, by_air: float, turns: bool) -> bool:
        """Below about half of what is usual, and by more than the air's own rise and fall."""
        if self._usual is None:
            return False
        usual_ground, usual_air = self._usual
        part = self._set.climb_loss_part
        if not s.v_measured:
            return _short(by_air, usual_air, part, AIR_TIMES, max(LULL_FPM, GUST_FPM_PER_KT_S * self._gust))
        exact = s.sample.groundspeed_kt is not None  # a speed made of positions is a second old
        if turns and not exact:
            return False
        part *= TURNS_PART if turns else 1.0
        least_fpm = max(TURNING_FPM if turns else LULL_FPM, GUST_FPM_PER_KT_S * self._gust)
        over_ground = _short(by_ground, usual_ground, part, TIMES, least_fpm)
        return over_ground and ((exact and not turns) or _short(by_air, usual_air, part, TIMES, least_fpm))

    def _air_sinks(self, by_ground: float) -> bool:
        """It may be the air that sinks: the nose says so, or nothing is known of it."""
        if not self._attack.known or self._usual is None:
            return True
        return self._attack.sinking_fpm() > SINKING_PART * (self._usual[0][0] - by_ground)

    def _lost(self, t: float) -> None:
        self._judge.cue("power-loss", t, lambda: True, False)


class Attack:
    """The angle of attack, from pitch and the climb: by what it is more than airspeed explains, the air sinks."""

    __slots__ = ("_deg", "_kept", "_kt")

    def __init__(self) -> None:
        self._deg: float | None = None
        self._kt = 0.0
        self._kept: deque[tuple[float, float]] = deque()

    @property
    def known(self) -> bool:
        """Pitch is sent."""
        return self._deg is not None

    def update(self, pitch_deg: float | None, ias_kt: float, climb_fpm: float, dt: float) -> None:
        """One look at it, smoothed as the energy is."""
        if pitch_deg is None or ias_kt <= 0.0:
            self._deg = None
            return
        path_deg = degrees(asin(min(max(climb_fpm / (FPM_PER_KT * ias_kt), -1.0), 1.0)))
        attack_deg, new = pitch_deg - path_deg, min(dt / SMOOTH_S, 1.0)
        if self._deg is None:
            self._deg, self._kt = attack_deg, ias_kt
            return
        self._deg += new * (attack_deg - self._deg)
        self._kt += new * (ias_kt - self._kt)

    def keep(self) -> None:
        """What is usual, kept as the energy is."""
        if self._deg is not None:
            self._kept.append((self._deg, self._kt))
            if len(self._kept) > KEPT_S / KEPT_EVERY_S:
                self._kept.popleft()

    def sinking_fpm(self) -> float:
        """By how much more than usual the air sinks; 0 where it is not known."""
        before = list(self._kept)[: -int(BEFORE_S / KEPT_EVERY_S)]
        if self._deg is None or not before:
            return 0.0
        usual_deg, usual_kt = (sum(column) / len(before) for column in zip(*before, strict=True))
        expected_deg = (usual_deg + NO_LIFT_DEG) * (usual_kt / self._kt) ** 2 - NO_LIFT_DEG
        return FPM_PER_KT * self._kt * radians(self._deg - expected_deg)


def _short(now: float, usual: Usual, part: float, times: float, least_fpm: float) -> bool:
    """Under `part` of the usual, and by more than the air rises and falls."""
    mean, scatter = usual
    return mean > LEAST_FPM and now < part * mean and mean - now > max(least_fpm, times * scatter)


def _mean_and_scatter(values: list[float]) -> Usual:
    mean = sum(values) / len(values)
    return mean, sqrt(sum((value - mean) ** 2 for value in values) / len(values))
