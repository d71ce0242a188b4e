"""Units by their usual names, turned once into a factor and an offset: `channel value = field value * factor + offset`.

Our own table holds the usual units; `pint` is imported only for a unit outside it (its import costs a quarter of a
second). Exact factors by definition: knot 1852/3600 m/s, foot 0.3048 m, pound 0.45359237 kg, US gallon 231 cubic
inches, imperial gallon 4.54609 L, g 9.80665 m/s2. Conventional: inch of mercury 3386.389 Pa, psi 6894.757 Pa
(NIST Special Publication 811, appendix B).
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from typing import Any

import msgspec

from monitor.sample import CHANNELS


class UnitError(ValueError):
    """A unit that is unknown, or of another dimension than the channel's; the text says which and what is wanted."""


class Unit(msgspec.Struct, frozen=True):
    """A unit as `base = value * factor + offset`, base: SI, but deg for angles and rev/min for rotation."""

    dimension: str
    factor: float
    offset: float = 0.0


class Conversion(msgspec.Struct, frozen=True):
    """From a field's unit to a channel's: `channel value = field value * factor + offset`."""

    factor: float = 1.0
    offset: float = 0.0


_FOOT, _MILE, _NAUTICAL = 0.3048, 1609.344, 1852.0
_US_GALLON, _IMPERIAL_GALLON, _LITRE = 3.785411784e-3, 4.54609e-3, 1e-3
_POUND, _INHG, _PSI = 0.45359237, 3386.389, 6894.757293168
_HOUR, _MINUTE = 3600.0, 60.0

# dimension -> (names with spaces between, factor to the base, offset to the base)
_TABLE: dict[str, tuple[tuple[str, float, float], ...]] = {
    "time": (
        ("s sec secs second seconds", 1.0, 0.0),
        ("ms msec millisecond milliseconds", 1e-3, 0.0),
        ("us usec µs μs microsecond microseconds", 1e-6, 0.0),
        ("ns nanosecond nanoseconds", 1e-9, 0.0),
        ("min minute minutes", _MINUTE, 0.0),
        ("h hr hour hours", _HOUR, 0.0),
        ("d day days", 24 * _HOUR, 0.0),
    ),
    "speed": (
        ("kt kts kn knot knots kias ktas nmi/h NM/h", _NAUTICAL / _HOUR, 0.0),
        ("m/s mps m·s⁻¹ metres/s meters/s", 1.0, 0.0),
        ("km/h kmh kph kmph kilometres/h kilometers/h", 1000.0 / _HOUR, 0.0),
        ("mph mi/h miles/h", _MILE / _HOUR, 0.0),
        ("ft/s fps feet/s", _FOOT, 0.0),
        ("ft/min fpm feet/min", _FOOT / _MINUTE, 0.0),
        ("m/min", 1.0 / _MINUTE, 0.0),
        ("cm/s", 1e-2, 0.0),
        ("mm/s", 1e-3, 0.0),
    ),
    "length": (
        ("ft feet foot", _FOOT, 0.0),
        ("m metre metres meter meters", 1.0, 0.0),
        ("km kilometre kilometres kilometer kilometers", 1000.0, 0.0),
        ("cm", 1e-2, 0.0),
        ("mm", 1e-3, 0.0),
        ("in inch inches", _FOOT / 12, 0.0),
        ("yd yard yards", 3 * _FOOT, 0.0),
        ("nmi NM", _NAUTICAL, 0.0),
        ("mi mile miles", _MILE, 0.0),
        ("hft FL", 100 * _FOOT, 0.0),
    ),
    "angle": (
        ("deg degree degrees ° degT degM", 1.0, 0.0),
        ("rad radian radians", 180.0 / math.pi, 0.0),
        ("mrad", 0.18 / math.pi, 0.0),
        ("cdeg", 1e-2, 0.0),
        ("degE7 1e-7deg", 1e-7, 0.0),
        ("arcmin", 1.0 / 60, 0.0),
        ("arcsec", 1.0 / 3600, 0.0),
        ("rev turn turns revolution revolutions", 360.0, 0.0),
        ("gon grad", 0.9, 0.0),
        ("semicircle semicircles", 180.0, 0.0),
    ),
    "rotation": (
        ("rev/min rpm r/min RPM 1/min revolutions/min", 1.0, 0.0),
        ("rev/s rps r/s Hz 1/s revolutions/s", 60.0, 0.0),
        ("rad/s rad/sec", 30.0 / math.pi, 0.0),
        ("deg/s °/s", 1.0 / 6, 0.0),
    ),
    "pressure": (
        ("Pa", 1.0, 0.0),
        ("hPa mbar mb millibar millibars", 100.0, 0.0),
        ("kPa", 1000.0, 0.0),
        ("MPa", 1e6, 0.0),
        ("bar bars", 1e5, 0.0),
        ("inHg in.Hg inHgA inchesHg inchHg inchesofmercury", _INHG, 0.0),
        ("mmHg", _INHG / 25.4, 0.0),
        ("psi PSI lbf/in2 lb/in2 psia psig", _PSI, 0.0),
        ("psf lbf/ft2 lb/ft2", _PSI / 144, 0.0),
        ("atm", 101325.0, 0.0),
        ("kgf/cm2 kg/cm2", 98066.5, 0.0),
    ),
    "temperature": (
        ("K kelvin Kelvin degK °K", 1.0, 0.0),
        ("degC °C celsius Celsius C degreesC degreescelsius", 1.0, 273.15),
        ("degF °F fahrenheit F degreesF degreesfahrenheit", 1 / 1.8, 459.67 / 1.8),
        ("degR °R rankine Rankine R", 1 / 1.8, 0.0),
    ),
    "ratio": (
        ("ratio 1 0-1 norm fraction bool", 1.0, 0.0),
        ("percent % pct 0-100 percentage", 1e-2, 0.0),
        ("permille ‰", 1e-3, 0.0),
    ),
    "volume flow": (
        ("gal/h gph USgal/h gallons/h", _US_GALLON / _HOUR, 0.0),
        ("gal/min gpm", _US_GALLON / _MINUTE, 0.0),
        ("impgal/h", _IMPERIAL_GALLON / _HOUR, 0.0),
        ("L/h l/h lph litres/h liters/h", _LITRE / _HOUR, 0.0),
        ("L/min l/min", _LITRE / _MINUTE, 0.0),
        ("L/s l/s", _LITRE, 0.0),
        ("m3/s m^3/s", 1.0, 0.0),
        ("m3/h m^3/h", 1.0 / _HOUR, 0.0),
        ("cm3/min cm^3/min cc/min mL/min ml/min", 1e-6 / _MINUTE, 0.0),
        ("cm3/s cm^3/s mL/s ml/s", 1e-6, 0.0),
    ),
    "mass flow": (
        ("kg/h kilograms/h", 1.0 / _HOUR, 0.0),
        ("kg/s", 1.0, 0.0),
        ("kg/min", 1.0 / _MINUTE, 0.0),
        ("g/s", 1e-3, 0.0),
        ("lb/h pph lbs/h pounds/h", _POUND / _HOUR, 0.0),
        ("lb/s", _POUND, 0.0),
    ),
    "volume": (
        ("gal USgal gallon gallons USgallons USgallon", _US_GALLON, 0.0),
        ("impgal", _IMPERIAL_GALLON, 0.0),
        ("L l litre litres liter liters", _LITRE, 0.0),
        ("mL ml", 1e-6, 0.0),
        ("m3 m^3", 1.0, 0.0),
        ("qt quart quarts", _US_GALLON / 4, 0.0),
    ),
    "mass": (
        ("kg kilogram kilograms", 1.0, 0.0),
        ("g gram grams", 1e-3, 0.0),
        ("lb lbs pound pounds", _POUND, 0.0),
    ),
    "current": (("A amp amps ampere amperes", 1.0, 0.0), ("mA", 1e-3, 0.0)),
    "voltage": (("V volt volts", 1.0, 0.0), ("mV", 1e-3, 0.0)),
    "acceleration": (
        ("g gee G", 9.80665, 0.0),
        ("m/s2 m/s^2 m/s² mps2", 1.0, 0.0),
        ("ft/s2 ft/s^2 ft/s² fps2", _FOOT, 0.0),
        ("mG mg", 9.80665e-3, 0.0),
        ("cm/s2 cm/s^2 cm/s/s", 1e-2, 0.0),
    ),
}


