"""A coach for a test aeroplane with the built-in normal procedure."""

from __future__ import annotations

import functools

from adapters.library import open_procedure
from monitor.aircraft import Aircraft
from monitor.aircraft_file import load_aircraft
from monitor.coach import Coach
from monitor.options import Options
from monitor.procedure import Procedure
from tests.flights_jsbsim.aeroplanes import profile_text


@functools.cache
def normal_procedure() -> Procedure:
    """The built-in normal procedure."""
    return open_procedure("normal")


@functools.cache
def aircraft(key: str) -> Aircraft:
    """One test aeroplane's profile."""
    return load_aircraft(profile_text(key), f"tests/flights_jsbsim/profiles/{key}.toml")


def coach_for(key: str, options: Options | None = None) -> Coach:
    """A new coach."""
    return Coach(aircraft(key), normal_procedure(), options or Options())
