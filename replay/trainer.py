"""The built-in training aeroplane: an invented point mass that takes off, climbs, fails and stops like one.

Forces are lift, drag, thrust, weight and the wheels' friction (`trainer_airframe`); the power comes from
`trainer_engine`, the hands from `trainer_pilot`. It is made to practise with, not to predict: every number is
invented, and only the speeds and gauge marks come from the profile. The same scenario gives the same flight.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterator

from monitor.aircraft import Aircraft
from monitor.atmosphere import density_ratio, pressure_inhg
from replay.scenarios.kinds import CLEAN, Scenario
from replay.trainer_airframe import (
    BRAKING_FRICTION,
    FT,
    KT,
    ROLLING_FRICTION,
    G,
    build_airframe,
)
from replay.trainer_engine import Engine, marks_of, toward
from replay.trainer_gauges import Gauges
from replay.trainer_pilot import Pilot, View

RATE_HZ = 20.0
"""Moments a second that the trainer sends."""
_STEP_S = 0.0125  # inner step; four a moment at 20 Hz
_PITCH_NATURAL = 2.6  # rad/s of the attitude's answer; invented
_PITCH_RATE = math.radians(5.0)  # most pitch rate of a smooth rotation; invented
_GROUND_PITCH = math.radians(0.4)


class Trainer:
    """One flight, stepped from outside; attributes are the true state in the units of their names.

    t_s from 0; along_m and right_m from the start of the roll, along and right of the runway heading;
    airspeed_m_s: true, relative to the steady wind; gamma_rad: of the flight path.
    """

    def __init__(self, aircraft: Aircraft, scenario: Scenario = CLEAN) -> None:
        """At rest at the start of the roll, facing along the runway."""
        self.aircraft = aircraft
        self.scenario = scenario
        self.frame = build_airframe(aircraft)
        elevation = scenario.field_elevation_ft
        self.oat_degc = scenario.oat_degc if scenario.oat_degc is not None else 15.0 - 0.0019812 * elevation
        self._warm = self.oat_degc - (15.0 - 0.0019812 * elevation)
        flaps = aircraft.takeoff_flaps_deg if scenario.flaps_deg is None else scenario.flaps_deg
        self.engine = Engine(marks_of(aircraft), self.oat_degc)
        self.pilot = Pilot(scenario, self.frame, flaps)
        self._random = random.Random(scenario.seed)
        self.gauges = Gauges(self, random.Random(scenario.seed + 7919))
        self.t_s = 0.0
        self.along_m = self.right_m = self.height_m = 0.0
        self.airspeed_m_s = scenario.headwind_kt * KT
        self.gamma_rad = self.bank_rad = self.heading_error_rad = 0.0
        self.pitch_rad, self.pitch_rate = _GROUND_PITCH, 0.0
        self.on_ground = True
        self.load_g = 1.0
        self.turned_deg = 0.0
        self.gust_kt = self.lift_gust_kt = self.yaw_gust_deg = 0.0
        self.fault_at_s: float | None = None
        self._swing_rad = 0.0

    # What follows from the state.

    @property
    def groundspeed_m_s(self) -> float:
        """Speed over the ground: on the wheels along the heading, in the air with the wind's whole drift."""
        if self.on_ground:
            return max(0.0, self.airspeed_m_s - self._headwind_m_s())
        return math.hypot(*self._ground_m_s())

    @property
    def sigma(self) -> float:
        """Density ratio where the aeroplane is."""
        altitude = self.scenario.field_elevation_ft + self.height_m / FT
        standard = 15.0 - 0.0019812 * altitude
        return density_ratio(altitude, standard + self._warm)

    @property
    def calibrated_kt(self) -> float:
        """Calibrated airspeed with the gust of the moment (equal to the equivalent one at these speeds)."""
        true_kt = self.airspeed_m_s / KT + self.gust_kt
        return max(0.0, true_kt * math.sqrt(self.sigma))

    @property
    def height_ft(self) -> float:
        """Height of the wheels above the field."""
        return self.height_m / FT

    @property
    def climb_fpm(self) -> float:
        """True vertical speed."""
        return self.airspeed_m_s * math.sin(self.gamma_rad) / FT * 60.0

    @property
    def drift_rad(self) -> float:
        """Track less runway heading, right positive; on the wheels the heading's own error."""
        if self.on_ground:
            return self.heading_error_rad
        along, across = self._ground_m_s()
        return math.atan2(across, along)

    @property
    def finished(self) -> bool:
        """Whether the flight is over: high enough, stopped after a rejection or a landing, or out of time."""
        stopped = self.pilot.brakes_at_s is not None and self.groundspeed_m_s < 0.05
        long_stopped = stopped and self.t_s > (self.pilot.brakes_at_s or 0.0) + 8.0
        return self.height_ft >= self.scenario.stop_height_ft or long_stopped or self.t_s >= self.scenario.max_s

    def close_throttle(self, after_s: float = 0.0) -> None:
        """The pilot's hand closes the throttle, now or later: brakes and a stop, or in the air a landing ahead."""
        self.pilot.close_throttle(self.t_s + after_s)

    def step(self, dt_s: float = 1.0 / RATE_HZ) -> dict[str, float]:
        """Fly on by `dt_s` and read the gauges: channel name to value, `time_s` included."""
        parts = max(1, round(dt_s / _STEP_S))
        for _ in range(parts):
            self._advance(dt_s / parts)
        return self.gauges.read(dt_s)

    # One inner step.

    def _advance(self, dt: float) -> None:
        self._gust(dt)
        hands = self.pilot.act(self._view(), dt)
        kind = self._fault_kind()
        altitude = self.scenario.field_elevation_ft + self.height_ft
        ratio = self.calibrated_kt / self.frame.climb_kt
        fault = self.scenario.fault if kind else None
        self.engine.step(dt, hands.throttle, ratio, pressure_inhg(altitude), fault)
        self._turn_nose(dt, hands.pitch_rad, hands.bank_rad)
        if self.on_ground:
            self._roll(dt, hands.brake, kind)
        else:
            self._fly(dt, hands.flaps_deg)
        self.t_s += dt

    def _fault_kind(self) -> str | None:
        fault = self.scenario.fault
        if fault is None:
            return None
        if self.fault_at_s is None and fault.due(self.t_s, self.calibrated_kt, self.height_ft):
            self.fault_at_s = self.t_s
        return fault.kind if self.fault_at_s is not None else None

    def _ground_m_s(self) -> tuple[float, float]:
        """In the air: the speed over the ground along the runway heading and to its right."""
        level = self.airspeed_m_s * math.cos(self.gamma_rad)
        along = level * math.cos(self.heading_error_rad) - self.scenario.headwind_kt * KT
        across = level * math.sin(self.heading_error_rad) - self.scenario.crosswind_kt * KT
        return along, across

    def _headwind_m_s(self) -> float:
        return self.scenario.headwind_kt * KT * math.cos(self.heading_error_rad)

    def _gust(self, dt: float) -> None:
        """First-order Gauss-Markov gusts along and across the path (the first-order part of the Dryden form)."""
        size = self.scenario.gust_kt
        gusts = (("gust_kt", size, 3.0), ("lift_gust_kt", 0.5 * size, 1.5), ("yaw_gust_deg", 0.8 * size, 2.0))
        for name, sigma, tau in gusts:
            keep = math.exp(-dt / tau)
            kick = sigma * math.sqrt(1.0 - keep * keep) * self._random.gauss(0.0, 1.0)
            setattr(self, name, keep * getattr(self, name) + kick)

    def _view(self) -> View:
        return View(
            self.t_s,
            self.calibrated_kt,
            self.height_ft,
            self.climb_fpm,
            self.groundspeed_m_s / KT,
            self.on_ground,
            self.drift_rad,
            self.heading_error_rad,
            self.turned_deg,
            self.scenario.fault is not None and self.fault_at_s is not None and self.scenario.fault.kind == "engine",
        )

    def _turn_nose(self, dt: float, wanted_pitch: float, wanted_bank: float) -> None:
        """Second-order answer of the pitch attitude, first-order of the bank."""
        pull = _PITCH_NATURAL**2 * (wanted_pitch - self.pitch_rad) - 1.7 * _PITCH_NATURAL * self.pitch_rate
        self.pitch_rate = max(-_PITCH_RATE, min(_PITCH_RATE, self.pitch_rate + pull * dt))
        self.pitch_rad += self.pitch_rate * dt
        if self.on_ground and self.pitch_rad < _GROUND_PITCH:
            self.pitch_rad, self.pitch_rate = _GROUND_PITCH, 0.0
        shaken = wanted_bank + math.radians(1.5 * self.yaw_gust_deg)
        self.bank_rad = 0.0 if self.on_ground else toward(self.bank_rad, shaken, dt, 1.0)

    def _forces(self, alpha: float, flaps_deg: float) -> tuple[float, float, float]:
        """Lift, drag and thrust over weight."""
        lift, coefficient = self.frame.lift(self.calibrated_kt, alpha, flaps_deg)
        drag = self.frame.drag(self.calibrated_kt, coefficient, flaps_deg, self.height_m)
        return lift, drag, self.frame.thrust(self.calibrated_kt, self.engine.power, self.sigma)

    def _roll(self, dt: float, brake: float, kind: str | None) -> None:
        lift, drag, thrust = self._forces(self.pitch_rad, self.pilot.hands.flaps_deg)
        weight_on_wheels = max(0.0, 1.0 - lift - thrust * math.sin(self.pitch_rad))
        friction = (ROLLING_FRICTION + BRAKING_FRICTION * max(brake, self._drag_brake(kind))) * weight_on_wheels
        speed = self.groundspeed_m_s
        push = thrust - drag
        speed += G * (push - friction) * dt if speed > 0.0 or push > friction else 0.0
        self._steer(dt, kind, speed)
        self.airspeed_m_s = max(0.0, speed) + self._headwind_m_s()
        self.gamma_rad, self.load_g = 0.0, lift + weight_on_wheels
        track = self.heading_error_rad
        self._move(dt, max(0.0, speed) * math.cos(track), max(0.0, speed) * math.sin(track))
        if weight_on_wheels <= 0.0 and self.airspeed_m_s > 0.5 * self.frame.rotate_kt * KT:
            self.on_ground = False

    def _drag_brake(self, kind: str | None) -> float:
        return 0.30 * (self.scenario.fault.severity if self.scenario.fault else 1.0) if kind == "drag" else 0.0

    def _steer(self, dt: float, kind: str | None, speed: float) -> None:
        """A small wander, which the feet take out toward the centreline; a swing that they cannot."""
        if kind == "swing" and self.scenario.fault is not None:
            self._swing_rad = toward(self._swing_rad, math.radians(24.0) * self.scenario.fault.severity, dt, 2.0)
        back = max(-0.02, min(0.02, -0.01 * self.right_m))
        wander = math.radians(self.yaw_gust_deg) + back if speed > 1.0 else 0.0
        goal = self._swing_rad * min(1.0, speed / 5.0) + wander
        self.heading_error_rad = toward(self.heading_error_rad, goal, dt, 0.8 if speed > 0.5 else 1e9)

    def _fly(self, dt: float, flaps_deg: float) -> None:
        alpha = self.pitch_rad - self.gamma_rad + self.lift_gust_kt * KT / max(self.airspeed_m_s, 10.0)
        lift, drag, thrust = self._forces(alpha, flaps_deg)
        rise = lift * math.cos(self.bank_rad) + thrust * math.sin(alpha) - math.cos(self.gamma_rad)
        self.gamma_rad += G / self.airspeed_m_s * rise * dt
        self.airspeed_m_s += G * (thrust * math.cos(alpha) - drag - math.sin(self.gamma_rad)) * dt
        turn = G / self.airspeed_m_s * lift * math.sin(self.bank_rad) * dt
        self.heading_error_rad += turn
        if abs(self.bank_rad) > math.radians(5.0):
            self.turned_deg += abs(math.degrees(turn))
        self.load_g = lift
        climb = self.airspeed_m_s * math.sin(self.gamma_rad)
        self.height_m += climb * dt
        self._move(dt, *self._ground_m_s())
        if self.height_m <= 0.0 and climb <= 0.0:
            self.height_m, self.gamma_rad, self.on_ground = 0.0, 0.0, True

    def _move(self, dt: float, along_m_s: float, across_m_s: float) -> None:
        self.along_m += along_m_s * dt
        self.right_m += across_m_s * dt


def fly(
    aircraft: Aircraft, scenario: Scenario = CLEAN, rate_hz: float = RATE_HZ
) -> Iterator[tuple[float, dict[str, float]]]:
    """The whole flight at `rate_hz`, nobody saying anything to its pilot: (t_s, channel name to value) a moment."""
    trainer = Trainer(aircraft, scenario)
    while not trainer.finished:
        values = trainer.step(1.0 / rate_hz)
        yield trainer.t_s, values
