"""A guided flight for the tests of field identification: flown in jsbsim, with the pilot's answers.

The aeroplane is the library's own model, flown by a few proportional loops through the very steps the guided
procedure asks for. Nothing here knows how fields are identified.
"""

from __future__ import annotations

import functools
import math
import random
from collections.abc import Callable, Iterator
from typing import NamedTuple

import jsbsim
import numpy as np

HZ = 20
STEP_S = 1 / 120
ELEVATION_FT = 612.0

PROPERTIES: dict[str, tuple[str, float, float]] = {  # name: (property, factor, offset) into the unit in the name
    "time_s": ("simulation/sim-time-sec", 1, 0),
    "ias_kt": ("velocities/vc-kts", 1, 0),
    "groundspeed_kt": ("velocities/vg-fps", 0.592484, 0),
    "altitude_ft": ("position/h-sl-ft", 1, 0),
    "height_ft": ("position/h-agl-ft", 1, 0),
    "vertical_speed_fpm": ("velocities/h-dot-fps", 60, 0),
    "pitch_deg": ("attitude/theta-deg", 1, 0),
    "bank_deg": ("attitude/phi-deg", 1, 0),
    "heading_deg": ("attitude/psi-deg", 1, 0),
    "latitude_deg": ("position/lat-geod-deg", 1, 0),
    "longitude_deg": ("position/long-gc-deg", 1, 0),
    "rpm": ("propulsion/engine/propeller-rpm", 1, 0),
    "throttle": ("fcs/throttle-pos-norm", 1, 0),
    "oil_pressure_psi": ("propulsion/engine/oil-pressure-psi", 1, 0),
    "oil_temperature_degf": ("propulsion/engine/oil-temperature-degF", 1, 0),
    "manifold_pressure_inhg": ("propulsion/engine/map-inhg", 1, 0),
    "fuel_flow_gph": ("propulsion/engine/fuel-flow-rate-gph", 1, 0),
    "cht_degf": ("propulsion/engine/cht-degF", 1, 0),
    "egt_degf": ("propulsion/engine/egt-degF", 1, 0),
    "normal_acceleration_g": ("accelerations/Nz", 1, 0),
    "flaps_deg": ("fcs/flap-pos-deg", 1, 0),
    "on_ground": ("gear/unit[1]/WOW", 1, 0),
    "elevator": ("fcs/elevator-cmd-norm", -1, 0),
    "aileron": ("fcs/aileron-cmd-norm", 1, 0),
    "oat_degc": ("atmosphere/T-R", 5 / 9, -273.15),
}
DECOYS: dict[str, str] = {  # what else a simulator sends; none of it is a channel asked for
    "true_airspeed_fps": "velocities/vt-fps",
    "angle_of_attack_deg": "aero/alpha-deg",
    "sideslip_deg": "aero/beta-deg",
    "roll_rate_rad_s": "velocities/p-rad_sec",
    "pitch_rate_rad_s": "velocities/q-rad_sec",
    "yaw_rate_rad_s": "velocities/r-rad_sec",
    "fuel_left_lb": "propulsion/tank/contents-lbs",
    "fuel_right_lb": "propulsion/tank[1]/contents-lbs",
    "power_hp": "propulsion/engine/power-hp",
    "thrust_lb": "propulsion/engine/thrust-lbs",
    "density_slug_ft3": "atmosphere/rho-slugs_ft3",
    "mixture": "fcs/mixture-cmd-norm",
    "flight_path_rad": "flight-path/gamma-rad",
}


class Step(NamedTuple):
    """When the pilot did one thing that was asked."""

    id: str
    from_s: float
    to_s: float


class Reading(NamedTuple):
    """What the pilot read off a gauge, as a person reads one: rounded."""

    id: str
    channel: str
    at_s: float
    value: float


class Flight(NamedTuple):
    """The recorded flight: arrival times, true columns in the units of their names, decoys, and the pilot's answers."""

    t_s: np.ndarray
    truth: dict[str, np.ndarray]
    decoys: dict[str, np.ndarray]
    steps: tuple[Step, ...]
    readings: tuple[Reading, ...]


READ_TO: dict[str, float] = {  # the fineness a person reads each gauge with (common practice, no source)
    "ias_kt": 1,
    "altitude_ft": 20,
    "heading_deg": 5,
    "vertical_speed_fpm": 50,
    "pitch_deg": 2.5,
    "bank_deg": 5,
    "rpm": 20,
    "oil_pressure_psi": 5,
    "oil_temperature_degf": 5,
    "flaps_deg": 5,
}


