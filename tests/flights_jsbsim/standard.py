"""The standard flights: a dozen clean ones and one for each fault, with names, flown once a process."""

from __future__ import annotations

import functools
from dataclasses import dataclass

from monitor.options import Options
from tests.accuracy.figures import Result, hear, measure
from tests.accuracy.store import Case, case_of
from tests.flights_jsbsim.flight import raw_flight
from tests.flights_jsbsim.judge import Heard
from tests.flights_jsbsim.scenario import Fault, Scenario
from tests.flights_jsbsim.sensors import Sensors

_WINDY = {"wind_kt": 12.0, "wind_from_deg": 50.0, "gust_kt": 2.0}
_HIGH = {"elevation_ft": 5000.0, "load": 0.4}


def _s(aeroplane: str, **more: object) -> Scenario:
    return Scenario(aeroplane=aeroplane, **more)  # type: ignore[arg-type]


CLEAN: dict[str, Scenario] = {
    "fixed, sea level, calm": _s("c172p"),
    "fixed, sea level, gusts": _s("c172p", seed=11, **_WINDY),
    "fixed, 5,000 ft, calm": _s("c172p", **_HIGH),
    "fixed, 5,000 ft, gusts": _s("c172p", seed=12, **_HIGH, **_WINDY),
    "fixed, weak climb, heavy and hot": _s("c172r", load=0.9, isa_c=15.0),
    "fixed, weak climb, tailwind": _s("c172r", wind_kt=5.0, wind_from_deg=170.0),
    "constant speed, sea level, calm": _s("c182"),
    "constant speed, sea level, gusts": _s("c182", seed=13, wind_kt=12.0, wind_from_deg=-40.0, gust_kt=2.0),
    "constant speed, 5,000 ft, calm": _s("c182", **_HIGH),
    "constant speed, slow governor": _s("pa28"),
    "constant speed, slow governor, 5,000 ft, gusts": _s("pa28", seed=14, **_HIGH, wind_kt=10.0, gust_kt=1.5),
    "tailwheel, calm": _s("J3Cub", load=0.3),
    "rolling takeoff": _s("c172p", rolling=True),
    "run-up first": _s("c172p", kind="run-up"),
    "hop that settles back": _s("c172p", kind="hop", hop_kt=10.0, runway_deg=350.0),
    "circuit with level-off": _s("c172p", kind="circuit", top_ft=1000.0),
    "sloppy within the standards": _s("c172p", sloppy=0.8, rotate_error_kt=3.0, gust_kt=0.8, seed=15),
}
"""Takeoffs with nothing wrong."""

NOT_TAKEOFFS: dict[str, Scenario] = {
    "rejected at 40 kt": _s("c172p", kind="rejected", reject_kt=40.0),
    "burst of power to 20 kt": _s("c172p", kind="burst", reject_kt=20.0),
}
"""The pilot's own stops, with nothing wrong."""

TWICE: dict[str, Scenario] = {
    "touch-and-go": _s("c172p", kind="touch-and-go", longest_s=300.0),
    "touch-and-go, constant speed": _s("c182", kind="touch-and-go", longest_s=300.0),
    "stop-and-go": _s("c172p", kind="stop-and-go", longest_s=300.0, top_ft=1050.0),
}
"""Two takeoffs in one stream."""


def _fault(aeroplane: str, kind: str, on: str, at: float, size: float = 0.0, **more: object) -> Scenario:
    return _s(aeroplane, fault=Fault(kind, on, at, size), after_fault_s=60.0 if on != "start" else 120.0, **more)


