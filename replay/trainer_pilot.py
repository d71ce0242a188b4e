"""The pilot of the built-in training aeroplane: what the hands and feet do, from what the aeroplane does.

A normal takeoff by the book (FAA-H-8083-3C, chapter 6): throttle opened smoothly, straight, nose raised at VR, pitch
for VY, flaps after the positive rate, first turn above 500 ft, eyes before bank. A rejected one: power to idle,
brakes, straight. A dead engine in the air: nose down to the best glide, straight ahead, flare, brakes.
"""

from __future__ import annotations

import math

import msgspec

from replay.scenarios.kinds import Scenario
from replay.trainer_airframe import Airframe

OPENING_S = 3.0  # a pilot takes about 3 s to open the throttle (measured on recorded training flights)
CLOSING_S = 0.4
BRAKES_AFTER_S = 0.5  # from closed throttle to brakes: hands first, then feet; invented
FLAPS_UP_FT = 310.0
TURN_FT = 540.0
LOOK_S = 3.0  # a look over the shoulder before the bank goes on
TURN_DEG = 90.0
BANK_RAD = math.radians(16.0)
NOTICES_DEAD_S = 4.0  # with nobody to tell him, the pilot sees a dead engine himself; invented


class View(msgspec.Struct, frozen=True):
    """What the pilot can see at one moment. kt, ft, radians; `turned_deg`: of the first turn, 0 before it."""

    t_s: float
    airspeed_kt: float
    height_ft: float
    climb_fpm: float
    groundspeed_kt: float
    on_ground: bool
    drift_rad: float
    heading_error_rad: float
    turned_deg: float
    engine_dead: bool


class Hands(msgspec.Struct):
    """Where the controls are: levers 0 to 1, flaps in degrees, wished pitch and bank in radians, feet in the swing."""

    throttle: float = 0.0
    brake: float = 0.0
    flaps_deg: float = 0.0
    pitch_rad: float = 0.0
    bank_rad: float = 0.0
    rudder: float = 0.0


