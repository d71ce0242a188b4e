"""What each channel may look like: the units simulators send it in, how finely its gauge is read, and usual values.

A usual range decides only where nothing better is known (no reading typed, no physics); it is wide, and each is
common practice of single-engine piston trainers, no source.
"""

from __future__ import annotations

import math

import msgspec

from adapters.units import conversion
from monitor.sample import CHANNELS


class Guess(msgspec.Struct, frozen=True):
    """How one channel may be sent and how its gauge is read.

    units: names that `adapters.units` knows, the likeliest first. signed: whether a feed may have the other sign.
    read_to, read_share: one sigma of a typed reading, in the channel's unit and as a share of the value. spread:
    the width of all values the gauge may show. wraps: 360 for a compass, else 0. main: one of those the coach lives by.
    """

    channel: str
    units: tuple[str, ...]
    read_to: float
    spread: float
    read_share: float = 0.0
    signed: bool = False
    wraps: float = 0.0
    main: bool = False


_SPEEDS = ("kt", "m/s", "km/h", "mph", "ft/s")
_PRESSURES = ("psi", "kPa", "bar", "hPa", "psf", "Pa")
_TEMPERATURES = ("degF", "degC", "K", "degR")

_ALL = (
    Guess("time_s", ("s", "ms", "us", "min"), 1.0, 1e4),
    Guess("ias_kt", _SPEEDS, 2.0, 150.0, 0.01, main=True),
    Guess("altitude_ft", ("ft", "m", "km", "hft"), 25.0, 10000.0, 0.003, main=True),
    Guess("height_ft", ("ft", "m", "km", "hft"), 25.0, 5000.0, 0.01, main=True),
    Guess("heading_deg", ("deg", "rad"), 4.0, 360.0, wraps=360.0, main=True),
    Guess("pitch_deg", ("deg", "rad"), 2.0, 30.0, 0.05, signed=True, main=True),
    Guess("bank_deg", ("deg", "rad"), 4.0, 60.0, 0.05, signed=True, main=True),
    Guess("rpm", ("rev/min", "rev/s", "rad/s"), 30.0, 2700.0, 0.01, main=True),
    Guess("throttle", ("1", "percent"), 0.05, 1.0, main=True, signed=True),
    Guess("oil_pressure_psi", _PRESSURES, 3.0, 100.0, 0.03, main=True),
    Guess("oil_temperature_degf", _TEMPERATURES, 5.0, 200.0, 0.02, main=True),
    Guess("vertical_speed_fpm", ("ft/min", "m/s", "ft/s", "kt", "m/min"), 100.0, 2000.0, 0.1, signed=True),
    Guess("groundspeed_kt", _SPEEDS, 2.0, 150.0, 0.02),
    Guess("latitude_deg", ("deg", "rad", "degE7"), 0.001, 180.0),
    Guess("longitude_deg", ("deg", "rad", "degE7"), 0.001, 360.0),
    Guess("on_ground", ("1",), 0.1, 1.0, signed=True),
    Guess("flaps_deg", ("deg", "rad"), 2.0, 40.0),
    Guess("manifold_pressure_inhg", ("inHg", "hPa", "kPa", "Pa", "psi", "bar", "psf"), 0.5, 30.0, 0.01),
    Guess("fuel_flow_gph", ("gal/h", "L/h", "gal/min", "L/min"), 0.4, 20.0, 0.03),
    Guess("cht_degf", _TEMPERATURES, 10.0, 400.0, 0.02),
    Guess("egt_degf", _TEMPERATURES, 20.0, 1500.0, 0.02),
    Guess("oat_degc", ("degC", "K", "degF", "degR"), 1.0, 80.0),
    Guess("normal_acceleration_g", ("g", "m/s2", "ft/s2"), 0.1, 2.0, signed=True),
    Guess("elevator", ("1", "percent"), 0.1, 2.0, signed=True),
    Guess("aileron", ("1", "percent"), 0.1, 2.0, signed=True),
    Guess("rudder", ("1", "percent"), 0.1, 2.0, signed=True),
    Guess("elevator_trim", ("1", "percent"), 0.1, 2.0, signed=True),
    Guess("mixture", ("1", "percent"), 0.05, 1.0, signed=True),
    Guess("carburettor_heat", ("1", "percent"), 0.05, 1.0, signed=True),
    Guess("brake", ("1", "percent"), 0.05, 1.0, signed=True),
    Guess("parking_brake", ("1", "percent"), 0.05, 1.0, signed=True),
    Guess("propeller", ("1", "percent"), 0.05, 1.0, signed=True),
    Guess("suction_inhg", ("inHg", "hPa", "kPa", "psi"), 0.3, 6.0),
    Guess("fuel_pressure_psi", _PRESSURES, 0.5, 30.0, 0.03),
    Guess("ammeter_a", ("A",), 2.0, 60.0, signed=True),
    Guess("bus_v", ("V",), 0.5, 30.0),
    Guess("fuel_quantity_gal", ("gal", "L"), 1.0, 60.0, 0.03),
)

GUESSES: dict[str, Guess] = {guess.channel: guess for guess in _ALL}
"""Every channel that can be found, the main ones among them, in the order they are reported."""


class Reading(msgspec.Struct, frozen=True):
    """How a field becomes a channel: `value = raw * factor + offset`, with the unit and sign that say so.

    unit: a unit's name. flip: the feed's sign (for a lever: its direction) is the other way round. trim: added to
    the raw value first, in the field's own unit, when a constant was found between feed and gauge.
    """

    unit: str
    factor: float
    offset: float
    flip: bool = False
    trim: float = 0.0


def readings_of(channel: str) -> tuple[Reading, ...]:
    """Every way a field could be read as `channel`: each unit, and each with the other sign where that happens."""
    guess = GUESSES[channel]
    ways: list[Reading] = []
    for unit in guess.units:
        to = conversion(unit, channel)
        ways.append(Reading(unit, to.factor, to.offset))
        if guess.signed:
            ways.append(_flipped(channel, unit, to.factor, to.offset))
    return tuple(ways)


def _flipped(channel: str, unit: str, factor: float, offset: float) -> Reading:
    """The other way round: the sign of an angle or a rate; for a lever or a switch, from its other end."""
    low, high = CHANNELS[channel].low, CHANNELS[channel].high
    end = low + high if math.isfinite(low + high) and (low, high) == (0.0, 1.0) else 0.0
    return Reading(unit, -factor, end - offset, flip=True)
