"""Units: factors against published conversion tables, and errors that say what is wrong."""

from __future__ import annotations

import subprocess
import sys

import pytest

from adapters.units import UnitError, channel_dimension, conversion, dimensions_of, find_label, split_label
from monitor.sample import CHANNELS

# NIST Special Publication 811 (2008), appendix B.8, factors as printed there; exact ones are bold in it.
NIST_811 = [
    ("kt", "m/s", 5.144444e-01),  # knot (nautical mile per hour)
    ("ft", "m", 3.048e-01),
    ("NM", "m", 1.852e03),
    ("mi", "m", 1.609344e03),
    ("ft/min", "m/s", 5.08e-03),
    ("mph", "m/s", 4.4704e-01),
    ("psi", "Pa", 6.894757e03),
    ("inHg", "Pa", 3.386389e03),  # inch of mercury, conventional
    ("mmHg", "Pa", 1.333224e02),  # millimetre of mercury, conventional
    ("bar", "Pa", 1.0e05),
    ("atm", "Pa", 1.01325e05),
    ("gal", "m3", 3.785412e-03),
    ("impgal", "m3", 4.54609e-03),
    ("gal/h", "m3/s", 1.051503e-06),
    ("lb", "kg", 4.535924e-01),
    ("g", "m/s2", 9.80665),  # standard acceleration of free fall
]
CHANNEL_OF = {
    "speed": "ias_kt",
    "length": "height_ft",
    "pressure": "oil_pressure_psi",
    "volume": "fuel_quantity_gal",
    "volume flow": "fuel_flow_gph",
    "acceleration": "normal_acceleration_g",
}


@pytest.mark.parametrize(("unit", "base", "factor"), NIST_811)
def test_factors_are_the_published_ones(unit: str, base: str, factor: float) -> None:
    """One of the unit is as many SI units as NIST SP 811, appendix B.8, prints, to its seven digits."""
    if unit == "lb":
        got = conversion("lb", "fuel_quantity_gal", 1.0).factor / conversion("kg", "fuel_quantity_gal", 1.0).factor
    else:
        for channel in CHANNEL_OF.values():
            try:
                got = conversion(unit, channel).factor / conversion(base, channel).factor
                break
            except UnitError:
                continue
    assert got == pytest.approx(factor, rel=1e-6)


@pytest.mark.parametrize(
    ("value", "unit", "channel", "wanted"),
    [
        (0.0, "degC", "oil_temperature_degf", 32.0),  # freezing and boiling point: NIST SP 811, B.8
        (100.0, "degC", "oil_temperature_degf", 212.0),
        (273.15, "K", "oat_degc", 0.0),
        (59.0, "degF", "oat_degc", 15.0),  # the standard atmosphere's sea-level temperature, ICAO Doc 7488
        (1013.25, "hPa", "manifold_pressure_inhg", 29.92),  # its pressure; 29.92 inHg to two decimals
        (3.141592653589793, "rad", "heading_deg", 180.0),
        (40.0, "rev/s", "rpm", 2400.0),
        (85.0, "percent", "throttle", 0.85),
        (9.80665, "m/s2", "normal_acceleration_g", 1.0),
        (250.0, "ms", "time_s", 0.25),
        (10.2, "km/h", "groundspeed_kt", 5.5),  # NMEA's own sample: 005.5,N,010.2,K
        (36.0, "L/h", "fuel_flow_gph", 9.51),
        (26.0, "kg/h", "fuel_flow_gph", 9.54),
    ],
)
def test_values_a_pilot_knows(value: float, unit: str, channel: str, wanted: float) -> None:
    """Well-known pairs of values come out, offsets of temperatures included."""
    found = conversion(unit, channel, 0.72)
    assert value * found.factor + found.offset == pytest.approx(wanted, rel=2e-3, abs=1e-9)


