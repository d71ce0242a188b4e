"""Lift-off from a slow stream without a ground switch, against the model's own moment: where it falls between two
samples, whatever instrument shows it.

Outside truth: the flight dynamics library jsbsim, its wheels' own contact with the ground.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from monitor.first_climb import climb_began
from monitor.options import Options
from tests.accuracy.figures import hear, measure
from tests.accuracy.store import case_of
from tests.flights_jsbsim.flight import raw_flight
from tests.flights_jsbsim.sensors import Sensors
from tests.flights_jsbsim.standard import CLEAN

FLIGHTS = (
    "fixed, sea level, gusts",
    "fixed, weak climb, tailwind",
    "constant speed, sea level, calm",
    "constant speed, slow governor",
)
FROM_HZ = 20


def _errors(missing: frozenset[str], interval_s: float, lag_s: float = 0.0) -> np.ndarray:
    """Lift-off stamped less the truth, over the flights, each cut in five ways."""
    found = []
    step = round(interval_s * FROM_HZ)
    for name in FLIGHTS:
        raw = raw_flight(CLEAN[name])
        case = case_of(name, raw, Sensors(rate_hz=FROM_HZ, missing=missing | {"on_ground"}, lag_s=lag_s), Options())
        for first in range(0, step, max(step // 5, 1)):
            cut = replace(case, columns={channel: values[first::step] for channel, values in case.columns.items()})
            error = measure(cut, hear(cut)).liftoff_s
            assert error is not None
            found.append(error)
    return np.abs(found)


@pytest.mark.parametrize("missing", [frozenset[str](), frozenset({"height_ft"})], ids=["height", "altitude only"])
@pytest.mark.parametrize(("interval_s", "mean_s", "worst_s"), [(0.5, 0.05, 0.15), (1.0, 0.1, 0.3), (2.0, 0.3, 0.7)])
def test_lift_off_between_two_slow_samples(
    missing: frozenset[str], interval_s: float, mean_s: float, worst_s: float
) -> None:
    """Wherever the samples fall, lift-off is found well within one interval."""
    errors = _errors(missing, interval_s)
    assert errors.mean() <= mean_s
    assert errors.max() <= worst_s


def test_a_vertical_speed_that_lags_is_seen_through() -> None:
    """An instrument that lags by 0.8 s does not move lift-off by so much, for the height shows the climb at once."""
    assert _errors(frozenset(), 1.0, lag_s=0.8).mean() <= 0.25


def test_two_samples_tell_nothing() -> None:
    """With less than three samples near it the first guess stands."""
    rows = [(0.0, 50.0, 0.0, 0.0, None), (1.0, 55.0, 4.0, 300.0, None), (2.0, 60.0, 9.0, None, None)]
    assert climb_began(rows, 1.0, 0.4, 0.0, 0.0, False) == 0.4