class _Pilot:
    """Flies the model by small loops, and writes down what a feed would send and what the pilot would answer."""

    def __init__(self, wind: tuple[float, float], seed: int, model: str) -> None:
        self.fdm = jsbsim.FGFDMExec(None)
        self.fdm.set_debug_level(0)
        self.fdm.load_model(model)
        self.fdm.set_dt(STEP_S)
        start = {"h-agl-ft": 4.4, "terrain-elevation-ft": ELEVATION_FT, "psi-true-deg": 262.0}
        start |= {"lat-geod-deg": 46.9, "long-gc-deg": 7.4}
        for name, value in start.items():
            self.fdm[f"ic/{name}"] = value
        self.fdm.run_ic()
        self.fdm["propulsion/set-running"] = -1
        self.fdm["fcs/mixture-cmd-norm"] = 0.95
        self.fdm["atmosphere/wind-north-fps"], self.fdm["atmosphere/wind-east-fps"] = wind
        self.random = random.Random(seed)
        self.heading = 262.0
        self.pitch: float | None = None
        self.bank: float | None = None
        self.brake = 1.0
        self.stick: tuple[float, float] | None = None
        self.rows: list[list[float]] = []
        self.steps: list[Step] = []
        self.readings: list[Reading] = []
        self.decoys = [name for name, prop in DECOYS.items() if self._has(prop)]
        self.names = [p for p, _, _ in PROPERTIES.values()] + [DECOYS[name] for name in self.decoys]

    def _has(self, prop: str) -> bool:
        try:
            return math.isfinite(self.fdm[prop])
        except KeyError:
            return False

    @property
    def now_s(self) -> float:
        return float(self.fdm["simulation/sim-time-sec"])

    def advance(self, seconds: float, each: Callable[[float], None] | None = None) -> None:
        """Fly on for `seconds`; `each` gets the share of them that has passed, 0 to 1."""
        ticks = round(seconds / STEP_S)
        for i in range(ticks):
            if each is not None:
                each((i + 1) / ticks)
            self._control()
            self.fdm.run()
            if round(self.now_s / STEP_S) % round(1 / STEP_S / HZ) == 0:
                self.rows.append([float(self.fdm[name]) for name in self.names])

    def step(self, name: str, seconds: float, each: Callable[[float], None] | None = None) -> None:
        """Do what a step asks, and keep its time window with a little slack on both sides, as key presses have."""
        start = self.now_s
        self.advance(self.random.uniform(0.3, 1.0))
        self.advance(seconds, each)
        self.advance(self.random.uniform(0.3, 1.0))
        self.steps.append(Step(name, start, self.now_s))

    def read(self, name: str, channel: str) -> None:
        """Look at a gauge, type what it shows, and press Enter two or three seconds later."""
        prop, factor, offset = PROPERTIES[channel]
        fineness = READ_TO[channel]
        value = round((float(self.fdm[prop]) * factor + offset) / fineness) * fineness
        self.advance(self.random.uniform(1.0, 3.0))
        self.readings.append(Reading(name, channel, self.now_s, value))

    def _control(self) -> None:
        f = self.fdm
        f["fcs/left-brake-cmd-norm"] = f["fcs/right-brake-cmd-norm"] = self.brake
        off = (self.heading - f["attitude/psi-deg"] + 180) % 360 - 180
        on_ground = f["position/h-agl-ft"] < 6
        if on_ground:
            pedals = _hold(0.04 * off - 1.5 * f["velocities/r-rad_sec"])  # right positive; the model's rudder is not
            f["fcs/steer-cmd-norm"], f["fcs/rudder-cmd-norm"] = pedals, -pedals
        else:
            f["fcs/rudder-cmd-norm"] = 0.0
        if self.stick is not None:
            f["fcs/elevator-cmd-norm"], f["fcs/aileron-cmd-norm"] = -self.stick[0], self.stick[1]
            return
        keep = max(-10.0, min(10.0, off)) if self.bank is None else self.bank
        bank_wanted = 0.0 if on_ground else keep
        f["fcs/aileron-cmd-norm"] = _hold(
            0.03 * (bank_wanted - f["attitude/phi-deg"]) - 0.3 * f["velocities/p-rad_sec"]
        )
        if self.pitch is None:
            f["fcs/elevator-cmd-norm"] = 0.0
        else:
            error = self.pitch - f["attitude/theta-deg"]
            self.trim = getattr(self, "trim", 0.0) + 0.0004 * error
            f["fcs/elevator-cmd-norm"] = -_hold(0.05 * error + self.trim - 0.4 * f["velocities/q-rad_sec"])


