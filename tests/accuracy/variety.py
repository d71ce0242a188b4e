"""Draws the day, the aeroplane, the pilot, the sensors and the fault of one flight from a seed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from monitor.options import Options
from tests.flights_jsbsim.scenario import Fault, Scenario
from tests.flights_jsbsim.sensors import Sensors

AEROPLANES = ("c172p", "c172r", "pa28", "c182", "J3Cub")
HOPS_WELL = ("c172p", "c172r")
"""Whose hop settles within 2 s; the others float for longer, which is a short flight and a landing, not a hop."""
RATES_HZ = (60.0, 30.0, 20.0, 10.0, 5.0, 2.0, 1.0)
RATE_SHARES = (0.08, 0.07, 0.50, 0.12, 0.08, 0.05, 0.10)

MAY_MISS: tuple[frozenset[str], ...] = (
    frozenset({"throttle"}),
    frozenset({"pitch_deg"}),
    frozenset({"groundspeed_kt"}),
    frozenset({"latitude_deg", "longitude_deg"}),
    frozenset({"groundspeed_kt", "latitude_deg", "longitude_deg", "track_deg"}),
    frozenset({"vertical_speed_fpm"}),
    frozenset({"heading_deg"}),
    frozenset({"oil_pressure_psi", "oil_temperature_degf"}),
    frozenset({"manifold_pressure_inhg"}),
    frozenset({"altitude_ft"}),
    frozenset({"flaps_deg", "brake", "parking_brake", "mixture"}),
    frozenset({"rpm"}),
)
"""Channels left out together; one of these sets in 3 flights of 10."""


def _rng(seed: int, salt: int) -> np.random.Generator:
    return np.random.default_rng([seed, salt])


def draw_scenario(seed: int) -> Scenario:
    """A clean flight's scenario."""
    r = _rng(seed, 1)
    aeroplane = str(r.choice(AEROPLANES, p=(0.3, 0.2, 0.2, 0.2, 0.1)))
    weak = aeroplane == "J3Cub"
    elevation = float(r.choice((0.0, r.uniform(0, 6000)), p=(0.25, 0.75))) * (0.5 if weak else 1.0)
    wind = float(r.choice((0.0, r.uniform(0, 20)), p=(0.2, 0.8))) * (0.5 if weak else 1.0)
    side = float(r.uniform(-180, 180))
    wind = min(wind, 5.0) if abs(side) > 110 else min(wind, 15.0) if abs(side) > 50 else wind
    if weak and abs(side) > 40:
        wind = min(wind, 4.0)  # the model of the light tailwheel aeroplane turns over in more
    gust = float(r.uniform(0, 0.18)) * wind + float(r.choice((0.0, r.uniform(0, 1.0))))
    kinds = ("takeoff", "circuit", "rejected", "hop", "burst", "run-up")
    kind = str(r.choice(kinds, p=(0.68, 0.12, 0.06, 0.04, 0.04, 0.06)))
    return Scenario(
        aeroplane=aeroplane,
        kind="takeoff" if kind == "hop" and aeroplane not in HOPS_WELL else kind,
        elevation_ft=round(elevation),
        runway_deg=float(r.integers(1, 37)) * 10.0 % 360.0,
        wind_kt=round(wind, 1),
        wind_from_deg=round(side),
        gust_kt=round(gust, 2),
        seed=seed,
        load=float(r.uniform(0.4 if kind == "hop" else 0.0, 0.6 if elevation > 3500 else 1.0)),
        isa_c=float(r.uniform(-15, 20)),
        sloppy=float(r.uniform(0, 1.0)),
        rotate_error_kt=float(r.uniform(-2, 4)),
        rolling=bool(r.random() < 0.15),
        stand_s=float(r.uniform(4, 12)),
        throttle_s=float(r.uniform(1.5, 4.5)),
        turn=bool(r.random() < 0.7),
        top_ft=1000.0 if kind == "circuit" else 1200.0,
        hop_kt=9.0,
        reject_kt=float(r.uniform(25, 34 if weak else 50)),
        longest_s=200.0,
    )