def _index() -> dict[str, dict[str, Unit]]:
    """Name -> dimension -> unit; one name may mean two things ("g": mass, acceleration)."""
    found: dict[str, dict[str, Unit]] = {}
    for dimension, rows in _TABLE.items():
        for names, factor, offset in rows:
            for name in names.split():
                found.setdefault(name, {})[dimension] = Unit(dimension, factor, offset)
    return found


_SPELLINGS = (("²", "2"), ("³", "3"), ("^", ""), (" per ", "/"), ("_", ""), (" ", ""))
_LONG_TIMES = re.compile(r"/(?:(h)(?:ours?|rs?)|(m)in(?:utes?)?|(s)ec(?:onds?)?)$")
_SHORT_TIMES = {"h": "/h", "m": "/min", "s": "/s"}


def _squashed(name: str) -> str:
    """A name without what spellings differ by: case, spaces, "per" for "/", "hour" for "h", raised digits."""
    name = name.strip().lower()
    for long, short in _SPELLINGS:
        name = name.replace(long, short)
    return _LONG_TIMES.sub(lambda found: _SHORT_TIMES["".join(filter(None, found.groups()))], name)


def _folded(index: dict[str, dict[str, Unit]]) -> dict[str, dict[str, Unit]]:
    """The same by squashed name, without those that then mean two sizes of one dimension (mPa, MPa)."""
    found: dict[str, dict[str, Unit]] = {}
    doubtful = {("mpa", "pressure")}  # milli or mega? Only the exact spelling tells.
    for name, units in index.items():
        for dimension, unit in units.items():
            old = found.setdefault(_squashed(name), {}).setdefault(dimension, unit)
            if old != unit:
                doubtful.add((_squashed(name), dimension))
    for name, dimension in doubtful:
        del found[name][dimension]
    return found


