"""From a recorded flight to the samples a feed would carry: rate, noise, rounding, lag, missing channels, sensor
faults.

A sensor fault changes what is sent, never the flight. Noise sizes are those of ordinary training-aeroplane sensors
(common practice, no source)."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from tests.flights_jsbsim.aeroplanes import AEROPLANES
from tests.flights_jsbsim.pilot import FPS_PER_KT, Raw
from tests.flights_jsbsim.scenario import Scenario
from tests.flights_jsbsim.sensor_faults import SENSOR_FAULTS, Arrays

DISCRETE = frozenset({"on_ground", "parking_brake", "door_open", "stall_warning", "throttle", "brake", "mixture"})
ANGLES = frozenset({"heading_deg", "track_deg"})

NOISE: dict[str, float] = {
    "ias_kt": 0.4,
    "groundspeed_kt": 0.2,
    "altitude_ft": 2.0,
    "height_ft": 0.2,
    "vertical_speed_fpm": 20.0,
    "pitch_deg": 0.15,
    "bank_deg": 0.3,
    "heading_deg": 0.4,
    "track_deg": 0.5,
    "rpm": 5.0,
    "manifold_pressure_inhg": 0.08,
    "oil_pressure_psi": 0.5,
    "oil_temperature_degf": 0.4,
    "egt_degf": 2.0,
    "cht_degf": 1.0,
    "fuel_flow_gph": 0.1,
    "fuel_pressure_psi": 0.1,
    "suction_inhg": 0.02,
    "bus_v": 0.05,
    "ammeter_a": 0.2,
    "normal_acceleration_g": 0.02,
}
"""Standard deviations at `Sensors.noise` = 1, in the channel's unit."""

ROUNDING: dict[str, float] = {
    "ias_kt": 1.0,
    "groundspeed_kt": 1.0,
    "altitude_ft": 10.0,
    "height_ft": 1.0,
    "vertical_speed_fpm": 10.0,
    "pitch_deg": 0.5,
    "bank_deg": 0.5,
    "heading_deg": 1.0,
    "track_deg": 1.0,
    "rpm": 10.0,
    "oil_pressure_psi": 1.0,
    "oil_temperature_degf": 1.0,
    "manifold_pressure_inhg": 0.1,
}
"""Steps of the display at `Sensors.rounding` = 1."""


@dataclass(frozen=True)
class Sensors:
    """How a flight is sent. lag_s: of airspeed and vertical speed. missing: channels not sent. loss: share of
    samples lost at random. sag_ft: indicated altitude reads this much low at VR on the wheels. pitot: "model",
    "axis" (the part along the nose) or "dead-below-20". start_s: feed time of the first sample. only: if not empty,
    the channels sent."""

    rate_hz: float = 20.0
    noise: float = 0.0
    rounding: float = 0.0
    lag_s: float = 0.0
    missing: frozenset[str] = frozenset()
    only: frozenset[str] = frozenset()
    loss: float = 0.0
    sag_ft: float = 0.0
    pitot: str = "model"
    start_s: float = 1017.25
    jitter: float = 0.0
    seed: int = 1


SAME = (
    "ias_kt",
    "pitch_deg",
    "bank_deg",
    "heading_deg",
    "latitude_deg",
    "longitude_deg",
    "rpm",
    "manifold_pressure_inhg",
    "oil_pressure_psi",
    "oil_temperature_degf",
    "throttle",
    "mixture",
    "propeller",
    "brake",
    "flaps_deg",
    "egt_degf",
    "cht_degf",
    "fuel_flow_gph",
    "aileron",
    "rudder",
)
"""Channels recorded as they are sent."""


def true_channels(raw: Raw) -> Arrays:
    """The channels as a perfect instrument would show them, at 120 Hz, before any fault of a sensor."""
    d, s = raw.data, raw.scenario
    out: Arrays = {"t": d["t"]}
    for name in SAME:
        out[name] = d[name]
    out["elevator"] = -d["elevator"]
    out["groundspeed_kt"] = d["groundspeed_fps"] / FPS_PER_KT
    out["height_ft"] = d["agl_ft"] - raw.rest_ft
    out["altitude_ft"] = d["pressure_altitude_ft"] - d["pressure_altitude_ft"][0] + s.elevation_ft
    out["vertical_speed_fpm"] = d["climb_fps"] * 60.0
    out["track_deg"] = np.degrees(np.arctan2(d["v_east_fps"], d["v_north_fps"])) % 360.0
    out["track_deg"] = np.where(out["groundspeed_kt"] < 1.0, d["heading_deg"], out["track_deg"])
    out["on_ground"] = ((d["wow0"] + d["wow1"] + d["wow2"]) > 0.5).astype(float)
    out["oat_degc"] = (d["temperature_r"] - 491.67) / 1.8
    out["normal_acceleration_g"] = d["normal_acceleration_g"]
    out["fuel_quantity_gal"] = d["fuel_lb"] / 6.0
    steady = {"parking_brake": 0, "carburettor_heat": 0, "door_open": 0, "stall_warning": 0, "fuel_pressure_psi": 5.2}
    steady |= {"suction_inhg": 5.0, "bus_v": 14.0, "ammeter_a": 3.0, "elevator_trim": 0.0}
    for name, value in steady.items():
        out[name] = np.full(len(d["t"]), float(value))
    return out


