"""The conditions before the roll: in flight from the start, standing, taxiing, lined up, and the roll's beginning.

They go by what is kept here of every sample on the wheels: whether the power is on, and since when it moves.
"""

from __future__ import annotations

from monitor.aircraft import Aircraft
from monitor.atmosphere import pressure_inhg
from monitor.conditions_air import AirConditions
from monitor.geo import turn
from monitor.options import Options
from monitor.settings import Settings
from monitor.state import State
from monitor.unfilled import STARTS_RPM

STILL_KT = 1.5
MOVING_KT = 3.0
STANDS_S = 3.0  # for so long still, it stands
LINED_UP_DEG = 10.0  # pointing along a given runway heading within this
ROLLS_TO = 1.2  # of VR: no aeroplane is on its wheels faster (common practice, no source)
FLAT_FPM, FLAT_DEG = 60.0, 4.0  # on the wheels, for all that one sample tells
MAY_ROLL_KT_S = 0.3  # a trend that will show an acceleration along the runway in a moment
LEVER_CLOSED = 0.3  # of the throttle: this far back it ends a roll (common practice, no source)


class BeforeRoll(AirConditions):
    """Watches the aeroplane on its wheels with every sample; then the phase's conditions are asked."""

    __slots__ = (
        "_accelerating", "_aircraft", "_aligned_since", "_flying_since", "_given_heading", "_lever", "_line_up_armed",
        "_may_go_again", "_moved_t", "_power_full_t", "_power_half_t", "_still_since", "_wheels_t", "power",
        "runway_heading",
    )  # fmt: skip

    def __init__(self, state: State, aircraft: Aircraft, settings: Settings, options: Options) -> None:
        super().__init__(state, settings, aircraft.speeds_kias.rotate, aircraft.speeds_kias.best_rate)
        self._aircraft = aircraft
        self._given_heading = options.runway_heading_deg
        self.restart_before()

    def restart_before(self) -> None:
        """Start over, as after a jump of the clock."""
        self.runway_heading: float | None = self._given_heading
        self.power: bool | None = None
        self._lever: float | None = None  # the throttle that `power` is from
        self._power_half_t: float | None = None
        self._power_full_t: float | None = None
        self._still_since: float | None = None
        self._moved_t: float | None = None
        self._aligned_since: float | None = None
        self._line_up_armed = True
        self._may_go_again = False  # it has landed
        self._accelerating: tuple[float, float] | None = None
        self._flying_since: float | None = None
        self._wheels_t = 0.0
        self.restart_air()

    # ---- kept up with every sample -----------------------------------------------------------------------------------

    def _keep_power(self, throttle: float | None) -> None:
        s = self._s
        self._lever = throttle
        if throttle is None:
            self.power = self._power_without_lever()
            if not self.power:
                self._power_half_t = None
            elif self._power_half_t is None:
                self._power_half_t = self._power_full_t = s.t
            return
        if throttle < 0.5:
            self._power_half_t = None
        elif self._power_half_t is None:
            self._power_half_t = s.crossing(s.prev.throttle, throttle, 0.5)
        limit = self._set.roll_throttle
        power = throttle >= limit
        if power and not self.power:
            self._power_full_t = s.crossing(s.prev.throttle, throttle, limit)
        self.power = power

    def _power_without_lever(self) -> bool | None:
        """Takeoff power by its effect: rpm near the profile's least, or manifold pressure near ambient."""
        sample = self._s.sample
        least = self._aircraft.rpm_takeoff_min
        fixed = self._aircraft.propeller == "fixed"
        if sample.rpm is not None and least is not None:
            return sample.rpm >= least * (0.93 if fixed else 0.88)
        if sample.manifold_pressure_inhg is not None:
            return sample.manifold_pressure_inhg >= 0.85 * pressure_inhg(sample.altitude_ft or 0.0)
        return None

    def still(self) -> bool:
        """Not moving on the ground, as far as the data tells."""
        s = self._s
        if s.v_measured:
            return s.v is not None and s.v < STILL_KT and s.v_trend.rate < 0.4
        if s.ias is None:
            return False
        rest = s.rest_ias if s.rest_ias is not None else (s.ias if s.ias < 25.0 else None)
        return rest is not None and not self.power and abs(s.ias - rest) < 4.0 and abs(s.ias_trend.rate) < 0.4

    def _keep_motion(self) -> None:
        s = self._s
        if self.still():
            if self._still_since is None:
                self._still_since = s.t
            self._moved_t = None
            s.at_rest()
        else:
            self._still_since = None
            if self._moved_t is None:
                self._moved_t = s.t if s.prev_t == s.t else s.prev_t
            if s.v is not None and s.v < 15.0:
                s.learn_zero()

    # ---- before the roll ---------------------------------------------------------------------------------------------

    def starts_in_flight(self) -> float | None:
        """The stream's first samples are of an aeroplane in the air."""
        s = self._s
        switch = s.sample.on_ground
        if switch is not None:
            return s.t if switch < 0.5 and s.fastest_kt > 0.5 * self._vr else None
        if s.height is not None and s.uses_height and s.height > 50.0:
            return s.t
        speed = s.fastest_kt
        given = s.height is not None and s.zero_ft is not None and not s.uses_height
        if given and s.height is not None and s.height < 60.0 and speed < ROLLS_TO * self._vr:
            return None
        if speed <= 0.9 * self._vr:
            return None
        if s.height is None or not s.uses_height:
            # A stream may begin on the roll, just before lift-off: level, and no faster than that.
            flat = s.sample.vertical_speed_fpm is not None and abs(s.sample.vertical_speed_fpm) < FLAT_FPM
            if flat and speed < ROLLS_TO * self._vr and (s.sample.pitch_deg or 0.0) < FLAT_DEG:
                return None
        return s.t

    def stands(self) -> float | None:
        """On the ground and not moving for 3 s."""
        since = self._still_since
        return since + STANDS_S if since is not None and self._s.t - since >= STANDS_S else None

    def moves(self) -> float | None:
        """Moving on the ground."""
        s = self._s
        if self.power and s.v_trend.rate > MAY_ROLL_KT_S:
            return None  # it may be a takeoff: wait for what it turns out to be
        return s.t if s.v is not None and s.v >= MOVING_KT and self._still_since is None else None

    def flies(self) -> float | None:
        """In the air without a takeoff seen: put there, or a part of the stream was missed."""
        s = self._s
        switch = s.sample.on_ground
        speed = s.fastest_kt
        if switch is not None:
            flying = switch < 0.5 and speed > 0.5 * self._vr
        else:
            flying = s.height is not None and s.height > 80.0 and speed > 0.9 * self._vr and (s.climb_fpm or 0.0) > 0.0
        if not flying:
            self._flying_since = None
            return None
        if self._flying_since is None:
            self._flying_since = s.t
        return self._flying_since if s.t - self._flying_since >= 3.0 else None

    def lined_up(self) -> float | None:
        """On the runway heading and slow, when it is known; else, the throttle opens for a takeoff."""
        s = self._s
        heading = s.sample.heading_deg
        if self._given_heading is not None and heading is not None:
            t = self._aligned(turn(self._given_heading, heading))
            if t is not None:
                return t
        elif self._opened_for_takeoff() and s.v is not None and s.v < 0.8 * self._vr:
            return self._power_full_t
        return self.rolls()

    def _opened_for_takeoff(self) -> bool:
        """The throttle has been opened since the aeroplane came down or gave up: one still open then says nothing."""
        opened = self._power_full_t
        lever = self._s.sample.throttle is not None and self._engine_turns()
        return lever and bool(self.power) and opened is not None and opened >= self._wheels_t

    def _engine_turns(self) -> bool:
        rpm = self._s.sample.rpm
        return rpm is None or rpm > STARTS_RPM

    def _aligned(self, off_deg: float) -> float | None:
        s = self._s
        # After a landing it has to turn or to stand first; after a rejection to turn, for who has aborted is not told
        # to start the clock.
        if abs(off_deg) > 30.0 or (self._may_go_again and self.stands() is not None):
            self._line_up_armed = True
        slow = s.v is not None and s.v < 15.0
        if abs(off_deg) > LINED_UP_DEG or not slow or not self._line_up_armed or not self._engine_turns():
            self._aligned_since = None
            return None
        if self._aligned_since is None:
            self._aligned_since = s.t
        still = self._still_since is not None
        return self._aligned_since if still or s.t - self._aligned_since >= 2.0 else None

    def gives_up_line_up(self) -> float | None:
        """Lined up, but the throttle closed again or the aeroplane left the runway heading."""
        s = self._s
        heading = s.sample.heading_deg
        if self._given_heading is not None and heading is not None:
            off = abs(turn(self._given_heading, heading))
            return s.t if off > 20.0 and not self.power and self._still_since is None else None
        return s.t if self.power is False and (s.sample.throttle is None or s.sample.throttle < 0.5) else None

    def gives_up_standing(self) -> float | None:
        """The same, without having moved."""
        return self._s.t if self._still_since is not None and self.gives_up_line_up() is not None else None

    def rolls(self) -> float | None:
        """Accelerating along the runway with takeoff power; with no power channel, for longer and to a higher speed."""
        s = self._s
        v, rate = s.v, s.v_trend.rate
        if v is None or rate < self._set.roll_acceleration_kt_s or v < MOVING_KT:
            self._accelerating = None
            return None
        if self._accelerating is None:
            # With slow data the rate already spans the last interval.
            self._accelerating = (s.t if s.dt < 0.8 else s.prev_t, v)
        began, v_began = self._accelerating
        lasted = s.t - began
        if self.power:
            enough = lasted >= 1.0 and v >= 8.0
        elif self.power is None:
            enough = lasted >= 3.0 and v >= 0.65 * self._vr and v - v_began >= 10.0
        else:
            idle = (s.sample.throttle or 0.0) <= LEVER_CLOSED  # a gust in the landing roll
            enough = lasted >= 2.0 and v >= 0.8 * self._vr and not idle
        return self._roll_start() if enough else None

    def _roll_start(self) -> float:
        """When the acceleration began: the wheels moved with the power on, or the power came while they rolled."""
        moved = self._moved_t if self._moved_t is not None else self._s.t
        power = self._power_half_t if self._power_half_t is not None else moved
        t = max(moved, power)
        if self.power is None or t > self._s.t:
            t = self._accelerating[0] if self._accelerating is not None else self._s.t
        return t
