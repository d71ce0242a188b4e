"""A test flight: its samples and the truth about it. `fly()` is the one thing most tests need."""

from __future__ import annotations

import functools
from dataclasses import dataclass

import numpy as np

from tests.flights_jsbsim.aeroplanes import AEROPLANES
from tests.flights_jsbsim.pilot import Pilot, Raw
from tests.flights_jsbsim.scenario import Scenario
from tests.flights_jsbsim.sensors import (
    Sensors,
    as_samples,
    fault_time,
    indicated_airspeed,
    sent,
    true_channels,
)

CALM, AT_20_HZ = Scenario(), Sensors()
HEIGHTS_FT = (50.0, 200.0, 300.0, 500.0, 1000.0)
DOWN_FOR_S = 1.0


@dataclass(frozen=True)
class Truth:
    """What really happened, found at 120 Hz; all times in the feed's own time (s); None = did not happen.

    wheels_off: the last wheel leaves for good; wheels_down: it is back for a second after that. rotate_speed:
    airspeed first crosses VR on the roll; rotate_indicated: the same as the sensor shows it, with its lag and its
    fault but without noise. nose_up: 2 degrees above the lowest attitude of the roll, for good, before wheels_off.
    heights: height above the runway (model) to the time it is first passed after wheels_off; indicated: the same by
    indicated altitude less the field's. half_speed: half VR. marks: the pilot's own deeds."""

    wheels_off: float | None
    rotate_speed: float | None
    rotate_indicated: float | None
    half_speed: float | None
    nose_up: float | None
    heights: dict[float, float]
    indicated: dict[float, float]
    brake_release: float | None
    throttle_full: float | None
    throttle_closed: float | None
    stopped: float | None
    fault: float | None
    marks: dict[str, float]
    wheels_down: float | None = None


@dataclass(frozen=True)
class Flight:
    """One flight as sent. samples: dicts of channel values with "time_s"."""

    scenario: Scenario
    sensors: Sensors
    samples: list[dict[str, float]]
    truth: Truth

    @property
    def profile(self) -> str:
        """Key of the aeroplane, for `aeroplanes.profile_text`."""
        return self.scenario.aeroplane


@functools.lru_cache(maxsize=64)
def raw_flight(scenario: Scenario) -> Raw:
    """The flight at 120 Hz, flown once a process."""
    return Pilot(scenario).fly()


@functools.lru_cache(maxsize=64)
def fly(scenario: Scenario = CALM, sensors: Sensors = AT_20_HZ) -> Flight:
    """Fly it (once a process) and send it through the sensors."""
    raw = raw_flight(scenario)
    return Flight(scenario, sensors, as_samples(sent(raw, sensors)), truth_of(raw, sensors.start_s, sensors))


def first_crossing(t: np.ndarray, values: np.ndarray, level: float, after: float = -1.0) -> float | None:
    """When `values` first rises through `level` after a time, by interpolation."""
    up = np.flatnonzero((values[1:] >= level) & (values[:-1] < level) & (t[1:] > after))
    if not len(up):
        return None
    i = int(up[0])
    return float(t[i] + (t[i + 1] - t[i]) * (level - values[i]) / (values[i + 1] - values[i]))


def wheels_off(t: np.ndarray, on_ground: np.ndarray, after: float = 0.0, hop_s: float = 2.0) -> float | None:
    """The first moment, after a time, that the wheels leave and stay off for `hop_s`; None if they never do."""
    edges = np.flatnonzero((on_ground[1:] < 0.5) & (on_ground[:-1] > 0.5) & (t[1:] > after)) + 1
    for i in edges:
        back = np.flatnonzero(on_ground[i:] > 0.5)
        if not len(back) or t[i + back[0]] - t[i] > hop_s:
            return float(t[i])
    return None


def truth_of(raw: Raw, start_s: float = 0.0, sensors: Sensors = AT_20_HZ, takeoff: int = 1) -> Truth:
    """The truth of a flight, in feed time; of the sensors only pitot, lag and the scenario's fault matter.

    takeoff: 1, or 2 for the second one of a touch-and-go or stop-and-go.
    """
    shown = indicated_airspeed(raw, sensors)
    c, a, marks = true_channels(raw), AEROPLANES[raw.scenario.aeroplane], raw.marks
    t = c["t"]
    opened = marks["second_roll"] if takeoff == 2 else marks.get("throttle_opening", 0.0)
    off = wheels_off(t, c["on_ground"], opened)
    # Back on the ground is the same with the two states changed over.
    down = None if off is None else wheels_off(t, 1.0 - c["on_ground"], off, DOWN_FOR_S)

    def at(time: float | None) -> float | None:
        return None if time is None else time + start_s

    def passed(values: np.ndarray) -> dict[float, float]:
        found = {h: first_crossing(t, values, h, off) for h in HEIGHTS_FT} if off is not None else {}
        return {h: time + start_s for h, time in found.items() if time is not None}

    return Truth(
        wheels_off=at(off),
        rotate_speed=at(first_crossing(t, c["ias_kt"], a.rotate_kt, opened)),
        rotate_indicated=at(first_crossing(t, shown, a.rotate_kt, opened)),
        half_speed=at(first_crossing(t, c["ias_kt"], a.rotate_kt / 2, opened)),
        nose_up=at(_nose_up(c, opened, off)),
        heights=passed(c["height_ft"]),
        indicated=passed(c["altitude_ft"] - raw.scenario.elevation_ft),
        brake_release=at(marks.get("brake_release")),
        throttle_full=at(marks.get("throttle_full")),
        throttle_closed=at(marks.get("throttle_closed")),
        stopped=at(marks.get("stopped")),
        fault=at(fault_time(raw)),
        marks={k: v + start_s for k, v in marks.items()},
        wheels_down=at(down),
    )


def _nose_up(c: dict[str, np.ndarray], opened: float, off: float | None) -> float | None:
    """The last rise through (lowest attitude of the roll so far + 2 degrees) before the wheels leave."""
    if off is None:
        return None
    roll = (c["t"] > opened + 3.0) & (c["t"] <= off + 1.0)
    t, pitch = c["t"][roll], c["pitch_deg"][roll]
    if not len(t):
        return None
    above = pitch > np.minimum.accumulate(pitch) + 2.0
    below = np.flatnonzero(~above)
    return float(t[min(below[-1] + 1, len(t) - 1)]) if len(below) else float(t[0])
