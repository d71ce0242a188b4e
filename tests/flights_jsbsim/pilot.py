"""The pilot: flies one scenario with the flight-dynamics library and records every step.

Control laws are plain proportional-integral ones, tuned by trial on the five aeroplanes. What the pilot does
wrong on purpose (sloppiness, an early rotation) comes from the scenario alone, with its seed, so a scenario always
gives the same flight.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from tests.flights_jsbsim.aeroplanes import AEROPLANES, STEP_S, Aeroplane, load_model
from tests.flights_jsbsim.scenario import Scenario

FPS_PER_KT = 1.6878098571

RECORDED = {
    "ias_kt": "velocities/vc-kts",
    "tas_kt": "velocities/vtrue-kts",
    "u_aero_fps": "velocities/u-aero-fps",
    "groundspeed_fps": "velocities/vg-fps",
    "geometric_ft": "position/h-sl-ft",
    "pressure_altitude_ft": "atmosphere/pressure-altitude",
    "agl_ft": "position/h-agl-ft",
    "climb_fps": "velocities/h-dot-fps",
    "pitch_deg": "attitude/theta-deg",
    "bank_deg": "attitude/phi-deg",
    "heading_deg": "attitude/psi-deg",
    "v_north_fps": "velocities/v-north-fps",
    "v_east_fps": "velocities/v-east-fps",
    "latitude_deg": "position/lat-geod-deg",
    "longitude_deg": "position/long-gc-deg",
    "north_ft": "position/from-start-neu-n-ft",
    "east_ft": "position/from-start-neu-e-ft",
    "rpm": "propulsion/engine/propeller-rpm",
    "manifold_pressure_inhg": "propulsion/engine/map-inhg",
    "oil_pressure_psi": "propulsion/engine/oil-pressure-psi",
    "oil_temperature_degf": "propulsion/engine/oil-temperature-degF",
    "throttle": "fcs/throttle-cmd-norm",
    "mixture": "fcs/mixture-cmd-norm",
    "propeller": "fcs/advance-cmd-norm",
    "brake": "fcs/left-brake-cmd-norm",
    "wow0": "gear/unit/WOW",
    "wow1": "gear/unit[1]/WOW",
    "wow2": "gear/unit[2]/WOW",
    "flaps_deg": "fcs/flap-pos-deg",
    "egt_degf": "propulsion/engine/egt-degF",
    "cht_degf": "propulsion/engine/cht-degF",
    "fuel_flow_gph": "propulsion/engine/fuel-flow-rate-gph",
    "temperature_r": "atmosphere/T-R",
    "normal_acceleration_g": "accelerations/Nz",
    "elevator": "fcs/elevator-cmd-norm",
    "aileron": "fcs/aileron-cmd-norm",
    "rudder": "fcs/rudder-cmd-norm",
    "fuel_lb": "propulsion/total-fuel-lbs",
}
"""What is recorded at every step: our name and the library's property."""


@dataclass
class Raw:
    """A flight as recorded at 120 Hz.

    data: arrays by the names of RECORDED plus "t" (s, 0 at the first step). marks: what the pilot did and when (s).
    rest_ft: the height of the centre of gravity with the wheels on the ground.
    """

    scenario: Scenario
    data: dict[str, np.ndarray]
    marks: dict[str, float]
    rest_ft: float


def _clamp(value: float, low: float, high: float) -> float:
    return low if value < low else high if value > high else value


def _turned(angle: float) -> float:
    """An angle in degrees brought into -180 to 180."""
    return (angle + 180.0) % 360.0 - 180.0


@dataclass
class _Hands:
    """The pilot's memory between steps."""

    stage: str = "stand"
    stage_t: float = 0.0
    throttle: float = 0.0
    brake: float = 1.0
    flaps: float = 0.0
    pitch_target: float = 0.0
    integral: float = 0.0
    climb_pitch: float = 0.0
    airborne_t: float | None = None
    heading: float = 0.0
    marks: dict[str, float] = field(default_factory=dict)
    wobble: float = 0.0
    roll_pitch: float = 0.0
    takeoff: int = 1


