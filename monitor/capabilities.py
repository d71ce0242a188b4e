"""Which checks are off with the channels and the profile at hand, and why. Told at the start, never guessed around."""

from __future__ import annotations

from monitor.aircraft import Aircraft
from monitor.options import Options
from monitor.procedure import Procedure

_GAUGES = {
    "oil_pressure_psi": "oil pressure limits",
    "oil_temperature_degf": "oil temperature limits; high oil pressure told from cold oil",
    "egt_degf": "EGT limits",
    "cht_degf": "CHT limits",
    "fuel_pressure_psi": "fuel pressure limits",
    "suction_inhg": "suction limits",
    "bus_v": "bus voltage limits",
    "ammeter_a": "ammeter limits",
    "fuel_flow_gph": "fuel flow limits",
}


def checks_off(
    aircraft: Aircraft, procedure: Procedure, options: Options, channels: frozenset[str]
) -> list[tuple[str, str]]:
    """Pairs of (check, why it is off) for these channels; an empty list when all is on.

    `channels`: the names of the channels that the feed supplies.
    """
    off: list[tuple[str, str]] = []

    def need(check: str, *names: str) -> None:
        if not any(name in channels for name in names):
            off.append((check, "no " + " or ".join(names)))

    need("rotate, airspeed alive, climb speed", "ias_kt")
    need("everything by height: flaps, turn, after-takeoff checks", "height_ft", "altitude_ft")
    need("power set, low power, power loss", "rpm", "manifold_pressure_inhg")
    need("engine failure told from a closed throttle; full power", "throttle")
    need("less than a tenth of the power lost in the climb", "throttle")
    need("airspeed dead or stuck", "groundspeed_kt", "latitude_deg")
    need("no acceleration under full power", "groundspeed_kt", "latitude_deg")
    need("direction on the roll", "heading_deg")
    if options.runway_start is not None:
        need("centreline and runway edge", "latitude_deg")
    need("drift after lift-off", "track_deg", "latitude_deg")
    need("pitch on the wheels and the start of rotation (taken at VR instead)", "pitch_deg")
    need("bank", "bank_deg")
    need("lift-off by a ground switch (estimated instead)", "on_ground")
    need("flaps seen", "flaps_deg")
    need("leaning height, level-off", "altitude_ft")
    for channel, check in _GAUGES.items():
        if channel in aircraft.instruments:
            need(check, channel)
    if aircraft.propeller == "constant-speed":
        need("manifold pressure at takeoff power", "manifold_pressure_inhg")
        if "altitude_ft" not in channels and options.field_elevation_ft is None:
            off.append(("manifold pressure at takeoff power", "no altitude_ft, and no field elevation given"))
        need("a loss of power that only the climb shows: in gusts and turns", "groundspeed_kt")
        need("a loss of power that only the climb shows: soon, apart from sinking air", "pitch_deg")
        need("a loss of power that only the climb shows", "throttle")
    _unknown(off, aircraft, options)
    return off


def _unknown(off: list[tuple[str, str]], aircraft: Aircraft, options: Options) -> None:
    """Checks that the profile or the options leave off."""
    if aircraft.rpm_takeoff_min is None:
        off.append(("low power", "the profile has no engine.rpm.takeoff_min"))
    for channel in ("oil_pressure_psi", "oil_temperature_degf"):
        if channel not in aircraft.instruments:
            off.append((_GAUGES[channel], f"the profile has no engine.{channel}"))
    if aircraft.pitch_max_deg is None:
        off.append(("tail clearance", "the profile has no rotation.pitch_max_deg"))
    if aircraft.rpm_red_line is None:
        off.append(("rpm too high", "the profile has no engine.rpm.red_line"))
    oil = aircraft.instruments.get("oil_pressure_psi")
    if oil is not None and oil.min is None:
        off.append(("oil pressure too low to go on", "the profile has no engine.oil_pressure_psi.min"))
    speeds = aircraft.speeds_kias
    for key, check in (
        ("stall_clean", "close to the stall"),
        ("best_angle", "slower than VX"),
        ("flaps_extended_max", "flaps out too fast"),
    ):
        if getattr(speeds, key) is None:
            off.append((check, f"the profile has no speeds_kias.{key}"))
    if options.runway_length_ft is not None and aircraft.stop_from_rotate_ft is None:
        usual = f"{aircraft.stop_ft:.0f} ft are taken"
        off.append((f"this aeroplane's own stop from VR ({usual})", "the profile has no takeoff.stop_from_rotate_ft"))
    if options.runway_length_ft is None:
        off.append(("70 % of lift-off speed by mid-runway; whether a stop fits", "no runway length given"))
    if options.runway_start is None or options.runway_end is None:
        off.append(("centreline and runway edge", "the runway's two thresholds were not given"))
    elif options.runway_width_ft is None:
        off.append(("runway edge", "no runway width given"))