def draw_sensors(seed: int) -> Sensors:
    """How it is sent."""
    r = _rng(seed, 2)
    rate = float(r.choice(RATES_HZ, p=RATE_SHARES))
    missing = MAY_MISS[int(r.integers(len(MAY_MISS)))] if r.random() < 0.3 else frozenset()
    missing |= {"on_ground"} if r.random() < 0.25 else frozenset()
    missing |= {"height_ft"} if r.random() < 0.25 and "altitude_ft" not in missing else frozenset()
    return Sensors(
        rate_hz=rate,
        noise=float(r.choice((0.0, r.uniform(0.2, 1.2)), p=(0.3, 0.7))),
        rounding=float(r.choice((0.0, r.uniform(0.1, 1.0)), p=(0.5, 0.5))),
        lag_s=float(r.choice((0.0, r.uniform(0, 0.4)), p=(0.5, 0.5))),
        missing=missing,
        loss=float(r.choice((0.0, r.uniform(0, 0.2)), p=(0.7, 0.3))),
        sag_ft=float(r.choice((0.0, r.uniform(5, 50)), p=(0.5, 0.5))),
        pitot=str(r.choice(("model", "axis", "dead-below-20"), p=(0.5, 0.35, 0.15))),
        start_s=float(r.uniform(0, 5000)),
        jitter=float(r.choice((0.0, 0.5))),
        seed=seed,
    )


def draw_options(seed: int, scenario: Scenario) -> Options:
    """What the coach is told beforehand: often the field's elevation and the runway's heading, sometimes its length."""
    r = _rng(seed, 3)
    return Options(
        field_elevation_ft=scenario.elevation_ft if r.random() < 0.5 else None,
        runway_heading_deg=scenario.runway_deg if r.random() < 0.5 else None,
        level_off_ft=scenario.elevation_ft + scenario.top_ft
        if scenario.kind == "circuit" and r.random() < 0.7
        else None,
    )


def _uniform(r: np.random.Generator, low: float, high: float) -> float:
    return float(r.uniform(low, high))


def draw_fault(seed: int, scenario: Scenario) -> tuple[Scenario, frozenset[str]]:
    """The scenario with one fault in it, and the channels that must be sent for the fault to be seen."""
    r = _rng(seed, 4)
    kind = FAULT_KINDS[int(r.integers(len(FAULT_KINDS)))]
    vr = {"c172p": 55, "c172r": 55, "pa28": 60, "c182": 58, "J3Cub": 42}[scenario.aeroplane]
    at_roll = ("ias", _uniform(r, 14, vr + 2)) if scenario.wind_kt < 12 else ("time", _uniform(r, 5, 16))
    at_climb = ("height", _uniform(r, 20, 900))
    anywhere = at_roll if r.random() < 0.6 else at_climb
    fixed = scenario.aeroplane not in ("pa28", "c182")
    made = {
        "engine-failure": (*anywhere, 0.0),
        "partial-power": (*anywhere, _uniform(r, 0.55, 0.85)),
        "creeping-power": (*at_climb, _uniform(r, 0.006, 0.03)),
        "rpm-low": ("start", 0.0, _uniform(r, 0.55, 0.75)),
        "oil-pressure-low": (*anywhere, _uniform(r, 0, 9)),
        "oil-pressure-sag": (*anywhere, -_uniform(r, 2, 8)),
        "oil-temperature-high": (*anywhere, _uniform(r, 8, 40)),
        "rpm-high": (*anywhere, _uniform(r, 1.22, 1.32) if fixed else _uniform(r, 1.07, 1.15)),
        "manifold-pressure-low": (*at_roll, _uniform(r, 0.86, 0.91)),
        "airspeed-dead": ("start", 0.0, 0.0),
        "airspeed-stuck": ("ias", _uniform(r, 21, 34), 0.0),
        "veer": ("ias", _uniform(r, 20, vr - 3), _uniform(r, 4, 9) * float(r.choice((-1, 1)))),
        "flaps-wrong": ("start", 0.0, 0.0),
        "parking-brake": ("start", 0.0, 1.0),
        "mixture-lean": ("start", 0.0, _uniform(r, 0.2, 0.5)),
        "fuel-pressure-low": (*anywhere, _uniform(r, 0, 0.6)),
        "cylinder-hot": (*anywhere, _uniform(r, 15, 60)),
        "oil-pressure-high": (*anywhere, _uniform(r, 120, 150)),
        "power-eased": ("height", _uniform(r, 60, 380), _uniform(r, 0.6, 0.8)),
        "feed-lost": (*anywhere, _uniform(r, 3.2, 7)),
        "dragging-brake": ("time", 0.0, _uniform(r, 0.05, 0.25)),
        "airspeed-gone": (*anywhere, 0.0),
        "oil-pressure-gone": (*anywhere, 0.0),
        "rpm-gone": (*anywhere, 0.0),
        "rpm-spikes": (*anywhere, float(r.choice((0.0, 4900.0)))),
        "frozen-rpm": (*anywhere, 0.0),
        "frozen-heading": (*anywhere, 0.0),
        "frozen-altitude": (*at_climb, 0.0),
        "static-blocked": (*at_climb, 0.0),
        "suction-low": (*anywhere, 1.0),
        "bus-low": (*anywhere, 11.0),
        "door-open": (*anywhere, 1.0),
        "carburettor-heat": ("start", 0.0, 1.0),
    }
    on, at, size = made[kind]
    reacts = _uniform(r, 3.5, 6.0) if r.random() < 0.5 else None
    if kind in ("veer", "engine-failure"):
        reacts = _uniform(r, 3.0, 5.0) + (4.0 if kind == "veer" else 0.0)
    if kind in ("power-eased", "feed-lost") or on == "start":
        reacts = None
    flown = replace(
        scenario,
        kind="takeoff",
        fault=Fault(kind, on, at, size),
        reaction_s=reacts,
        flaps_deg=20.0 if kind == "flaps-wrong" else 0.0,
        after_fault_s=200.0 if on == "start" else 45.0,
    )
    return flown, NEEDS.get(kind, frozenset())


