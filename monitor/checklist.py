"""Line-up and after-takeoff checks, item by item: verified where a channel exists, asked where none does."""

from __future__ import annotations

from collections.abc import Callable

from monitor.aircraft import Aircraft
from monitor.geo import turn
from monitor.heights import ALTIMETER_OFF_FT
from monitor.options import Options
from monitor.routine import Routine
from monitor.sample import Sample
from monitor.settings import Settings
from monitor.state import State

Item = tuple[str, str]  # (item, "ok" | "not-ok" | "ask")


def line_up(
    sample: Sample, aircraft: Aircraft, settings: Settings, options: Options, flaps_deg: float, high: bool | None
) -> list[Item]:
    """The items of the line-up check, in order, as they stand now; high: the field is above the lean height."""
    items = [
        ("flaps", _state(sample.flaps_deg, lambda v: abs(v - flaps_deg) <= settings.flaps_tolerance_deg)),
        ("trim", _state(sample.elevator_trim, lambda v: abs(v) <= settings.trim_most)),
        ("parking-brake", _state(sample.parking_brake, lambda v: v < 0.5)),
        ("mixture", _mixture(sample, settings, high)),
        ("carburettor-heat", _state(sample.carburettor_heat, lambda v: v < 0.5)),
        ("door", _state(sample.door_open, lambda v: v < 0.5)),
    ]
    if aircraft.propeller == "constant-speed":
        items.append(("propeller", _state(sample.propeller, lambda v: v > 0.95)))
    given = options.runway_heading_deg
    if given is not None:
        off = settings.runway_check_deg
        items.append(("runway", _state(sample.heading_deg, lambda v: abs(turn(given, v)) <= off)))
    field = options.field_elevation_ft
    if field is not None:
        items.append(("altimeter", _state(sample.altitude_ft, lambda v: abs(v - field) <= ALTIMETER_OFF_FT)))
    oil = aircraft.instruments.get("oil_temperature_degf")
    if oil is not None and oil.green is not None:
        low = oil.green[0]
        items.append(("oil-cold", _state(sample.oil_temperature_degf, lambda v: v >= low)))
    return items


def _mixture(sample: Sample, settings: Settings, high: bool | None) -> str:
    """Rich below the lean height, set above it: at full rich there, or leaned where the height is not known, the lever
    alone does not tell."""
    least = settings.mixture_cut_off if high is not False else settings.mixture_rich
    state = _state(sample.mixture, lambda v: v >= least)
    rich = (sample.mixture or 0.0) >= settings.mixture_rich
    unsure = state == "ok" and (high is True if rich else high is None)
    return "ask" if unsure else state


def after_takeoff(s: State, aircraft: Aircraft, settings: Settings, routine: Routine) -> list[Item]:
    """The items of the after-takeoff check, in order, as they stand now."""
    out = routine.flaps_out()
    sample = s.sample
    items = [("flaps", "ask" if out is None else ("not-ok" if out else "ok"))]
    for name, channel in (("oil-pressure", "oil_pressure_psi"), ("oil-temperature", "oil_temperature_degf")):
        band = aircraft.instruments.get(channel)
        if band is not None and band.green is not None:
            low, high = band.green
            items.append((name, _state(getattr(sample, channel), _between(low, high))))
    items.append(("carburettor-heat", _state(sample.carburettor_heat, lambda v: v < 0.5)))
    return items


def _state(value: float | None, good: Callable[[float], bool]) -> str:
    return "ask" if value is None else ("ok" if good(value) else "not-ok")


def wrong_configuration(sample: Sample, settings: Settings, flaps_deg: float, high: bool | None) -> str | None:
    """What makes the configuration unfit for takeoff: "flaps" (much too far out), "brake", "trim"; None when fit."""
    if sample.flaps_deg is not None and sample.flaps_deg > flaps_deg + settings.flaps_wrong_deg:
        return "flaps"
    if sample.parking_brake is not None and sample.parking_brake >= 0.5:
        return "brake"
    if sample.elevator_trim is not None and abs(sample.elevator_trim) > settings.trim_wrong:
        return "trim"
    # Above the lean height the lever is rightly somewhere in between.
    least = settings.mixture_cut_off if high is not False else settings.mixture_wrong
    if sample.mixture is not None and sample.mixture < least:
        return "mixture"
    return None


def _between(low: float, high: float) -> Callable[[float], bool]:
    return lambda value: low <= value <= high
