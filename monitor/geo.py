"""Angles and short distances on the earth. Long ones are measured on the WGS 84 ellipsoid where it matters."""

from __future__ import annotations

from math import atan2, degrees, hypot

METRES_PER_DEGREE = (
    111_195.0  # mean earth radius 6,371.0 km (IUGG R1) x pi/180; within 0.6 % of WGS 84, ample for speed
)
KNOTS_PER_MS = 3600.0 / 1852.0  # the international nautical mile is 1,852 m exactly
FEET_PER_S_PER_KNOT = 1852.0 / 3600.0 / 0.3048  # 1.68781 ft/s
G_FT_S2 = 32.174  # standard gravity, 9.80665 m/s2 (3rd CGPM, 1901)
CLIMB_FPM_PER_KT2_S = FEET_PER_S_PER_KNOT**2 / G_FT_S2 * 60.0  # what 1 kt/s at 1 kt is worth as a climb


def turn(from_deg: float, to_deg: float) -> float:
    """The turn from one direction to another, -180 to 180 degrees, right positive."""
    return (to_deg - from_deg + 180.0) % 360.0 - 180.0


def speed_and_track(north_ms: float, east_ms: float) -> tuple[float, float]:
    """Groundspeed (kt) and track (0 to 360 degrees) of a velocity given in metres a second."""
    return hypot(north_ms, east_ms) * KNOTS_PER_MS, degrees(atan2(east_ms, north_ms)) % 360.0