@pytest.mark.parametrize(
    ("spelling", "unit", "channel"),
    [
        ("metres per second", "m/s", "ias_kt"),
        ("Feet per minute", "ft/min", "vertical_speed_fpm"),
        ("ft/minute", "ft/min", "vertical_speed_fpm"),
        ("revolutions per minute", "rpm", "rpm"),
        ("rev/sec", "rev/s", "rpm"),
        ("inches of mercury", "inHg", "manifold_pressure_inhg"),
        ("in Hg", "inHg", "suction_inhg"),
        ("lb/in²", "psi", "oil_pressure_psi"),
        ("m/s^2", "m/s2", "normal_acceleration_g"),
        ("deg C", "degC", "oat_degc"),
        ("degrees celsius", "degC", "oil_temperature_degf"),
        ("US gal/hour", "gal/h", "fuel_flow_gph"),
        ("LB/HR", "lb/h", "fuel_flow_gph"),
        ("KPA", "kPa", "oil_pressure_psi"),
    ],
)
def test_spellings_of_a_unit_are_the_same_unit(spelling: str, unit: str, channel: str) -> None:
    """Case, spaces, "per", long words for times and raised digits make no other unit."""
    assert conversion(spelling, channel, 0.72) == conversion(unit, channel, 0.72)


def test_a_spelling_that_could_be_two_sizes_is_refused() -> None:
    """mpa could be milli or mega: only the exact MPa is taken."""
    assert conversion("MPa", "oil_pressure_psi").factor == pytest.approx(145.0377, rel=1e-6)
    assert dimensions_of("mpa") == []
    assert conversion("mPa", "oil_pressure_psi").factor == pytest.approx(145.0377e-9, rel=1e-6)


def test_every_channel_takes_its_own_unit() -> None:
    """The unit that a channel's name ends in is accepted for it, and changes nothing."""
    for name, channel in CHANNELS.items():
        found = conversion(channel.unit or None, name)
        assert (found.factor, found.offset) == (1.0, 0.0), name
        assert channel_dimension(name)


@pytest.mark.parametrize(
    ("unit", "channel", "words"),
    [
        ("kt", "oil_pressure_psi", "is a unit of speed; wanted a unit of pressure such as"),
        ("psi", "ias_kt", "is a unit of pressure; wanted a unit of speed"),
        ("percent", "heading_deg", "is a unit of ratio; wanted a unit of angle"),
        ("deg", "rpm", "is a unit of angle; wanted a unit of rotation"),
        ("rad/s", "heading_deg", "is a unit of rotation"),
        ("kt", "throttle", "wanted no unit, or percent"),
        ("wibble", "ias_kt", "is not a unit known here"),
        ("kg/h", "fuel_flow_gph", "density_kg_per_l"),
        ("kHz", "rpm", "is not a unit known here"),
        ("", "ias_kt", "is not a unit known here"),
        ("m/s; import os", "ias_kt", "is not a unit known here"),
    ],
)
def test_a_wrong_unit_is_refused_in_words(unit: str, channel: str, words: str) -> None:
    """A unit of another dimension, or none, is an error that names both dimensions and gives examples."""
    with pytest.raises(UnitError, match=words):
        conversion(unit, channel)


def test_rare_units_come_from_the_units_library() -> None:
    """A unit outside our table is found by pint: 1 furlong a fortnight is 0.000323 kt (by the definitions)."""
    assert conversion("furlong/fortnight", "ias_kt").factor == pytest.approx(
        220 * 3 * 0.3048 / (14 * 86400) / (1852 / 3600), rel=1e-5
    )
    assert conversion("torr", "oil_pressure_psi").factor == pytest.approx(101325 / 760 / 6894.757, rel=1e-6)


def test_the_units_library_is_imported_only_when_needed() -> None:
    """Usual units never cost the import of pint."""
    code = (
        "import sys; from adapters.units import conversion; conversion('m/s', 'ias_kt'); print('pint' in sys.modules)"
    )
    run = subprocess.run([sys.executable, "-P", "-c", code], capture_output=True, text=True, check=True, timeout=60)
    assert run.stdout.strip() == "False"


@pytest.mark.parametrize(
    ("label", "parts"),
    [("v [m/s]", ("v", "m/s")), ("Phi (deg)", ("Phi", "deg")), ("v", ("v", None)), ("(deg)", ("(deg)", None)),
     ("v []", ("v", None)), ("a (b) (c)", ("a (b)", "c"))],
)  # fmt: skip
def test_a_unit_in_a_label_is_seen(label: str, parts: tuple[str, str | None]) -> None:
    """A unit in brackets at a label's end is told from the name."""
    assert split_label(label) == parts


def test_a_field_finds_its_label() -> None:
    """A field name means the very same label first, else the first that is the name and a unit."""
    assert find_label("v", ["h", "v [kt]", "v"]) == "v"
    assert find_label("v", ["h", "v [kt]", "v (m/s)"]) == "v [kt]"
    assert find_label("w", ["h", "v"]) is None
