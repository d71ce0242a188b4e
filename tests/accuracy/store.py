"""One flight of the Monte Carlo: made from a seed, kept in a file, read back as the coach's samples."""

from __future__ import annotations

import math
import pickle
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from monitor.options import Options
from monitor.sample import Sample
from tests.accuracy.variety import draw_fault, draw_options, draw_scenario, draw_sensors
from tests.flights_jsbsim.expected import Expected, expected
from tests.flights_jsbsim.flight import Truth, truth_of
from tests.flights_jsbsim.judge import FIELDS
from tests.flights_jsbsim.pilot import Pilot, Raw
from tests.flights_jsbsim.scenario import Scenario
from tests.flights_jsbsim.sensor_faults import Arrays
from tests.flights_jsbsim.sensors import Sensors, sent

EXACT = frozenset({"time_s", "latitude_deg", "longitude_deg"})
"""Channels kept in double precision."""
EXACT_RAW = frozenset({"t", "latitude_deg", "longitude_deg", "north_ft", "east_ft"})
"""The same of the 120 Hz record."""


@dataclass
class Case:
    """One flight: how it was drawn, what is true, what is expected, and what was sent."""

    name: str
    scenario: Scenario
    sensors: Sensors
    options: Options
    truth: Truth
    want: Expected
    columns: Arrays


def drawn(seed: int, faulted: bool) -> tuple[Scenario, Sensors, Options]:
    """The flight's description, from its seed alone."""
    scenario, sensors = draw_scenario(seed), draw_sensors(seed)
    if faulted:
        scenario, needs = draw_fault(seed, scenario)
        sensors = replace(sensors, missing=sensors.missing - needs)
    return scenario, sensors, draw_options(seed, scenario)


def name_of(seed: int, faulted: bool) -> str:
    """The flight's name, of its file too."""
    return f"{'fault' if faulted else 'clean'}-{seed}"


def make_case(seed: int, faulted: bool) -> Case:
    """Fly one seed."""
    scenario, sensors, options = drawn(seed, faulted)
    return case_of(name_of(seed, faulted), Pilot(scenario).fly(), sensors, options)


def keep(seed: int, faulted: bool, folder: Path) -> None:
    """Fly one seed; keep the 120 Hz record (for `refresh`) and the case. A record already there is used, not flown
    again."""
    record = folder / "raw" / f"{name_of(seed, faulted)}.npz"
    scenario, sensors, options = drawn(seed, faulted)
    if record.exists():
        raw = load_raw(record)
    else:
        raw = Pilot(scenario).fly()
        save_raw(raw, record)
    save(case_of(name_of(seed, faulted), raw, sensors, options), folder)


def save_raw(raw: Raw, path: Path) -> None:
    """The 120 Hz record to a file, single precision but for time and place."""
    path.parent.mkdir(parents=True, exist_ok=True)
    arrays = {k: v if k in EXACT_RAW else v.astype(np.float32) for k, v in raw.data.items()}
    about = np.frombuffer(pickle.dumps(replace(raw, data={})), dtype=np.uint8)
    np.savez_compressed(path, about=about, **arrays)  # type: ignore[arg-type]


def load_raw(path: Path) -> Raw:
    """Back from the file; only ever files this module wrote itself."""
    with np.load(path) as data:
        raw: Raw = pickle.loads(data["about"].tobytes())
        raw.data = {k: data[k].astype(np.float64) for k in data.files if k != "about"}
    return raw


def case_of(name: str, raw: Raw, sensors: Sensors, options: Options) -> Case:
    """A flown flight, sent through the sensors."""
    columns = sent(raw, sensors)
    return Case(name, raw.scenario, sensors, options, truth_of(raw, sensors.start_s, sensors), expected(raw), columns)


def save(case: Case, folder: Path) -> Path:
    """To one .npz file, numbers in single precision but for time and position."""
    arrays = {k: v if k in EXACT else v.astype(np.float32) for k, v in case.columns.items()}
    about = pickle.dumps(replace(case, columns={}))
    path = folder / f"{case.name}.npz"
    np.savez_compressed(path, about=np.frombuffer(about, dtype=np.uint8), **arrays)  # type: ignore[arg-type]
    return path


def load(path: Path) -> Case:
    """Back from the file; only ever files this module wrote itself."""
    with np.load(path) as data:
        case: Case = pickle.loads(data["about"].tobytes())
        case.columns = {k: data[k].astype(np.float64) for k in data.files if k != "about"}
    return case


def samples(case: Case) -> Iterator[Sample]:
    """The samples as the coach gets them."""
    count = len(case.columns["time_s"])
    empty = [None] * count
    lists: list[list[float | None]] = []
    for name in FIELDS:
        column = case.columns.get(name)
        if column is None:
            lists.append(empty)  # type: ignore[arg-type]
        elif np.isnan(column).any():
            lists.append([None if math.isnan(v) else v for v in column.tolist()])
        else:
            lists.append(column.tolist())
    return (Sample(*row) for row in zip(*lists, strict=True))
