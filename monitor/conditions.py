"""The conditions that end one phase and begin another; see `monitor.phases` for the table that uses them.

Each gives the time at which the next phase began (interpolated, often a little in the past) or None. Here are those of
the roll, of giving it up and of landing; those before it are in `monitor.conditions_before`, those in the air in
`monitor.conditions_air`.
"""

from __future__ import annotations

from monitor.aircraft import Aircraft
from monitor.conditions_before import LEVER_CLOSED, BeforeRoll
from monitor.liftoff import LiftOff
from monitor.nose import Nose
from monitor.options import Options
from monitor.settings import Settings
from monitor.state import State
from monitor.timeline import OFTEN_S

REVIVED_KT = 8.0  # of speed gathered: more than a gust, an engine that was dead runs (common practice, no source)
STOPPED_KT, ROLLED_KT = 10.0, 25.0  # common practice, no source
CLOSED_S = 0.35  # a reading of 0 for less is no hand's, if the engine does not agree (common practice, no source)
CLOSING_PART = 0.1  # of rpm, gone since the sample before (common practice, no source)
ROSE_S = 1.0  # a nose that falls back within it, far below VR, has nodded (common practice, no source)
ROTATES_PART = 0.7  # of VR: below it a nose that rises is held up, and lifts nothing (common practice, no source)
GATHERED_KT = 1.5  # more than a steady speed's noise, in half a second of a roll (common practice, no source)


