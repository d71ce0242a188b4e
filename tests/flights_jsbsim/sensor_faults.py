"""Faults made at the sensors: they change what is sent, never the flight."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from tests.flights_jsbsim.scenario import Fault

Arrays = dict[str, np.ndarray]
"""Channels by name, and "t" (s), all of one length."""


def _age(c: Arrays, start: float) -> np.ndarray:
    return np.maximum(0.0, c["t"] - start)


def _hold(name: str) -> Callable[[Arrays, float, Fault], None]:
    def apply(c: Arrays, start: float, fault: Fault) -> None:
        i = int(np.searchsorted(c["t"], start))
        c[name] = c[name].copy()
        c[name][i:] = c[name][min(i, len(c[name]) - 1)]

    return apply


def _dead_airspeed(c: Arrays, start: float, fault: Fault) -> None:
    c["ias_kt"] = np.where(c["t"] >= start, fault.size, c["ias_kt"])


def _settle(name: str, seconds: float) -> Callable[[Arrays, float, Fault], None]:
    """Toward `size`, exponentially."""

    def apply(c: Arrays, start: float, fault: Fault) -> None:
        part = 1.0 - np.exp(-_age(c, start) / seconds)
        c[name] = c[name] + (fault.size - c[name]) * part

    return apply


def _ramp(name: str, low: float, high: float) -> Callable[[Arrays, float, Fault], None]:
    """`size` a second, from onset, between low and high."""

    def apply(c: Arrays, start: float, fault: Fault) -> None:
        change = fault.size * _age(c, start)
        c[name] = np.where(change == 0.0, c[name], np.clip(c[name] + change, low, high))

    return apply


def _times(name: str, seconds: float) -> Callable[[Arrays, float, Fault], None]:
    """Times `size`, over some seconds."""

    def apply(c: Arrays, start: float, fault: Fault) -> None:
        c[name] = c[name] * (1.0 + (fault.size - 1.0) * np.minimum(1.0, _age(c, start) / seconds))

    return apply


def _constant(name: str) -> Callable[[Arrays, float, Fault], None]:
    def apply(c: Arrays, start: float, fault: Fault) -> None:
        c[name] = np.where(c["t"] >= start, fault.size, c[name])

    return apply


def _gone(name: str) -> Callable[[Arrays, float, Fault], None]:
    def apply(c: Arrays, start: float, fault: Fault) -> None:
        c[name] = np.where(c["t"] >= start, np.nan, c[name])

    return apply


def _static_blocked(c: Arrays, start: float, fault: Fault) -> None:
    """Static source blocked: altitude stands, vertical speed goes to 0, airspeed reads ever lower in the climb."""
    i = min(int(np.searchsorted(c["t"], start)), len(c["t"]) - 1)
    rise = np.maximum(0.0, c["altitude_ft"] - c["altitude_ft"][i]) * (c["t"] >= start)
    # 1 ft of unseen climb is 0.0765 lb/ft3 of pressure; qbar in psf = 0.00339 v^2 (kt), standard sea level
    qbar = 0.00339 * c["ias_kt"] ** 2 - 0.0765 * rise
    c["ias_kt"] = np.sqrt(np.maximum(0.0, qbar) / 0.00339)
    _hold("altitude_ft")(c, start, fault)
    c["vertical_speed_fpm"] = c["vertical_speed_fpm"] * np.where(c["t"] >= start, np.exp(-_age(c, start) / 2.0), 1.0)


def _spikes(c: Arrays, start: float, fault: Fault) -> None:
    """One wild reading of the tachometer every 3 s, a twentieth of a second long."""
    late = _age(c, start)
    c["rpm"] = np.where((late > 0) & (late % 3.0 < 0.05), fault.size, c["rpm"])


SENSOR_FAULTS: dict[str, Callable[[Arrays, float, Fault], None]] = {
    "airspeed-dead": _dead_airspeed,
    "airspeed-stuck": _hold("ias_kt"),
    "airspeed-gone": _gone("ias_kt"),
    "oil-pressure-low": _settle("oil_pressure_psi", 0.4),
    "oil-pressure-sag": _ramp("oil_pressure_psi", 0.0, 200.0),
    "oil-pressure-high": _settle("oil_pressure_psi", 0.5),
    "oil-temperature-high": _ramp("oil_temperature_degf", -40.0, 300.0),
    "rpm-high": _times("rpm", 1.0),
    "manifold-pressure-low": _times("manifold_pressure_inhg", 0.5),
    "fuel-pressure-low": _settle("fuel_pressure_psi", 0.5),
    "suction-low": _settle("suction_inhg", 1.0),
    "bus-low": _settle("bus_v", 1.0),
    "cylinder-hot": _ramp("cht_degf", 0.0, 900.0),
    "parking-brake": _constant("parking_brake"),
    "door-open": _constant("door_open"),
    "carburettor-heat": _constant("carburettor_heat"),
    "mixture-lean": _constant("mixture"),
    "frozen-rpm": _hold("rpm"),
    "frozen-heading": _hold("heading_deg"),
    "frozen-altitude": _hold("altitude_ft"),
    "oil-pressure-gone": _gone("oil_pressure_psi"),
    "rpm-gone": _gone("rpm"),
    "rpm-spikes": _spikes,
    "static-blocked": _static_blocked,
}
"""Faults made at the sensors: kind to what it does to the channels."""
