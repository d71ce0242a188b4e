"""The standard atmosphere up to 36,089 ft (ICAO Doc 7488/3; US Standard Atmosphere 1976 is the same there)."""

from __future__ import annotations

SEA_LEVEL_INHG = 29.9213  # 1,013.25 hPa
SEA_LEVEL_K = 288.15
LAPSE_K_PER_FT = 0.0065 * 0.3048
LAPSE_PER_FT = LAPSE_K_PER_FT / SEA_LEVEL_K
EXPONENT = 5.25588  # g0 M / (R L), ICAO constants


def pressure_ratio(pressure_altitude_ft: float) -> float:
    """Static pressure over the sea-level standard, at a pressure altitude in feet (-2,000 to 36,089)."""
    return pressure_inhg(pressure_altitude_ft) / SEA_LEVEL_INHG


def pressure_inhg(pressure_altitude_ft: float) -> float:
    """Static pressure in inches of mercury at a pressure altitude in feet."""
    pressure: float = SEA_LEVEL_INHG * (1.0 - LAPSE_PER_FT * pressure_altitude_ft) ** EXPONENT
    return pressure


def density_ratio(pressure_altitude_ft: float, oat_degc: float | None = None) -> float:
    """Air density over the sea-level standard; the standard temperature where none is given."""
    standard_k = SEA_LEVEL_K - LAPSE_K_PER_FT * pressure_altitude_ft
    kelvin = standard_k if oat_degc is None else oat_degc + 273.15
    return pressure_ratio(pressure_altitude_ft) * SEA_LEVEL_K / kelvin