_BY_NAME = _index()
_BY_SQUASHED_NAME = _folded(_BY_NAME)
_NEEDS_DENSITY = {"volume flow": "mass flow", "volume": "mass"}
# Angle, rotation and ratio are all "dimensionless" or 1/s to a units library, so it cannot tell them apart.
_NOT_FOR_PINT = frozenset({"angle", "rotation", "ratio"})


def channel_dimension(channel: str) -> str:
    """The dimension of a channel's unit: "speed", "pressure", "ratio" (no unit)."""
    return channel_unit(channel).dimension


def channel_unit(channel: str) -> Unit:
    """The unit of a channel by the channel's name; raises KeyError for a name that is no channel."""
    name = CHANNELS[channel].unit
    if not name:
        return Unit("ratio", 1.0)
    units = _BY_NAME[name]
    return units["acceleration"] if name == "g" else next(iter(units.values()))


def examples(dimension: str) -> str:
    """A few usual units of a dimension, for an error text: "kt, m/s, km/h, mph"."""
    return ", ".join(names.split()[0] for names, _, _ in _TABLE[dimension][:5])


def dimensions_of(name: str) -> list[str]:
    """The dimensions a unit's name can have by our own table; empty for a name outside it."""
    return list(_lookup(name))


def _lookup(name: str) -> dict[str, Unit]:
    name = name.strip()
    return _BY_NAME.get(name) or _BY_SQUASHED_NAME.get(_squashed(name)) or {}


def conversion(name: str | None, channel: str, density_kg_per_l: float | None = None) -> Conversion:
    """The factor and offset from unit `name` to the channel's own; None = the channel's own unit already.

    density_kg_per_l turns a mass (kg, lb/h) into the volume a fuel channel wants. Raises `UnitError`.
    """
    if name is None:
        return Conversion()
    target = channel_unit(channel)
    units = _lookup(name)
    if target.dimension in units:
        return _between(units[target.dimension], target)
    mass = units.get(_NEEDS_DENSITY.get(target.dimension, ""))
    if mass is not None:
        return _through_density(mass, target, density_kg_per_l)
    if not units and target.dimension not in _NOT_FOR_PINT:
        found = _ask_pint(name, channel)
        if found is not None:
            return found
    raise UnitError(_wrong(name, target.dimension, list(units)))


def _between(unit: Unit, target: Unit) -> Conversion:
    if unit == target:
        return Conversion()
    return Conversion(unit.factor / target.factor, (unit.offset - target.offset) / target.factor)


def _through_density(mass: Unit, target: Unit, density_kg_per_l: float | None) -> Conversion:
    if density_kg_per_l is None:
        raise UnitError("is a mass; say the fuel's density too, density_kg_per_l = 0.72 for aviation gasoline")
    return Conversion(mass.factor / (density_kg_per_l * 1000.0) / target.factor)


def _wrong(name: str, dimension: str, found: list[str]) -> str:
    what = f"a unit of {found[0]}" if found else "not a unit known here"
    wanted = "no unit, or percent" if dimension == "ratio" else f"a unit of {dimension} such as {examples(dimension)}"
    return f"is {what}; wanted {wanted}"


_PINT_NAMES = {"inHg": "inHg", "gal/h": "gallon/hour", "g": "standard_gravity", "gal": "gallon", "kt": "knot"}
_registry: Any = None


def _ask_pint(name: str, channel: str) -> Conversion | None:
    """The conversion by pint's much larger table; None when pint is not installed or does not know the unit."""
    global _registry  # noqa: PLW0603 - one registry a process: making it is what costs
    try:
        import pint
    except ImportError:
        return None
    if _registry is None:
        _registry = pint.UnitRegistry(autoconvert_offset_to_baseunit=True)
    own = CHANNELS[channel].unit
    try:
        zero, one = (
            float(_registry.Quantity(number, name).to(_PINT_NAMES.get(own, own)).magnitude) for number in (0.0, 1.0)
        )
    except Exception:  # pint raises many kinds, also from its parser; all of them mean "not a unit of this dimension"
        return None
    if not (math.isfinite(zero) and math.isfinite(one)) or one == zero:
        return None
    return Conversion(one - zero, zero)


_LABEL = re.compile(r"(?P<name>.*?)\s*[\[(](?P<unit>[^\[\]()]*)[\])]\s*")


def split_label(label: str) -> tuple[str, str | None]:
    """A label with its unit apart: "v [m/s]" and "v (m/s)" are ("v", "m/s"); without one, (label, None)."""
    found = _LABEL.fullmatch(label)
    if not found or not found["name"]:
        return label, None
    return found["name"], found["unit"].strip() or None


def find_label(field: str, labels: Iterable[str]) -> str | None:
    """The label a field is meant by: the very same, else the only-or-first one that is the field and a unit."""
    labels = list(labels)
    if field in labels:
        return field
    return next((label for label in labels if split_label(label)[0] == field), None)
