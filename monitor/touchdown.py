"""Back on the wheels: touchdown, with a ground switch and without one.

With a switch: it says "on the ground" for long enough, unless it is stuck. Without: level, and too slow to fly or down
at a field and slowing.
"""

from __future__ import annotations

from math import inf

from monitor.liftoff import CLIMBS_FPM, GATHERS_KT_S, OVERRULED_FT
from monitor.settings import Settings
from monitor.state import State

SWITCH_BELOW_FT = 200.0  # above the field a switch that says "on the ground" is stuck (common practice, no source)
TOUCHED_S, TOUCHED_ALOFT_S = 0.3, 2.0  # so long it must say so; and in what looks like flight above 50 ft (no source)
FLAT_FPM, SLOWS_KT_S = 120.0, -0.7  # on the wheels after a landing (common practice, no source)
# A landing so short that the altimeter, which sags below the field's level with the speed, is not still while it slows
# (common practice, no source).
SLOWED_S, SAGGED_FT = 5.0, 5.0
# As it comes back: so many times what its square law gives, by vertical speed; by the altitude alone, which jumps as
# the wheels touch, up to so much (common practice, no source).
COMES_BACK_TIMES, COMES_BACK_FPM = 1.3, 500.0
ALOFT_FT, NO_FLIGHT_PART = 80.0, 0.55  # above any sag; slower than this part of VR no wing flies (no source)
# Where the field's level is not known: down from so far above, slower than so much of VR, with the lever back, and the
# nose lower than where the wing would hold the aeroplane up at that speed (common practice, no source).
CAME_DOWN_FT, AS_SLOW_PART, POWER_OFF, NOSE_DOWN_DEG = 150.0, 1.05, 0.4, 3.0


class Touchdown:
    """Watches a flight for the wheels coming back to the ground."""

    def __init__(self, settings: Settings, rotate_kt: float) -> None:
        self._set = settings
        self._rotate_kt = rotate_kt
        self.reset()

    def reset(self) -> None:
        """A flight begins."""
        self._since: float | None = None
        self._slow_since: float | None = None  # level, and so slow that it may have landed
        self._slowed_t = -inf
        self._highest_ft = -inf  # of the level
        self.switch_dead = False  # as found at lift-off; it is believed again once it says "off the ground"

    def update(self, s: State) -> float | None:
        """The time of touchdown once it is certain, else None. Call with every sample in flight."""
        switch = s.sample.on_ground
        if switch is not None and switch < 0.5:
            self.switch_dead = False
            self._since = None
            return None
        if switch is not None and not self.switch_dead:
            flies = self._flies(s)
            true = not (flies and self._stuck(s))
            onset = s.crossing(s.prev.on_ground, switch, 0.5) if true and self._since is None else s.t
            return self._held(true, onset, s.t, TOUCHED_ALOFT_S if flies else TOUCHED_S)
        return self._by_motion(s)

    def _stuck(self, s: State) -> bool:
        """In what looks like flight the switch says "on the ground": high, or climbing, it is stuck."""
        return (s.height or 0.0) > SWITCH_BELOW_FT or (s.climb_fpm or 0.0) > CLIMBS_FPM

    def _flies(self, s: State) -> bool:
        """Above the ground and flying. Slow, or level and slowing, it is on another field, or the subscale has been
        turned."""
        climbs = (s.climb_fpm or 0.0) > CLIMBS_FPM
        if s.height is None or s.height <= (self._set.liftoff_sure_ft if climbs else OVERRULED_FT):
            return False
        slow = s.fastest_kt <= self._set.touchdown_speed_part * self._rotate_kt
        return not slow and (abs(s.climb_fpm or 0.0) > FLAT_FPM or s.v_trend.rate > SLOWS_KT_S)

    def _by_motion(self, s: State) -> float | None:
        """No switch: level within the vertical speed's noise; too slow to fly, or down at a field and slowing."""
        climb, vr = s.climb_fpm, self._rotate_kt
        speed = s.ias if s.ias is not None else s.v  # a tailwind, or thin air, says nothing of flying
        if s.level is not None and s.level > self._highest_ft:
            self._highest_ft = s.level
        if s.v_trend.rate < SLOWS_KT_S:
            self._slowed_t = s.t
        if climb is None or speed is None:
            return None
        slow = s.fastest_kt < self._set.touchdown_speed_part * vr
        flat = -FLAT_FPM < climb < FLAT_FPM + _comes_back_fpm(s, slow)
        slow = slow and flat
        if not slow:
            self._slow_since = None
        elif self._slow_since is None:
            self._slow_since = s.t
        slow = slow and not self._slow_flight(s)
        onset = self._slow_since if slow and self._slow_since is not None else s.t
        return self._held(slow or (flat and self._rolls_out(s, speed / vr)), onset, s.t, 1.0 if slow else 2.0)

    def _slow_flight(self, s: State) -> bool:
        """High above the field as known, at a speed that a wing with flaps still flies at: another field is told from
        slow flight only by the low nose of a roll, or once it is slower."""
        if s.height is None or s.height <= ALOFT_FT or s.fastest_kt <= NO_FLIGHT_PART * self._rotate_kt:
            return False
        pitch = s.sample.pitch_deg
        return pitch is None or pitch >= NOSE_DOWN_DEG

    def _rolls_out(self, s: State, speed_part: float) -> bool:
        """At the field's level and slowing; speed_part: of VR."""
        if s.t - self._slowed_t >= SLOWED_S:
            return False
        if s.height is None:
            return speed_part < AS_SLOW_PART and self._came_down(s)
        sags = not s.uses_height and s.sample.vertical_speed_fpm is None and s.height < SAGGED_FT
        return speed_part < 1.1 and (sags or (self._slowed_t == s.t and s.height < 25.0))

    def _came_down(self, s: State) -> bool:
        """The recording began in the air and no elevation is given: down from above, with power off and nose low."""
        throttle, pitch = s.sample.throttle, s.sample.pitch_deg
        if throttle is None or pitch is None or s.level is None:
            return False  # slow flight and stalls may look alike
        off = throttle < POWER_OFF and pitch < NOSE_DOWN_DEG and s.v_trend.rate < GATHERS_KT_S
        return off and self._highest_ft - s.level > CAME_DOWN_FT

    def _held(self, true: bool, onset: float, t: float, hold_s: float) -> float | None:
        if not true:
            self._since = None
            return None
        if self._since is None:
            self._since = onset
            return None  # one sample may be a damaged one
        return self._since if t - self._since >= hold_s else None


def _comes_back_fpm(s: State, slow: bool) -> float:
    """The climb (ft/min) that an altimeter may show as the aeroplane slows on the field: it sags with the square of the
    airspeed. slow: too slow to fly, so that by the altitude alone it may be another field."""
    if s.uses_height or s.height is None or not s.v:
        return 0.0
    if s.sample.vertical_speed_fpm is None:
        return COMES_BACK_FPM if (slow or s.height < SAGGED_FT) and s.v_trend.rate < SLOWS_KT_S else 0.0
    if s.height >= 0.0 or s.v_trend.rate >= 0.0:
        return 0.0
    return COMES_BACK_TIMES * 60.0 * -s.height * 2.0 * -s.v_trend.rate / s.v
