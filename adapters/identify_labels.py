"""What a field's own name says: words of the trade, and a unit in the name. Never more than a hint."""

from __future__ import annotations

import re

from adapters import units
from adapters.identify_score import Claim, Reason

WORDS: dict[str, str] = {
    "time_s": "time t sec seconds elapsed",
    "ias_kt": "ias kias airspeed indicated calibrated cas kcas vc",
    "groundspeed_kt": "groundspeed gs ground",
    "altitude_ft": "altitude alt baro msl asl",
    "height_ft": "height agl hgt radar above",
    "vertical_speed_fpm": "vertical vs vsi climb variometer fpm sink",
    "pitch_deg": "pitch theta",
    "bank_deg": "bank roll phi",
    "heading_deg": "heading hdg psi yaw compass",
    "latitude_deg": "latitude lat",
    "longitude_deg": "longitude lon long lng",
    "rpm": "rpm tachometer tach revs prop engine",
    "throttle": "throttle thr",
    "oil_pressure_psi": "oil pressure press oilp",
    "oil_temperature_degf": "oil temperature temp oilt",
    "manifold_pressure_inhg": "manifold map mp pressure",
    "fuel_flow_gph": "fuel flow ff",
    "cht_degf": "cht cylinder head",
    "egt_degf": "egt exhaust",
    "oat_degc": "oat outside ambient",
    "on_ground": "ground wow wheels onground",
    "flaps_deg": "flap flaps",
    "elevator": "elevator",
    "aileron": "aileron ailerons",
    "rudder": "rudder",
    "elevator_trim": "trim",
    "mixture": "mixture mix",
    "normal_acceleration_g": "nz normal load acceleration",
    "fuel_quantity_gal": "fuel quantity qty",
    "bus_v": "bus volts voltage",
}
"""Words in a field's name that point at a channel (the trade's abbreviations)."""

_RATES = frozenset(
    {"rate", "dot", "target", "cmd", "command", "autopilot", "bug", "set", "true", "tas", "limit", "max", "min"}
)
"""Words that say the field is something derived from or wanted of the quantity, not the quantity itself."""


def words(field: str) -> list[str]:
    """The words in a field's name, lower case: "engine.0.oilTemp (degC)" gives engine, 0, oil, temp, deg, c."""
    apart = re.sub(r"(?<=[a-z0-9])(?=[A-Z])", " ", field)
    return re.findall(r"[a-z]+|\d+", apart.lower())


def label_reasons(claim: Claim) -> list[Reason]:
    """A hint from the name, if the field has one."""
    field = claim.column.field
    if not isinstance(field, str):
        return []
    found = set(words(field))
    return [reason for reason in (_name(claim, found), _unit(claim, field)) if reason is not None]


def _hits(channel: str, found: set[str]) -> int:
    return len(found & set(WORDS.get(channel, "").split()))


def _name(claim: Claim, found: set[str]) -> Reason | None:
    mine = _hits(claim.channel, found)
    best = max(_hits(channel, found) for channel in WORDS)
    if best == 0:
        return None
    if mine < best:
        return Reason(-1.5, "the name points at another channel")
    points = (2.5 if mine >= 2 else 2.0) - (2.0 if found & _RATES else 0.0)
    return Reason(points, "the name says so") if points else None


def _unit(claim: Claim, field: str) -> Reason | None:
    """A unit in brackets or after the last underscore, when it is one of the channel's dimension."""
    tail = re.search(r"[(\[{]([^)\]}]+)[)\]}]\s*$", field) or re.search(r"[_\s.-]([A-Za-z°%/0-9]+)$", field)
    if tail is None:
        return None
    name = tail[1].strip()
    dimension = units.channel_dimension(claim.channel)
    if dimension not in units.dimensions_of(name):
        return None
    same = units.conversion(name, claim.channel) == units.conversion(claim.reading.unit, claim.channel)
    return Reason(2.5, f"the name says {name}") if same else Reason(-2.5, f"the name says {name}")