class Pilot:
    """Flies one scenario. `fly()` once; what it did is in the `Raw` it gives."""

    def __init__(self, scenario: Scenario, output: Path | None = None) -> None:
        """Load the aeroplane; nothing moves yet. output: a file that directs the library's own output."""
        self.output = output
        self.s = scenario
        self.a: Aeroplane = AEROPLANES[scenario.aeroplane]
        self.rng = np.random.default_rng(scenario.seed)
        self.fdm = load_model(self.a)
        self._manager = self.fdm.get_property_manager()
        self._nodes: dict[str, Any] = {}
        self.h = _Hands()
        self.gust = [0.0, 0.0, 0.0]
        self.fault_t: float | None = None

    # -- the model ------------------------------------------------------------------------------------------------
    def _node(self, path: str) -> Any:
        node = self._nodes.get(path)
        if node is None:
            node = self._nodes[path] = self._manager.get_node(path)
        return node

    def get(self, path: str) -> float:
        """One property's value."""
        try:
            return self._nodes[path].get_double_value()  # type: ignore[no-any-return]
        except KeyError:
            return float(self._node(path).get_double_value())

    def put(self, path: str, value: float) -> None:
        """Set one property."""
        try:
            self._nodes[path].set_double_value(value)
        except KeyError:
            self._node(path).set_double_value(value)

    def prepare(self, settle_s: float = 5.0) -> None:
        """Initialise on the runway, engine running at idle, brakes on, and let the struts settle."""
        f, s, a = self.fdm, self.s, self.a
        f["ic/terrain-elevation-ft"] = s.elevation_ft
        f["ic/lat-geod-deg"], f["ic/long-gc-deg"] = 47.0, 11.0
        f["ic/h-agl-ft"] = a.start_height_ft
        f["ic/psi-true-deg"] = s.runway_deg
        self._load()
        f["atmosphere/delta-T"] = s.isa_c * 1.8
        if self.output is not None:  # later than run_ic it would be accepted and send nothing
            f.set_output_directive(str(self.output))
        f.run_ic()
        f.disable_output()
        self._wind(0.0)
        f["fcs/mixture-cmd-norm"] = self.mixture = (
            1.0 if s.elevation_ft < 3000 else max(0.75, 1.0 - s.elevation_ft / 40000)
        )
        f["fcs/advance-cmd-norm"] = 1.0
        f["propulsion/magneto_cmd"] = 3
        f["propulsion/starter_cmd"] = 1
        f["propulsion/set-running"] = -1
        f["fcs/left-brake-cmd-norm"] = f["fcs/right-brake-cmd-norm"] = 1.0
        f["fcs/flap-cmd-norm"] = self.h.flaps = s.flaps_deg / (30.0 if a.key != "pa28" else 40.0)
        for _ in range(int(settle_s / STEP_S)):
            f.run()
        f.enable_output()
        f["propulsion/starter_cmd"] = 0
        self.rest_ft = f["position/h-agl-ft"]
        self.rest_pitch = f["attitude/theta-deg"]
        self.t0 = f["simulation/sim-time-sec"]
        self.n0, self.e0 = f["position/from-start-neu-n-ft"], f["position/from-start-neu-e-ft"]
        self.h.heading = s.runway_deg

    def _load(self) -> None:
        for i, (light, heavy) in enumerate(self.a.loads_lb):
            self.fdm[f"inertia/pointmass-weight-lbs[{i}]"] = light + (heavy - light) * self.s.load
        light, heavy = self.a.fuel_lb
        tanks = [i for i in range(4) if self.fdm.get_property_manager().hasNode(f"propulsion/tank[{i}]/contents-lbs")]
        for i in tanks:
            self.fdm[f"propulsion/tank[{i}]/contents-lbs"] = (light + (heavy - light) * self.s.load) / len(tanks)

    def _wind(self, height_ft: float) -> None:
        """Steady wind, growing a little with height (a tenth per 300 ft up to 1,000 ft), and the gusts of this step."""
        s = self.s
        blow_to = math.radians(s.runway_deg + s.wind_from_deg + 180.0)
        speed = s.wind_kt * FPS_PER_KT * (1.0 + 0.1 * _clamp(height_ft, 0, 1000) / 300)
        self.put("atmosphere/wind-north-fps", speed * math.cos(blow_to))
        self.put("atmosphere/wind-east-fps", speed * math.sin(blow_to))

    def _gusts(self, height_ft: float) -> None:
        """Ornstein-Uhlenbeck gusts, 2.5 s long; the vertical part dies out toward the ground."""
        if not self.s.gust_kt:
            return
        keep = math.exp(-STEP_S / 2.5)
        kick = self.s.gust_kt * FPS_PER_KT * math.sqrt(1 - keep * keep)
        noise = self.rng.standard_normal(3)
        scale = (1.0, 1.0, 0.5 * _clamp(height_ft / 200.0, 0.0, 1.0))
        for i, path in enumerate(("north", "east", "down")):
            self.gust[i] = self.gust[i] * keep + kick * noise[i]
            self.put(f"atmosphere/gust-{path}-fps", self.gust[i] * scale[i])

    # -- the flight -----------------------------------------------------------------------------------------------
    def fly(self, each_step: Callable[[float], None] | None = None) -> Raw:
        """Fly it to the end and return the record; each_step(t) is called after each step (pacing, receiving)."""
        if not hasattr(self, "rest_ft"):
            self.prepare()
        nodes = [self._node(path) for path in RECORDED.values()]
        rows: list[list[float]] = []
        run = self.fdm.run
        limit = int(self.s.longest_s / STEP_S)
        for step in range(limit):
            t = step * STEP_S
            rows.append([node.get_double_value() for node in nodes])
            if self.step(t):
                break
            run()
            if each_step is not None:
                each_step(t)
        table = np.array(rows)
        data = {name: table[:, i].copy() for i, name in enumerate(RECORDED)}
        data["t"] = np.arange(len(rows)) * STEP_S
        data["north_ft"] -= self.n0
        data["east_ft"] -= self.e0
        return Raw(self.s, data, self.h.marks, self.rest_ft)

    def step(self, t: float) -> bool:
        """One step of the pilot's hands; True when the flight is over."""
        self.ias = self.get("velocities/vc-kts")
        self.height = self.get("position/h-agl-ft") - self.rest_ft
        self.wheels = any(self.get(p) > 0.5 for p in ("gear/unit/WOW", "gear/unit[1]/WOW", "gear/unit[2]/WOW"))
        self.pitch = self.get("attitude/theta-deg")
        self._wind(self.height)
        self._gusts(self.height)
        self._begin_fault(t)
        self._wander(t)
        over = getattr(self, "_" + self.h.stage.replace("-", "_"))(t)
        self._hold_fault(t)
        h = self.h
        self.put("fcs/throttle-cmd-norm", h.throttle)
        self.put("fcs/left-brake-cmd-norm", h.brake)
        self.put("fcs/right-brake-cmd-norm", h.brake)
        self.put("fcs/flap-cmd-norm", h.flaps)
        self._steer(t)
        return bool(over) or (self.fault_t is not None and t - self.fault_t > self.s.after_fault_s)

    def _go(self, stage: str, t: float, mark: str | None = None) -> None:
        self.h.stage, self.h.stage_t = stage, t
        if mark and mark not in self.h.marks:
            self.h.marks[mark] = t

    def _wander(self, t: float) -> None:
        """The sloppy pilot's slow wandering of the pitch held: 1.5 degrees of it, 8 s long."""
        if self.s.sloppy:
            keep = math.exp(-STEP_S / 8.0)
            self.h.wobble = self.h.wobble * keep + math.sqrt(1 - keep * keep) * self.rng.standard_normal()

    # -- stages ---------------------------------------------------------------------------------------------------
    def _stand(self, t: float) -> bool:
        h, s = self.h, self.s
        h.brake = 1.0
        if s.kind == "run-up" and t < 16.0:
            h.throttle = _clamp((t - 3.0) / 2.0, 0, 1) * 0.45 if t < 12.0 else _clamp(0.45 - (t - 12.0) / 2, 0, 1)
            return False
        wait = s.stand_s + (16.0 if s.kind == "run-up" else 0.0)
        if s.rolling:
            h.brake, h.throttle = (
                0.0,
                0.0 if t < 2.0 else (0.35 if self.get("velocities/vg-fps") < 10 * FPS_PER_KT else 0.1),
            )
            wait = s.stand_s + 12.0
        if t >= wait:
            self._go("roll", t, "brake_release")
            h.marks.setdefault("throttle_opening", t)
        return False

    def _roll(self, t: float) -> bool:
        h, s = self.h, self.s
        h.brake = 0.0
        h.throttle = min(1.0, max(h.throttle, (t - h.stage_t) / s.throttle_s))
        if h.throttle >= 1.0:
            h.marks.setdefault("throttle_full", t)
        if s.kind in ("rejected", "burst") and self.ias >= s.reject_kt:
            self._go("stop", t, "throttle_closed")
        if s.kind == "hop" and "hop" not in h.marks and self.ias >= self.a.rotate_kt - s.hop_kt:
            h.pitch_target, h.integral, h.roll_pitch = self.pitch, self.a.pull, self.pitch
            self._go("hop", t, "hop")
        elif self.ias >= self.a.rotate_kt + s.rotate_error_kt:
            h.pitch_target, h.integral = self.pitch, self.a.pull
            h.roll_pitch = self.pitch
            self._go("rotate", t, "rotate")
        return False

    def _hop(self, t: float) -> bool:
        """Pulled off too early: up until the wheels leave, then let down again, and on with the roll."""
        h = self.h
        if not self.wheels and self.height > 0.4:
            h.marks.setdefault("hop_off", t)
        if "hop_off" in h.marks:
            h.pitch_target = max(h.roll_pitch, h.pitch_target - 14.0 * STEP_S)
            h.integral = min(h.integral, 0.0)
            if self.wheels and t - h.marks["hop_off"] > 0.3:
                self._go("roll", t, "hop_settled")
        else:
            h.pitch_target = min(h.roll_pitch + 11.0, h.pitch_target + 8.0 * STEP_S)
        return False

    def _rotate(self, t: float) -> bool:
        h = self.h
        goal = h.roll_pitch + self.a.rotate_pitch_deg
        h.pitch_target = min(goal, h.pitch_target + 3.0 * STEP_S)
        if not self.wheels and self.height > 1.0:
            h.airborne_t = t
            h.climb_pitch = self.pitch
            self._go("climb", t)
        return False

    def _climb(self, t: float) -> bool:
        h, s, a = self.h, self.s, self.a
        target_ias = a.best_rate_kt + 2.0 * s.sloppy * math.sin(t / 7.0)
        rate = _clamp(0.15 * (self.ias - target_ias) + 0.5 * self._ias_rate(), -1.5, 1.5)
        h.climb_pitch = _clamp(h.climb_pitch + rate * STEP_S, 2.0, 14.0)
        if self.height < 30:
            h.climb_pitch = max(h.climb_pitch, h.roll_pitch + 3.0)
        h.pitch_target = h.climb_pitch + 0.7 * s.sloppy * h.wobble
        if self.height > 320 and h.flaps > 0:
            h.flaps = 0.0
            h.marks.setdefault("flaps_up", t)
        if h.takeoff == 1 and s.kind in ("touch-and-go", "stop-and-go"):
            if self.height > 640:
                self._go("approach", t, "approach")
        elif s.turn and self.height > 620:
            h.marks.setdefault("turn", t)
            h.heading = s.runway_deg - 90.0
        if s.kind == "circuit" and self.height > s.top_ft - 60:
            self._go("level", t, "level_off")
        return self.height >= s.top_ft and s.kind != "circuit"

    def _approach(self, t: float) -> bool:
        """Down again straight ahead: speed by pitch, 500 ft/min by throttle, a flare at 18 ft, and the wheels on."""
        h, sink = self.h, self.get("velocities/h-dot-fps")
        if self.wheels and self.height < 2.0:
            h.throttle = 0.0
            self._go("landed", t, "touchdown")
            return False
        if self.height > 18.0:
            goal = self.a.rotate_kt * 1.22
            rate = _clamp(0.2 * (self.ias - goal) + 0.7 * self._ias_rate(), -3.0, 3.0)
            h.climb_pitch = _clamp(h.climb_pitch + rate * STEP_S, -8.0, 8.0)
            wanted = _clamp(0.35 + 0.05 * (-8.5 - sink), 0.0, 0.8)
            h.throttle += _clamp(wanted - h.throttle, -0.25 * STEP_S, 0.25 * STEP_S)
        else:
            h.throttle = max(0.0, h.throttle - 0.3 * STEP_S)
            rate = _clamp(1.2 * (-1.5 - 0.18 * self.height - sink), -6.0, 6.0)
            h.climb_pitch = _clamp(h.climb_pitch + rate * STEP_S, -3.0, 9.0)
        h.pitch_target = h.climb_pitch
        return False

    def _landed(self, t: float) -> bool:
        """Nose down; then off again from 0.75 VR, or stopped first for 6 s."""
        h, s = self.h, self.s
        stop = s.kind == "stop-and-go"
        speed = self.get("velocities/vg-fps") / FPS_PER_KT
        h.brake = _clamp((t - h.stage_t - 2.0) / 2.0, 0.0, 0.5) if stop else 0.0
        if stop and speed < 1.0:
            h.marks.setdefault("stopped_after_landing", t)
        waited = stop and t - h.marks.get("stopped_after_landing", t) > 6.0
        if waited or (not stop and self.ias < 0.75 * self.a.rotate_kt):
            h.takeoff = 2
            h.brake = 0.0
            self._go("roll", t, "second_roll")
        return False

    def _level(self, t: float) -> bool:
        h, s = self.h, self.s
        rate = _clamp(0.02 * (s.top_ft - self.height) - 0.12 * self.get("velocities/h-dot-fps"), -1.5, 1.5)
        h.climb_pitch = _clamp(h.climb_pitch + rate * STEP_S, -4.0, 10.0)
        h.pitch_target = h.climb_pitch
        if self.ias > self.a.best_rate_kt + 12:
            h.throttle = max(0.65, h.throttle - 0.15 * STEP_S)
            h.marks.setdefault("power_reduced", t)
        return t - h.stage_t > 40.0

    def _stop(self, t: float) -> bool:
        h = self.h
        h.throttle = max(0.0, h.throttle - STEP_S / 0.4)
        h.brake = _clamp((t - h.stage_t - 0.8) / 1.5, 0.0, 0.7)
        if self.get("velocities/vg-fps") < 1.0 * FPS_PER_KT:
            h.marks.setdefault("stopped", t)
            h.brake = 1.0
            return t - h.marks["stopped"] > 6.0
        return False

    def _glide(self, t: float) -> bool:
        """Engine gone in the air: nose down to the glide speed, straight ahead, until near the ground."""
        h = self.h
        rate = _clamp(0.3 * (self.ias - self.a.best_rate_kt) + 1.0 * self._ias_rate(), -4.0, 3.0)
        h.climb_pitch = _clamp(h.climb_pitch + rate * STEP_S, -8.0, 8.0)
        h.pitch_target = h.climb_pitch
        return self.height < 30.0 or t - h.stage_t > 40.0

    # -- hands ----------------------------------------------------------------------------------------------------
    def _ias_rate(self) -> float:
        """A smoothed acceleration in kt/s."""
        last, smooth = getattr(self, "_ias_last", (self.ias, 0.0))
        smooth += ((self.ias - last) / STEP_S - smooth) * STEP_S / 1.5
        self._ias_last = (self.ias, smooth)
        return smooth

    def _steer(self, t: float) -> None:
        h, s = self.h, self.s
        psi, r = self.get("attitude/psi-deg"), math.degrees(self.get("velocities/r-rad_sec"))
        runway = math.radians(s.runway_deg)
        north = self.get("position/from-start-neu-n-ft") - self.n0
        east = self.get("position/from-start-neu-e-ft") - self.e0
        offset = -north * math.sin(runway) + east * math.cos(runway)
        gs = self.get("velocities/vg-fps")
        if self.wheels:
            goal = s.runway_deg - _clamp(0.25 * offset, -6, 6) + self._veer(t) + 1.5 * s.sloppy * math.sin(t / 3.0)
            error = _turned(goal - psi)
            strength = 1.0 / (1.0 + (gs / 40.0) ** 2)
            command = _clamp(0.16 * error - 0.08 * r, -1, 1)
            self.steer_i = _clamp(getattr(self, "steer_i", 0.0) + 0.04 * error * STEP_S, -0.6, 0.6) if gs > 10 else 0.0
            self.put("fcs/steer-cmd-norm", _clamp((command + self.steer_i) * strength * 2.0, -1, 1))
            self.foot = -_clamp(self.steer_i, -1, 1)
            self.put("fcs/rudder-cmd-norm", -_clamp(command + self.steer_i, -1, 1))
            self.bank_goal = 0.0
        else:
            track = math.degrees(math.atan2(self.get("velocities/v-east-fps"), self.get("velocities/v-north-fps")))
            if h.heading != s.runway_deg:
                wrong = _turned(h.heading - psi)
                self.bank_goal = _clamp(0.8 * wrong, -14 - 2 * s.sloppy, 14 + 2 * s.sloppy)
            else:
                wrong = _turned(s.runway_deg - _clamp(0.02 * offset, -4, 4) - track)
                self.bank_goal = _clamp(1.5 * wrong, -6, 6) + 1.5 * s.sloppy * math.sin(t / 5.0)
            self.foot = getattr(self, "foot", 0.0) * (1.0 - STEP_S / 4.0)
            self.put("fcs/rudder-cmd-norm", _clamp(0.02 * r - 0.04 * self.get("aero/beta-deg") + self.foot, -0.6, 0.6))
            self.put("fcs/steer-cmd-norm", 0.0)
        p = math.degrees(self.get("velocities/p-rad_sec"))
        bank_error = self.bank_goal - self.get("attitude/phi-deg")
        lean = getattr(self, "lean", 0.0)
        self.lean = 0.0 if self.wheels else _clamp(lean + 0.012 * bank_error * STEP_S, -0.4, 0.4)
        self.put("fcs/aileron-cmd-norm", _clamp(0.035 * bank_error - 0.02 * p + self.lean, -1, 1))
        self._elevate()

    def _elevate(self) -> None:
        h = self.h
        if h.stage in ("stand", "roll", "stop", "landed"):
            self.put("fcs/elevator-cmd-norm", self._roll_elevator())
            return
        q = math.degrees(self.get("velocities/q-rad_sec"))
        error = h.pitch_target - self.pitch
        h.integral = _clamp(h.integral + error * STEP_S * 0.04, -0.7, 0.7)
        self.put("fcs/elevator-cmd-norm", _clamp(-self.a.elevator_gain * (0.05 * error + h.integral - 0.03 * q), -1, 1))

    def _roll_elevator(self) -> float:
        return 0.0

    # -- faults ---------------------------------------------------------------------------------------------------
    def _begin_fault(self, t: float) -> None:
        f = self.s.fault
        if f is None or self.fault_t is not None:
            return
        opening = self.h.marks.get("throttle_opening")
        begun = (
            f.on == "start"
            or (f.on == "time" and opening is not None and t - opening >= f.at)
            or (f.on == "ias" and opening is not None and self.ias >= f.at)
            or (f.on == "height" and self.height >= f.at and not self.wheels)
        )
        if begun:
            self.fault_t = self.h.marks["fault"] = t

    def _hold_fault(self, t: float) -> None:
        """Keep a model fault going, and let the pilot act on it when the scenario says so."""
        f, h, s = self.s.fault, self.h, self.s
        if f is None or self.fault_t is None:
            return
        age = t - self.fault_t
        if f.kind == "engine-failure":
            self.put("propulsion/magneto_cmd", 0)
        elif f.kind in ("partial-power", "rpm-low", "creeping-power"):
            share = max(0.3, 1.0 - f.size * age) if f.kind == "creeping-power" else f.size
            base = self.__dict__.setdefault("_ve", self.get("propulsion/engine/volumetric-efficiency"))
            self.put("propulsion/engine/volumetric-efficiency", base * share)
        elif f.kind == "dragging-brake" and h.stage in ("roll", "rotate"):
            h.brake = f.size
        elif f.kind == "power-eased" and h.stage == "climb":
            h.throttle = max(f.size, h.throttle - STEP_S * 0.3)
        if s.reaction_s is not None and age >= s.reaction_s and h.stage in ("roll", "rotate", "climb"):
            self._react(t)

    def _react(self, t: float) -> None:
        if self.wheels:
            self._go("stop", t, "throttle_closed")
        elif self.s.fault is not None and self.s.fault.kind == "engine-failure":
            self._go("glide", t, "nose_down")

    def _veer(self, t: float) -> float:
        f = self.s.fault
        if f is None or f.kind != "veer" or self.fault_t is None or self.h.stage == "stop":
            return 0.0
        return _clamp(f.size * (t - self.fault_t), -45, 45)