FAULT_KINDS = (
    "engine-failure",
    "partial-power",
    "creeping-power",
    "rpm-low",
    "oil-pressure-low",
    "oil-pressure-sag",
    "oil-temperature-high",
    "rpm-high",
    "manifold-pressure-low",
    "airspeed-dead",
    "airspeed-stuck",
    "veer",
    "flaps-wrong",
    "parking-brake",
    "mixture-lean",
    "fuel-pressure-low",
    "cylinder-hot",
    "oil-pressure-high",
    "power-eased",
    "feed-lost",
    "dragging-brake",
    "airspeed-gone",
    "oil-pressure-gone",
    "rpm-gone",
    "rpm-spikes",
    "frozen-rpm",
    "frozen-heading",
    "frozen-altitude",
    "static-blocked",
    "suction-low",
    "bus-low",
    "door-open",
    "carburettor-heat",
)

_POWER = frozenset({"rpm", "throttle"})
NEEDS: dict[str, frozenset[str]] = {
    "engine-failure": _POWER,
    "partial-power": _POWER,
    "creeping-power": _POWER,
    "rpm-low": _POWER,
    "rpm-high": _POWER,
    "oil-pressure-low": frozenset({"oil_pressure_psi"}),
    "oil-pressure-sag": frozenset({"oil_pressure_psi"}),
    "oil-pressure-high": frozenset({"oil_pressure_psi", "oil_temperature_degf"}),
    "oil-temperature-high": frozenset({"oil_temperature_degf"}),
    "manifold-pressure-low": frozenset({"manifold_pressure_inhg", "throttle"}),
    "airspeed-dead": frozenset({"groundspeed_kt"}),
    "airspeed-stuck": frozenset({"groundspeed_kt"}),
    "veer": frozenset({"heading_deg"}),
    "flaps-wrong": frozenset({"flaps_deg"}),
    "parking-brake": frozenset({"parking_brake"}),
    "mixture-lean": frozenset({"mixture", "altitude_ft"}),
    "power-eased": frozenset({"throttle"}),
}
"""Channels without which a fault cannot be seen; they are always sent in that fault's flights."""