def _hold(value: float) -> float:
    return max(-0.7, min(0.7, value))


def _there_and_back(share: float) -> float:
    return max(0.0, min(1.0, 2.5 * share, 2.5 * (1 - share)))


def _one_side_then_other(share: float) -> float:
    return math.sin(2 * math.pi * share)


def _ground(pilot: _Pilot) -> None:
    f = pilot.fdm
    pilot.advance(15)
    pilot.rows.clear()
    pilot.step("rest", 8)
    for channel in ("altitude_ft", "heading_deg", "rpm", "oil_pressure_psi", "oil_temperature_degf"):
        pilot.read("ground", channel)

    def throttle(share: float) -> None:
        f["fcs/throttle-cmd-norm"] = _there_and_back(share)

    def flaps(share: float) -> None:
        f["fcs/flap-cmd-norm"] = 1.0 if share < 0.5 else 0.0

    def stick(axis: int) -> Callable[[float], None]:
        def move(share: float) -> None:
            angle = _one_side_then_other(share)
            pilot.stick = (angle, 0.0) if axis == 0 else (0.0, -angle)

        return move

    pilot.step("throttle", 12, throttle)
    pilot.step("flaps", 26, flaps)
    pilot.step("elevator", 5, stick(0))
    pilot.step("aileron", 5, stick(1))
    pilot.stick = None


def _flight(pilot: _Pilot) -> None:
    f = pilot.fdm

    def takeoff(share: float) -> None:
        pilot.brake = 0.0
        f["fcs/throttle-cmd-norm"] = min(1.0, share * 20)
        if f["velocities/vc-kts"] > 55:
            pilot.pitch = 8.0

    def ask(name: str, *channels: str) -> None:
        for channel in channels:
            pilot.read(name, channel)

    def pitching(share: float) -> None:
        pilot.pitch = 8.0 + (5.0 if share < 0.4 else -7.0 if share < 0.8 else 0.0)

    def banking(share: float) -> None:
        pilot.bank = -20.0 if share < 0.4 else 20.0 if share < 0.8 else None

    def turning(share: float) -> None:
        pilot.bank = 20.0 if share < 0.75 else None
        pilot.heading = 345.0

    pilot.step("takeoff", 65, takeoff)
    ask("climb", "ias_kt", "altitude_ft", "heading_deg", "vertical_speed_fpm", "pitch_deg")
    ask("climb", "rpm", "oil_pressure_psi", "oil_temperature_degf")
    pilot.step("pitch", 16, pitching)
    pilot.step("bank", 16, banking)
    pilot.step("turn", 20, turning)
    pilot.pitch = 1.0
    f["fcs/throttle-cmd-norm"] = 0.75
    pilot.step("level", 20)
    ask("level", "ias_kt", "altitude_ft", "heading_deg", "rpm", "oil_pressure_psi", "oil_temperature_degf")


@functools.cache
def guided_flight(wind: tuple[float, float] = (-6.0, 12.0), seed: int = 1, model: str = "c172p") -> Flight:
    """One guided flight, flown once and kept. `wind`: ft/s from the north and the east component it blows towards."""
    pilot = _Pilot(wind, seed, model)
    _ground(pilot)
    _flight(pilot)
    table = np.array(pilot.rows)
    truth = {}
    for i, (name, (_, factor, offset)) in enumerate(PROPERTIES.items()):
        truth[name] = table[:, i] * factor + offset
    decoys = {name: table[:, len(PROPERTIES) + i] for i, name in enumerate(pilot.decoys)}
    arrival = truth["time_s"].copy()
    return Flight(arrival, truth, decoys, tuple(pilot.steps), tuple(pilot.readings))


def summary(flight: Flight) -> Iterator[str]:
    """The flight in lines for a person: each column's range, and the answers."""
    for name, column in {**flight.truth, **flight.decoys}.items():
        yield f"{name:24s} {column.min():12.4f} {column.max():12.4f}"
    yield from map(str, flight.steps)
    yield from map(str, flight.readings)


if __name__ == "__main__":
    print(*summary(guided_flight()), sep="\n")
