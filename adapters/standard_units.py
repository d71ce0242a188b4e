"""Units that an open standard fixes for its fields, so that a feed description need not say them again.

NMEA 0183: sentence layouts as the paid standard has them, by common description. MAVLink: the common message set,
`message_definitions/v1.0/common.xml` (units attributes).
"""

from __future__ import annotations

_STANDARD: dict[str, dict[str, str]] = {
    "nmea": {
        "RMC.spd_over_grnd": "kt",
        "RMC.true_course": "deg",
        "VTG.true_track": "deg",
        "VTG.mag_track": "deg",
        "VTG.spd_over_grnd_kts": "kt",
        "VTG.spd_over_grnd_kmph": "km/h",
        "GGA.altitude": "m",
        "HDT.heading": "deg",
        "HDG.heading": "deg",
        "HDM.heading": "deg",
        "VHW.water_speed_knots": "kt",
        "VHW.water_speed_km": "km/h",
    },
    "mavlink": {
        "VFR_HUD.airspeed": "m/s",
        "VFR_HUD.groundspeed": "m/s",
        "VFR_HUD.alt": "m",
        "VFR_HUD.climb": "m/s",
        "VFR_HUD.heading": "deg",
        "VFR_HUD.throttle": "percent",
        "ATTITUDE.time_boot_ms": "ms",
        "ATTITUDE.roll": "rad",
        "ATTITUDE.pitch": "rad",
        "ATTITUDE.yaw": "rad",
        "GLOBAL_POSITION_INT.time_boot_ms": "ms",
        "GLOBAL_POSITION_INT.lat": "degE7",
        "GLOBAL_POSITION_INT.lon": "degE7",
        "GLOBAL_POSITION_INT.alt": "mm",
        "GLOBAL_POSITION_INT.relative_alt": "mm",
        "GLOBAL_POSITION_INT.vx": "cm/s",
        "GLOBAL_POSITION_INT.vy": "cm/s",
        "GLOBAL_POSITION_INT.vz": "cm/s",
        "GLOBAL_POSITION_INT.hdg": "cdeg",
        "EFI_STATUS.rpm": "rev/min",
        "EFI_STATUS.fuel_flow": "cm3/min",
        "EFI_STATUS.engine_load": "percent",
        "EFI_STATUS.throttle_position": "percent",
        "EFI_STATUS.barometric_pressure": "kPa",
        "EFI_STATUS.intake_manifold_pressure": "kPa",
        "EFI_STATUS.intake_manifold_temperature": "degC",
        "EFI_STATUS.cylinder_head_temperature": "degC",
        "EFI_STATUS.exhaust_gas_temperature": "degC",
        "EFI_STATUS.throttle_out": "percent",
        "EFI_STATUS.ignition_voltage": "V",
        "EFI_STATUS.fuel_pressure": "kPa",
        "SYSTEM_TIME.time_boot_ms": "ms",
    },
}


def standard_unit(name: str, field: str) -> str | None:
    """The unit a standard fixes for a field of a format; None when there is none."""
    return _STANDARD.get(name, {}).get(field)