class Conditions(BeforeRoll):
    """Watches one stream; `update` once a sample, then the phase's conditions are asked."""

    __slots__ = (
        "_closing_t", "_engine_dead", "_fastest", "_fastest_t", "_nose", "_rose_t", "_slowest", "_slowing_since",
        "interval_s", "liftoff",
    )  # fmt: skip

    def __init__(self, state: State, aircraft: Aircraft, settings: Settings, options: Options) -> None:
        super().__init__(state, aircraft, settings, options)
        self.liftoff = LiftOff(settings, self._vr)
        self.restart()

    def restart(self) -> None:
        """Start over, as after a jump of the clock."""
        self.interval_s = 0.0
        self._slowing_since: float | None = None
        self._fastest, self._fastest_t = 0.0, 0.0
        self._nose = Nose()
        self._rose_t: float | None = None  # since when the nose is up, if that lasts
        self._closing_t: float | None = None
        self._slowest: float | None = None
        self._engine_dead = False
        self.liftoff.reset()
        self.restart_before()

    def update(self, interval_s: float, flies: bool) -> None:
        """Keep the few running facts the conditions need."""
        self.interval_s = interval_s
        s = self._s
        throttle = s.sample.throttle
        if throttle is None or throttle != self._lever:  # as at few samples
            self._keep_power(throttle)
        if flies:
            if s.t - self._kept_t >= OFTEN_S:
                self.keep_climb()
            return
        self._keep_motion()
        if s.sample.pitch_deg is not None:
            self._nose.update(s.t, s.sample.pitch_deg)

    # ---- on the roll -------------------------------------------------------------------------------------------------

    def begin_roll(self, landed: bool) -> None:
        """The roll has begun: watch it afresh. landed: after a touchdown, since which the nose has been watched."""
        self.liftoff.reset()
        if not landed:
            self._nose.reset()
        self._rose_t = None
        self._slowing_since = None
        self._fastest, self._fastest_t = 0.0, 0.0
        self._closing_t = None
        self._line_up_armed = self._may_go_again = False

    def lifts_off(self) -> float | None:
        """The last wheel has left the ground for good."""
        return self.liftoff.update(self._s, self.interval_s)

    def rotates(self) -> float | None:
        """The nose is 2 degrees above the attitude of the roll and rising; without pitch, VR."""
        s = self._s
        pitch = s.sample.pitch_deg
        if pitch is None:
            before = s.prev.ias_kt
            if s.ias is None or s.ias < self._vr:
                return None
            return s.crossing(before, s.ias, self._vr)
        speed = s.ias if s.ias is not None else s.v
        if speed is None or speed < ROTATES_PART * self._vr:
            return None
        rise_deg, nose = self._set.rotation_rise_deg, self._nose
        rose = nose.rose_through(rise_deg)
        if rose is None:
            self._rose_t = None
        elif self._rose_t is None and rose[1] > rose[0]:
            self._rose_t = s.crossing(*rose)
        if self._rose_t is None:
            return None
        # A nod far below VR falls back.
        sure = speed >= self._vr - self._set.early_rotate_kt or s.t - self._rose_t >= ROSE_S
        return self._rose_t if sure and (nose.rise_deg or 0.0) >= rise_deg else None

    @property
    def nose_rise_deg(self) -> float | None:
        """How far the nose is above the attitude of the roll; None without a pitch channel."""
        return None if self._s.sample.pitch_deg is None else self._nose.rise_deg

    @property
    def nose_up(self) -> bool:
        """Up and fast enough, or at VR where no pitch is sent: it may be off the ground long before that is known."""
        rise_deg, speed = self.nose_rise_deg, self._s.fastest_kt
        if rise_deg is None:
            return speed >= self._vr
        return rise_deg >= self._set.rotation_rise_deg and speed >= ROTATES_PART * self._vr

    def rejects(self) -> float | None:
        """The throttle is closed, or the aeroplane slows down for longer than a gust."""
        s = self._s
        throttle = s.sample.throttle
        if self.liftoff.possible:
            self._slowing_since = None
            return None
        if throttle is not None and throttle <= LEVER_CLOSED:
            return self._closes(throttle)
        self._closing_t = None
        v, rate = s.v, s.v_trend.rate
        if v is not None and v >= self._fastest:
            self._fastest, self._fastest_t = v, s.t
        # A speed made of positions slips with the clock; an airspeed that rises knows better.
        gains = s.sample.groundspeed_kt is None and s.ias is not None and s.ias_trend.rate > 0.5
        if v is not None and v < STOPPED_KT and self._fastest > ROLLED_KT:
            return self._fastest_t  # it has coasted to a stop, as with a dead engine and an open lever
        if v is None or rate > -1.0 or gains:
            self._slowing_since = None
            return None
        if self._slowing_since is None:
            self._slowing_since = s.t if s.dt < 0.8 else s.prev_t
        fell = self._fastest - v
        return self._fastest_t if s.t - self._slowing_since >= 1.0 and fell >= 4.0 else None

    def _closes(self, throttle: float) -> float | None:
        """Since when the throttle is closed, once a second sample or the engine agrees: a lever's reading may spike."""
        s = self._s
        if self._closing_t is not None:
            return self._closing_t if s.t - self._closing_t >= CLOSED_S else None
        self._closing_t = s.crossing(s.prev.throttle, throttle, LEVER_CLOSED)
        rpm, before = s.sample.rpm, s.prev.rpm
        falls = rpm is not None and before is not None and rpm < before * (1.0 - CLOSING_PART)
        return self._closing_t if falls else None

    def slows(self) -> float | None:
        """Slower than 15 kt on the ground."""
        s = self._s
        if s.v is None or s.v >= 15.0:
            return None
        return s.t

    def goes_again(self) -> float | None:
        """A touch-and-go: power and acceleration before the landing roll is over, or off again with the power on."""
        gathers = self._gathers_speed()
        if self._engine_dead and not gathers:
            return None  # an open lever says nothing, nor does the trend of the speed before the wheels touched
        t = self.rolls()
        if t is not None:
            return max(t, self._wheels_t)
        if gathers or (self.power and self.liftoff.update(self._s, self.interval_s) is not None):
            return max(self._power_half_t or 0.0, self._wheels_t)
        return None

    def _gathers_speed(self) -> bool:
        """The power is on and the speed rises again: the trend of the braking before would tell it 2 s later."""
        v = self._s.v
        if not self.power or v is None:
            self._slowest = None
            return False
        if self._slowest is None or v < self._slowest:
            self._slowest = v
        return v >= self._slowest + (REVIVED_KT if self._engine_dead else GATHERED_KT)

    def begin_rejection(self, t: float) -> None:
        """The takeoff is given up since `t`: a throttle still open then is none opened for another."""
        self._wheels_t = t

    def begin_landing_roll(self, t: float, engine_dead: bool) -> None:
        """On the ground again since `t`: it may be a touch-and-go, but hardly of one with a dead engine."""
        self._wheels_t = t
        self._may_go_again = True
        self._engine_dead = engine_dead
        self._nose.reset()
        self._slowest = None
        self._accelerating = None
        self._flying_since = None
        self._still_since = None
        self.liftoff.reset()

    def flies_on(self) -> float | None:
        """The pilot flies after all, an abort called or the throttle closed for a moment."""
        return self.liftoff.update(self._s, self.interval_s)