class Pilot:
    """Flies the scenario; `close_throttle` rejects the takeoff (or, in the air, lands ahead) from that moment."""

    def __init__(self, scenario: Scenario, airframe: Airframe, takeoff_flaps_deg: float) -> None:
        """Hands at rest, flaps set, brakes to be held."""
        self._scenario = scenario
        self._airframe = airframe
        self.hands = Hands(flaps_deg=takeoff_flaps_deg)
        self.closed_at_s: float | None = None
        self.brakes_at_s: float | None = None
        self._dead_since_s: float | None = None
        self._glided = False
        self._flaps_wanted = takeoff_flaps_deg
        self._turn_from_s: float | None = None
        self._trim_rad = 0.0

    def close_throttle(self, t_s: float) -> None:
        """Throttle to idle from this moment on, now or later; a second call can only make it earlier."""
        if self.closed_at_s is None or t_s < self.closed_at_s:
            self.closed_at_s = t_s

    def _closed(self, view: View) -> bool:
        return self.closed_at_s is not None and view.t_s >= self.closed_at_s

    def act(self, view: View, dt_s: float) -> Hands:
        """One step of the hands."""
        self._power(view, dt_s)
        self._feet(view, dt_s)
        if view.on_ground:
            self._rotate(view)
        elif self._gliding(view):
            self._glide(view)
        else:
            self._climb(view, dt_s)
        self._bank(view)
        return self.hands

    def _gliding(self, view: View) -> bool:
        if view.engine_dead and not view.on_ground:
            self._dead_since_s = view.t_s if self._dead_since_s is None else self._dead_since_s
            if view.t_s - self._dead_since_s > NOTICES_DEAD_S:
                return True
        return self._closed(view)

    def _power(self, view: View, dt_s: float) -> None:
        hands = self.hands
        if self._closed(view):
            hands.throttle = max(0.0, hands.throttle - dt_s / CLOSING_S)
        elif view.t_s >= self._scenario.stand_s:
            hands.throttle = min(1.0, hands.throttle + dt_s / OPENING_S)

    def _feet(self, view: View, dt_s: float) -> None:
        """Brakes held while standing, off when the throttle is open, on after a closed one; steering as needed."""
        hands = self.hands
        stopping = self.closed_at_s is not None and view.t_s >= self.closed_at_s + CLOSING_S + BRAKES_AFTER_S
        landed = self._landed(view)
        standing = view.t_s < self._scenario.stand_s + self._holding_s()
        if (stopping or landed) and view.on_ground and self.brakes_at_s is None:
            self.brakes_at_s = view.t_s
        wanted = 1.0 if view.on_ground and (standing or self.brakes_at_s is not None) else 0.0
        hands.brake += max(-dt_s / 0.5, min(dt_s / 0.5, wanted - hands.brake))
        hands.rudder = max(-1.0, min(1.0, -3.0 * view.heading_error_rad))

    def _holding_s(self) -> float:
        """How long the brakes are held once the throttle begins to open: short field, until the power is set."""
        return OPENING_S + 2.5 if self._scenario.short_field else 0.8

    def _rotate(self, view: View) -> None:
        rejecting = self._closed(view)
        ready = view.airspeed_kt >= self._airframe.rotate_kt and not rejecting and not self._landed(view)
        self.hands.pitch_rad = self._airframe.pitch_target_rad if ready else 0.0

    def _landed(self, view: View) -> bool:
        """On the wheels after a glide; a touch just after lift-off is none."""
        return self._glided and view.on_ground

    def _climb(self, view: View, dt_s: float) -> None:
        """Pitch for VY (short field: first VX): the climb's own attitude, corrected by the speed, gently at first."""
        frame = self._airframe
        over_obstacle = self._scenario.short_field and view.height_ft < self._scenario.obstacle_ft + 10.0
        target_kt = frame.angle_kt if over_obstacle else frame.climb_kt
        error_kt = view.airspeed_kt - target_kt
        if abs(error_kt) < 6.0:
            self._trim_rad += math.radians(0.05) * error_kt * dt_s
            self._trim_rad = max(-0.08, min(0.08, self._trim_rad))
        attitude = frame.climb_pitch_rad(target_kt, self.hands.flaps_deg)
        wanted = attitude + self._trim_rad + math.radians(0.55) * error_kt
        low = 0.75 * frame.pitch_target_rad if view.height_ft < 100.0 else 0.0
        high = frame.pitch_target_rad + math.radians(0.8) if view.height_ft < 60.0 else attitude + math.radians(2.5)
        self.hands.pitch_rad = max(low, min(high, wanted))
        self._clean_up(view, dt_s)

    def _clean_up(self, view: View, dt_s: float) -> None:
        fast = view.airspeed_kt >= self._airframe.climb_kt - 5.0
        if self._flaps_wanted > 0.0 and view.height_ft > FLAPS_UP_FT and fast:
            self._flaps_wanted = 0.0
        self.hands.flaps_deg = max(self._flaps_wanted, self.hands.flaps_deg - 5.0 * dt_s)

    def _glide(self, view: View) -> None:
        """Nose down to the best glide, then a flare that lands in the attitude of the lift-off."""
        self._glided = True
        frame = self._airframe
        wanted = frame.glide_pitch_rad + math.radians(0.6) * (view.airspeed_kt - frame.glide_kt)
        self.hands.pitch_rad = max(math.radians(-9.0), min(math.radians(8.0), wanted))
        if view.height_ft < 22.0:
            share = 1.0 - max(0.0, view.height_ft) / 22.0
            self.hands.pitch_rad = math.radians(-2.0 + 9.0 * share)

    def _bank(self, view: View) -> None:
        if view.on_ground or self._gliding(view):
            self.hands.bank_rad = 0.0
            return
        if view.height_ft > TURN_FT and self._turn_from_s is None:
            self._turn_from_s = view.t_s + LOOK_S
        if self._turn_from_s is not None and view.t_s >= self._turn_from_s and view.turned_deg < TURN_DEG:
            self.hands.bank_rad = -BANK_RAD * min(1.0, (TURN_DEG - view.turned_deg) / 12.0 + 0.2)
        elif self._turn_from_s is None:
            # Straight out: a little bank toward the extended centreline's track.
            self.hands.bank_rad = max(-0.06, min(0.06, -0.8 * view.drift_rad))
        else:
            self.hands.bank_rad = 0.0
