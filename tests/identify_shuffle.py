"""Makes an unknown feed of a known flight: shuffled, unlabelled, mixed units and signs, noise, decoys.

Factors are by definition (NIST Special Publication 811, appendix B; International Nautical Mile 1929: 1,852 m; foot
0.3048 m; inch of mercury 3,386.389 Pa; psi 6,894.757 Pa) and written here anew, apart from the ones under test.
"""

from __future__ import annotations

import math
import random
from typing import NamedTuple

import numpy as np

from tests.identify_flight import Flight

KT = 1852 / 3600  # m/s
FT = 0.3048  # m
PSI = 6.894757  # kPa

SPEED = {"kt": 1.0, "m/s": KT, "km/h": KT * 3.6, "mph": 1852 / 1609.344, "ft/s": KT / FT}
LENGTH = {"ft": 1.0, "m": FT}
ANGLE = {"deg": 1.0, "rad": math.pi / 180}
UNITS: dict[str, dict[str, float]] = {  # how many of the unit in one of the channel's own
    "ias_kt": SPEED,
    "groundspeed_kt": SPEED,
    "altitude_ft": LENGTH,
    "height_ft": LENGTH,
    "heading_deg": ANGLE,
    "pitch_deg": ANGLE,
    "bank_deg": ANGLE,
    "rpm": {"rev/min": 1.0, "rev/s": 1 / 60, "rad/s": math.pi / 30},
    "throttle": {"1": 1.0, "percent": 100.0},
    "oil_pressure_psi": {"psi": 1.0, "kPa": PSI, "bar": PSI / 100},
    "vertical_speed_fpm": {"ft/min": 1.0, "m/s": FT / 60, "ft/s": 1 / 60},
    "manifold_pressure_inhg": {"inHg": 1.0, "hPa": 33.86389, "kPa": 3.386389},
    "fuel_flow_gph": {"gal/h": 1.0, "L/h": 3.785411784},
}
TEMPERATURES = ("degF", "degC", "K")
SIGNED = ("pitch_deg", "bank_deg", "vertical_speed_fpm")
ASKED = (
    *("ias_kt", "altitude_ft", "height_ft", "heading_deg", "pitch_deg", "bank_deg", "rpm", "throttle"),
    *("oil_pressure_psi", "oil_temperature_degf"),
)


class Truth(NamedTuple):
    """Where a channel went: the field's number, its unit, and whether its sign (or a lever's direction) was turned."""

    field: int
    unit: str
    flipped: bool


class Shuffled(NamedTuple):
    """A feed with numbered fields, what each channel became, and the name behind each number."""

    columns: dict[str | int, np.ndarray]
    truth: dict[str, Truth]
    names: list[str]


def shuffle(flight: Flight, seed: int, noise: float = 0.002, levers: bool = True) -> Shuffled:
    """One shuffle. noise: one sigma as a share of each field's range; levers: a throttle may run from 1 to 0."""
    rng = random.Random(seed)
    noisy = np.random.default_rng(seed)
    sent: dict[str, np.ndarray] = {}
    units: dict[str, tuple[str, bool]] = {}
    for name, column in flight.truth.items():
        sent[name], *unit = _sent(name, column, rng, levers)
        units[name] = (unit[0], unit[1])
    sent |= flight.decoys | invented(flight, noisy)
    for name in sent:
        if name not in {"time_s", "on_ground", "counter", "constant", "wall_clock"}:
            fine = 0.02 if name in {"latitude_deg", "longitude_deg"} else 1.0  # a metre or so, as receivers have
            spread = fine * noise * rng.random() * float(np.ptp(sent[name]))
            sent[name] = sent[name] + noisy.normal(0.0, 1.0, len(sent[name])) * spread
    names = list(sent)
    rng.shuffle(names)
    truth = {name: Truth(names.index(name), *units[name]) for name in flight.truth}
    return Shuffled({i: sent[name] for i, name in enumerate(names)}, truth, names)


def _sent(name: str, column: np.ndarray, rng: random.Random, levers: bool) -> tuple[np.ndarray, str, bool]:
    if name == "oil_temperature_degf":
        unit = rng.choice(TEMPERATURES)
        celsius = (column - 32) / 1.8
        return {"degF": column, "degC": celsius, "K": celsius + 273.15}[unit], unit, False
    unit, factor = rng.choice(list(UNITS.get(name, {"": 1.0}).items()))
    if name == "heading_deg" and rng.random() < 0.4:
        column = (column + 180) % 360 - 180
    if name == "throttle" and levers and rng.random() < 0.3:
        return (1 - column) * factor, unit, True
    flipped = name in SIGNED and rng.random() < 0.4
    return column * factor * (-1 if flipped else 1), unit, flipped


def invented(flight: Flight, noisy: np.random.Generator) -> dict[str, np.ndarray]:
    """Fields that mean nothing to a coach: constants, counters, hours, random walks, noise, echoes of the past."""
    n = len(flight.t_s)
    hours = 1234.5 + flight.t_s / 3600
    walk = np.cumsum(noisy.normal(0, 1, n))
    found = {
        "constant": np.full(n, 29.92),
        "counter": np.arange(n, dtype=float),
        "engine_hours": hours,
        "engine_hours_tenths": np.floor(hours * 10) / 10,
        "wall_clock": np.full(n, 45296.0) + np.floor(flight.t_s),
        "fuel_total_gal": 38.0 - 0.0002 * flight.t_s * 20,
        "voltage": 28.0 + noisy.normal(0, 0.05, n),
        "radio_mhz": np.where(flight.t_s < 100, 118.3, 121.5),
        "noise": noisy.normal(0, 1, n),
    }
    for i, size in enumerate((0.001, 0.1, 1.0, 30.0)):
        found[f"walk_{i}"] = size * np.roll(walk, 997 * i) + 10 * size * i
    return found
