"""The running model of one aeroplane: its properties, its preparation on the runway, the wind, a flight's record."""

from __future__ import annotations

import math
from dataclasses import dataclass
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


def clamp(value: float, low: float, high: float) -> float:
    """The value, held between low and high."""
    return low if value < low else high if value > high else value


def turned(angle: float) -> float:
    """An angle in degrees brought into -180 to 180."""
    return (angle + 180.0) % 360.0 - 180.0


class Model:
    """One aeroplane on one day: get and put properties, prepare it on the runway, blow the wind."""

    def __init__(self, scenario: Scenario, output: Path | None = None) -> None:
        """Load the aeroplane; nothing moves yet. output: a file that directs the library's own output."""
        self.output = output
        self.s = scenario
        self.a: Aeroplane = AEROPLANES[scenario.aeroplane]
        self.rng = np.random.default_rng(scenario.seed)
        self.fdm = load_model(self.a)
        self._manager = self.fdm.get_property_manager()
        self._nodes: dict[str, Any] = {}
        self.gust = [0.0, 0.0, 0.0]
        self.rest_ft: float | None = None
        self.t0 = self.n0 = self.e0 = 0.0

    def node(self, path: str) -> Any:
        """One property's handle."""
        node = self._nodes.get(path)
        if node is None:
            node = self._nodes[path] = self._manager.get_node(path)
        return node

    def get(self, path: str) -> float:
        """One property's value."""
        try:
            return self._nodes[path].get_double_value()  # type: ignore[no-any-return]
        except KeyError:
            return float(self.node(path).get_double_value())

    def put(self, path: str, value: float) -> None:
        """Set one property."""
        try:
            self._nodes[path].set_double_value(value)
        except KeyError:
            self.node(path).set_double_value(value)

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
        self.blow(0.0)
        f["fcs/mixture-cmd-norm"] = self.mixture = (
            1.0 if s.elevation_ft < 3000 else max(0.75, 1.0 - s.elevation_ft / 40000)
        )
        f["fcs/advance-cmd-norm"] = 1.0
        f["propulsion/magneto_cmd"] = 3
        f["propulsion/starter_cmd"] = 1
        f["propulsion/set-running"] = -1
        f["fcs/left-brake-cmd-norm"] = f["fcs/right-brake-cmd-norm"] = 1.0
        f["fcs/flap-cmd-norm"] = s.flaps_deg / (30.0 if a.key != "pa28" else 40.0)
        for _ in range(int(settle_s / STEP_S)):
            f.run()
        f.enable_output()
        f["propulsion/starter_cmd"] = 0
        self.rest_ft = f["position/h-agl-ft"]
        self.t0 = f["simulation/sim-time-sec"]
        self.n0, self.e0 = f["position/from-start-neu-n-ft"], f["position/from-start-neu-e-ft"]

    def _load(self) -> None:
        for i, (light, heavy) in enumerate(self.a.loads_lb):
            self.fdm[f"inertia/pointmass-weight-lbs[{i}]"] = light + (heavy - light) * self.s.load
        light, heavy = self.a.fuel_lb
        tanks = [i for i in range(4) if self.fdm.get_property_manager().hasNode(f"propulsion/tank[{i}]/contents-lbs")]
        for i in tanks:
            self.fdm[f"propulsion/tank[{i}]/contents-lbs"] = (light + (heavy - light) * self.s.load) / len(tanks)

    def blow(self, height_ft: float) -> None:
        """Steady wind, growing a little with height (a tenth per 300 ft up to 1,000 ft), and the gusts of this step."""
        s = self.s
        blow_to = math.radians(s.runway_deg + s.wind_from_deg + 180.0)
        speed = s.wind_kt * FPS_PER_KT * (1.0 + 0.1 * clamp(height_ft, 0, 1000) / 300)
        self.put("atmosphere/wind-north-fps", speed * math.cos(blow_to))
        self.put("atmosphere/wind-east-fps", speed * math.sin(blow_to))

    def gusts(self, height_ft: float) -> None:
        """Ornstein-Uhlenbeck gusts, 2.5 s long; the vertical part dies out toward the ground."""
        if not self.s.gust_kt:
            return
        keep = math.exp(-STEP_S / 2.5)
        kick = self.s.gust_kt * FPS_PER_KT * math.sqrt(1 - keep * keep)
        noise = self.rng.standard_normal(3)
        scale = (1.0, 1.0, 0.5 * clamp(height_ft / 200.0, 0.0, 1.0))
        for i, path in enumerate(("north", "east", "down")):
            self.gust[i] = self.gust[i] * keep + kick * noise[i]
            self.put(f"atmosphere/gust-{path}-fps", self.gust[i] * scale[i])