def faulty_channels(raw: Raw) -> Arrays:
    """`true_channels` with the scenario's sensor fault, if it has one."""
    channels = true_channels(raw)
    fault = raw.scenario.fault
    start = fault_time(raw)
    if fault is not None and start is not None and fault.kind in SENSOR_FAULTS:
        SENSOR_FAULTS[fault.kind](channels, start, fault)
    return channels


def fault_time(raw: Raw) -> float | None:
    """When the fault begins, s from the first step; None = it never did."""
    return raw.marks.get("fault")


# -- sending ----------------------------------------------------------------------------------------------------------


def _pitot(c: Arrays, raw: Raw, kind: str) -> None:
    if kind == "axis":
        c["ias_kt"] = c["ias_kt"] * np.clip(
            raw.data["u_aero_fps"] / np.maximum(1.0, raw.data["tas_kt"] * FPS_PER_KT), 0, 1
        )
    if kind == "dead-below-20":
        c["ias_kt"] = np.where(c["ias_kt"] < 20.0, 0.0, c["ias_kt"])


def _sag(c: Arrays, scenario: Scenario, sag_ft: float) -> None:
    if not sag_ft:
        return
    at_vr = np.minimum(1.2, (np.maximum(0.0, c["ias_kt"]) / AEROPLANES[scenario.aeroplane].rotate_kt) ** 2)
    c["altitude_ft"] = c["altitude_ft"] - sag_ft * at_vr * np.exp(-np.maximum(0.0, c["height_ft"]) / 10.0)


def _lag(values: np.ndarray, lag_s: float, step_s: float) -> np.ndarray:
    if lag_s <= 0.0:
        return values
    out, part = values.copy(), step_s / (lag_s + step_s)
    held = out[0]
    for i, value in enumerate(values.tolist()):
        if math.isnan(value):
            continue
        held += (value - held) * part
        out[i] = held
    return out


def _resample(values: np.ndarray, name: str, at: np.ndarray, t: np.ndarray) -> np.ndarray:
    if name in DISCRETE:
        return values[np.clip(np.searchsorted(t, at + 1e-9, side="right") - 1, 0, len(t) - 1)]
    if name in ANGLES:
        values = np.degrees(np.unwrap(np.radians(values)))
    between: np.ndarray = np.interp(at, t, values)
    return between % 360.0 if name in ANGLES else between


def _times_sent(raw: Raw, sensors: Sensors, rng: np.random.Generator) -> np.ndarray:
    t = raw.data["t"]
    at = np.arange(0.0, t[-1], 1.0 / sensors.rate_hz)
    if sensors.jitter:
        at = np.clip(at + rng.uniform(-0.5, 0.5, len(at)) * sensors.jitter / sensors.rate_hz, 0.0, t[-1])
    if sensors.loss:
        at = at[rng.random(len(at)) >= sensors.loss]
    fault, start = raw.scenario.fault, fault_time(raw)
    if fault is not None and fault.kind == "feed-lost" and start is not None:
        at = at[(at < start) | (at > start + fault.size)]
    return at


def instruments(raw: Raw, sensors: Sensors) -> Arrays:
    """The channels as the instruments show them at 120 Hz: pitot, sag, fault and lag; no noise, no rounding."""
    c = true_channels(raw)
    _pitot(c, raw, sensors.pitot)
    _sag(c, raw.scenario, sensors.sag_ft)
    fault, start = raw.scenario.fault, fault_time(raw)
    if fault is not None and start is not None and fault.kind in SENSOR_FAULTS:
        SENSOR_FAULTS[fault.kind](c, start, fault)
    for name in ("ias_kt", "vertical_speed_fpm"):
        c[name] = _lag(c[name], sensors.lag_s, 1.0 / 120.0)
    return c


def indicated_airspeed(raw: Raw, sensors: Sensors) -> np.ndarray:
    """The airspeed shown, at 120 Hz."""
    return instruments(raw, sensors)["ias_kt"]


def sent(raw: Raw, sensors: Sensors) -> Arrays:
    """What the feed carries: "time_s" and the channels, one array each; NaN = not supplied in that sample."""
    rng = np.random.default_rng(sensors.seed)
    c = instruments(raw, sensors)
    at = _times_sent(raw, sensors, rng)
    names = [n for n in c if n != "t" and n not in sensors.missing and (not sensors.only or n in sensors.only)]
    out: Arrays = {"time_s": at + sensors.start_s}
    for name in names:
        out[name] = _spoiled(_resample(c[name], name, at, c["t"]), name, sensors, rng)
    return out


def _spoiled(values: np.ndarray, name: str, sensors: Sensors, rng: np.random.Generator) -> np.ndarray:
    """With noise and rounding."""
    if sensors.noise and name in NOISE:
        values = values + rng.standard_normal(len(values)) * NOISE[name] * sensors.noise
        if name in ("rpm", "ias_kt", "oil_pressure_psi", "groundspeed_kt"):
            values = np.maximum(values, 0.0)
    step = ROUNDING.get(name, 0.0) * sensors.rounding
    if step:
        values = np.round(values / step) * step
    return values % 360.0 if name in ANGLES else values


def as_samples(columns: Arrays) -> list[dict[str, float]]:
    """The arrays as one dict a sample, without what is not supplied."""
    names = list(columns)
    rows = np.column_stack([columns[n] for n in names]).tolist()
    return [{n: v for n, v in zip(names, row, strict=True) if not math.isnan(v)} for row in rows]