FAULTS: dict[str, Scenario] = {
    "engine failure at 20 kt": _fault("c172p", "engine-failure", "ias", 20.0, reaction_s=4.0),
    "engine failure at 48 kt": _fault("c172p", "engine-failure", "ias", 48.0, reaction_s=4.0),
    "engine failure at 40 ft": _fault("c172p", "engine-failure", "height", 40.0, reaction_s=2.0),
    "engine failure at 400 ft": _fault("c172p", "engine-failure", "height", 400.0, reaction_s=2.5),
    "engine failure at 400 ft, constant speed": _fault("c182", "engine-failure", "height", 400.0, reaction_s=2.5),
    "engine failure at 800 ft": _fault("c172p", "engine-failure", "height", 800.0, reaction_s=2.5),
    "partial power on the roll": _fault("c172p", "partial-power", "ias", 25.0, 0.75, reaction_s=5.0),
    "partial power on the roll, pilot flies on": _fault("c172p", "partial-power", "ias", 25.0, 0.82),
    "partial power at 350 ft": _fault("c172p", "partial-power", "height", 350.0, 0.75),
    "creeping power loss at 150 ft": _fault("c172p", "creeping-power", "height", 150.0, 0.012),
    "creeping power loss at 150 ft, hidden by the governor": _fault("c182", "creeping-power", "height", 150.0, 0.02),
    "short of rpm from the start": _fault("c172p", "rpm-low", "start", 0.0, 0.7),
    "blocked pitot": _fault("c172p", "airspeed-dead", "start", 0.0, 0.0),
    "blocked pitot, constant speed, 5,000 ft": _fault("c182", "airspeed-dead", "start", 0.0, 0.0, **_HIGH),
    "airspeed stuck at 25 kt": _fault("c172p", "airspeed-stuck", "ias", 25.0),
    "low oil pressure early in the roll": _fault("c172p", "oil-pressure-low", "ias", 15.0, 6.0),
    "low oil pressure within 2 s of VR": _fault("c172p", "oil-pressure-low", "ias", 49.5, 6.0),
    "low oil pressure at 300 ft": _fault("c172p", "oil-pressure-low", "height", 300.0, 6.0),
    "sagging oil pressure in the climb": _fault("c172p", "oil-pressure-sag", "height", 200.0, -4.0),
    "high oil temperature early": _fault("c172p", "oil-temperature-high", "ias", 8.0, 60.0),
    "high oil temperature in the climb": _fault("c172p", "oil-temperature-high", "height", 300.0, 15.0),
    "overspeed early in the roll": _fault("c182", "rpm-high", "time", 2.0, 1.12),
    "overspeed in the climb": _fault("c182", "rpm-high", "height", 300.0, 1.1),
    "low manifold pressure": _fault("c182", "manifold-pressure-low", "ias", 30.0, 0.88),
    "veer off the runway": _fault("c172p", "veer", "ias", 35.0, 6.0, reaction_s=6.0),
    "flaps wrong": _fault("c172p", "flaps-wrong", "start", 0.0, flaps_deg=20.0),
    "parking brake set": _fault("c172p", "parking-brake", "start", 0.0, 1.0),
    "mixture lean": _fault("c172p", "mixture-lean", "start", 0.0, 0.3),
    "low fuel pressure in the roll": _fault("c172p", "fuel-pressure-low", "ias", 12.0, 0.3),
    "high oil pressure in the climb": _fault("c172p", "oil-pressure-high", "height", 150.0, 140.0),
    "hot cylinder in the climb": _fault("c172p", "cylinder-hot", "height", 150.0, 60.0),
    "power eased at 200 ft": _fault("c172p", "power-eased", "height", 200.0, 0.7),
    "feed lost in the climb": _fault("c172p", "feed-lost", "height", 600.0, 5.0),
    "feed lost in the roll": _fault("c172p", "feed-lost", "ias", 35.0, 4.0),
    "frozen tachometer": _fault("c172p", "frozen-rpm", "ias", 30.0),
    "frozen heading": _fault("c172p", "frozen-heading", "ias", 30.0),
    "spikes on the tachometer": _fault("c172p", "rpm-spikes", "ias", 20.0, 0.0),
    "airspeed no longer sent": _fault("c172p", "airspeed-gone", "height", 200.0),
    "rpm no longer sent": _fault("c172p", "rpm-gone", "ias", 30.0),
    "static blocked aloft": _fault("c172p", "static-blocked", "height", 300.0),
    "door open": _fault("c172p", "door-open", "ias", 20.0, 1.0),
}
"""One fault each."""


@dataclass(frozen=True)
class Flown:
    """A standard flight with what the coach made of it."""

    case: Case
    heard: list[Heard]
    result: Result

    def first(self, kind: str, name: str) -> Heard | None:
        """The first event of that kind and id."""
        return next((h for h in self.heard if h.event.kind == kind and h.event.id == name), None)

    def ids(self, kind: str) -> list[str]:
        """The ids of all events of a kind, in order."""
        return [h.event.id for h in self.heard if h.event.kind == kind]


@functools.lru_cache(maxsize=256)
def flown(name: str, sensors: Sensors = Sensors(), options: Options | None = None) -> Flown:  # noqa: B008 - frozen
    """A standard flight by name, sent by these sensors."""
    scenario = (CLEAN | NOT_TAKEOFFS | FAULTS | TWICE)[name]
    chosen = options or Options(field_elevation_ft=scenario.elevation_ft)
    case = case_of(name, raw_flight(scenario), sensors, chosen)
    heard = hear(case)
    return Flown(case, heard, measure(case, heard))


def main() -> None:
    """Print the figures of every standard flight, and the tables: `python -m tests.flights_jsbsim.standard`."""
    from tests.accuracy.table import report

    both = (Sensors(), Sensors(missing=frozenset({"on_ground"})))
    results = [flown(name, sensors).result for sensors in both for name in (*CLEAN, *NOT_TAKEOFFS, *FAULTS)]
    print(
        "| flight | switch | lift-off s | rotate kt from VR | 300, 500, 1,000 ft s | warning | delay s |\n"
        + "|---" * 7
        + "|"
    )
    for r in results:
        heights = ", ".join(f"{e:+.2f}" for e in r.heights_s.values())
        cells = [r.name, "yes" if r.switch else "no", _n(r.liftoff_s), _n(r.rotate_ias), heights, r.verdict.outcome]
        print("| " + " | ".join([*cells, _n(r.verdict.delay_s)]) + " |")
    print(report(results))


def _n(value: float | None) -> str:
    return "–" if value is None else f"{value:+.2f}"


if __name__ == "__main__":
    main()
