"""What one moment of telemetry is: the channels, their units and ranges, and `Sample`.

A value outside its range is treated as not supplied by whoever makes the sample (`adapters.mapping`), so that no
wild number reaches the coach's arithmetic. Ranges are wide: they bound what can be flown in a piston trainer, not
what is normal. All ranges: common practice, no source.
"""

from __future__ import annotations

import msgspec


class Channel(msgspec.Struct, frozen=True):
    """One channel: its name with the unit in it, the unit, the allowed range, and its meaning."""

    name: str
    unit: str
    low: float
    high: float
    meaning: str


class Sample(msgspec.Struct, frozen=True, gc=False):
    """One moment of telemetry. None = not supplied. Units are in the names; directions: nose up, right wing down."""

    time_s: float | None = None
    ias_kt: float | None = None
    groundspeed_kt: float | None = None
    altitude_ft: float | None = None
    height_ft: float | None = None
    vertical_speed_fpm: float | None = None
    pitch_deg: float | None = None
    bank_deg: float | None = None
    heading_deg: float | None = None
    track_deg: float | None = None
    latitude_deg: float | None = None
    longitude_deg: float | None = None
    rpm: float | None = None
    manifold_pressure_inhg: float | None = None
    oil_pressure_psi: float | None = None
    oil_temperature_degf: float | None = None
    throttle: float | None = None
    mixture: float | None = None
    propeller: float | None = None
    carburettor_heat: float | None = None
    brake: float | None = None
    parking_brake: float | None = None
    on_ground: float | None = None
    door_open: float | None = None
    stall_warning: float | None = None
    flaps_deg: float | None = None
    egt_degf: float | None = None
    cht_degf: float | None = None
    fuel_flow_gph: float | None = None
    fuel_pressure_psi: float | None = None
    suction_inhg: float | None = None
    ammeter_a: float | None = None
    bus_v: float | None = None
    oat_degc: float | None = None
    normal_acceleration_g: float | None = None
    slip_ball: float | None = None
    elevator: float | None = None
    aileron: float | None = None
    rudder: float | None = None
    elevator_trim: float | None = None
    fuel_quantity_gal: float | None = None


_TABLE: tuple[tuple[str, str, float, float, str], ...] = (
    ("time_s", "s", 0.0, 1e8, "the feed's own time"),
    ("ias_kt", "kt", -30.0, 400.0, "indicated airspeed"),
    ("groundspeed_kt", "kt", -30.0, 500.0, "groundspeed"),
    ("altitude_ft", "ft", -2000.0, 50000.0, "indicated altitude above sea level"),
    ("height_ft", "ft", -500.0, 50000.0, "height above ground, wheels on the ground = 0"),
    ("vertical_speed_fpm", "ft/min", -20000.0, 20000.0, "vertical speed, up positive"),
    ("pitch_deg", "deg", -90.0, 90.0, "pitch attitude, nose up positive"),
    ("bank_deg", "deg", -180.0, 180.0, "bank, right wing down positive"),
    ("heading_deg", "deg", 0.0, 360.0, "heading"),
    ("track_deg", "deg", 0.0, 360.0, "track over the ground"),
    ("latitude_deg", "deg", -90.0, 90.0, "latitude, WGS 84, north positive"),
    ("longitude_deg", "deg", -180.0, 180.0, "longitude, WGS 84, east positive"),
    ("rpm", "rev/min", 0.0, 5000.0, "propeller or engine speed as the gauge shows it"),
    ("manifold_pressure_inhg", "inHg", 0.0, 80.0, "manifold pressure, absolute"),
    ("oil_pressure_psi", "psi", 0.0, 400.0, "oil pressure"),
    ("oil_temperature_degf", "degF", -80.0, 600.0, "oil temperature"),
    ("throttle", "", 0.0, 1.0, "throttle lever, 1 = full"),
    ("mixture", "", 0.0, 1.0, "mixture lever, 1 = full rich"),
    ("propeller", "", 0.0, 1.0, "propeller lever, 1 = high rpm"),
    ("carburettor_heat", "", 0.0, 1.0, "carburettor heat, 1 = hot"),
    ("brake", "", 0.0, 1.0, "wheel brakes, 1 = full"),
    ("parking_brake", "", 0.0, 1.0, "1 = set"),
    ("on_ground", "", 0.0, 1.0, "1 = a wheel on the ground"),
    ("door_open", "", 0.0, 1.0, "1 = open"),
    ("stall_warning", "", 0.0, 1.0, "1 = sounding"),
    ("flaps_deg", "deg", 0.0, 90.0, "flap angle"),
    ("egt_degf", "degF", -80.0, 3000.0, "exhaust gas temperature"),
    ("cht_degf", "degF", -80.0, 1000.0, "cylinder head temperature"),
    ("fuel_flow_gph", "gal/h", 0.0, 200.0, "fuel flow, US gallons an hour"),
    ("fuel_pressure_psi", "psi", 0.0, 100.0, "fuel pressure"),
    ("suction_inhg", "inHg", 0.0, 30.0, "suction (vacuum)"),
    ("ammeter_a", "A", -200.0, 200.0, "ammeter, charge positive"),
    ("bus_v", "V", 0.0, 60.0, "bus voltage"),
    ("oat_degc", "degC", -80.0, 60.0, "outside air temperature"),
    ("normal_acceleration_g", "g", -10.0, 15.0, "normal acceleration, 1 in level flight"),
    ("slip_ball", "", -1.0, 1.0, "slip ball, right positive"),
    ("elevator", "", -1.0, 1.0, "elevator control, nose up positive"),
    ("aileron", "", -1.0, 1.0, "aileron control, right wing down positive"),
    ("rudder", "", -1.0, 1.0, "rudder control, nose right positive"),
    ("elevator_trim", "", -1.0, 1.0, "elevator trim, nose up positive"),
    ("fuel_quantity_gal", "gal", 0.0, 500.0, "fuel quantity, US gallons"),
)

CHANNELS: dict[str, Channel] = {row[0]: Channel(*row) for row in _TABLE}
"""Every channel by name, in the order of `Sample`'s fields."""
