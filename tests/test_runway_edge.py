"""The runway's edge: with thresholds and width known, a roll that will leave the runway within 1.5 s is to be aborted.

The runway of these tests: 080 from 47 north, 8 east, 60 ft wide, so that with the outer wheel 4 ft beside the position
the edge is at 26 ft. The 1.5 s are the trade's, common practice, no source.
"""

from __future__ import annotations

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from msgspec.structs import replace

from monitor.capabilities import checks_off
from monitor.options import Options
from monitor.sample import Sample
from tests.synthetic import FIXED, RUNWAY_DEG, Flown, Points, fly, position_lines, procedure, takeoff

START = (47.0, 8.0)
EDGE_FT = 26.0


def runway() -> tuple[tuple[float, float], tuple[float, float], Points, Points]:
    """Both thresholds of the runway, and latitude and longitude of a takeoff along its centreline."""
    options = _runway()
    assert options.runway_start is not None and options.runway_end is not None
    return options.runway_start, options.runway_end, *position_lines()


def _runway(width_ft: float | None = 60.0, right_ft: float = 0.0) -> Options:
    side = Geodesic.WGS84.Direct(*START, RUNWAY_DEG + 90.0, right_ft * 0.3048)
    start = (side["lat2"], side["lon2"])
    far = Geodesic.WGS84.Direct(*start, RUNWAY_DEG, 1500.0)
    return Options(runway_start=start, runway_end=(far["lat2"], far["lon2"]), runway_width_ft=width_ft)


def _rolled(right_ft: Points, options: Options, hz: float = 20.0) -> Flown:
    latitude, longitude = position_lines(right_ft)
    flight = takeoff(hz, latitude_deg=latitude, longitude_deg=longitude).between(5.0, 28.0)
    return fly(flight, options=options)


def _aborts(flown: Flown) -> list[str]:
    return [event.more["reason"] for event in flown.all("warning", "abort")]


@pytest.mark.parametrize("side", [1.0, -1.0])
@pytest.mark.parametrize(("hz", "late_s"), [(60.0, 0.2), (20.0, 0.2), (5.0, 0.4), (1.0, 1.6)])
def test_a_drift_over_the_edge_is_an_abort(side: float, hz: float, late_s: float) -> None:
    """Drifting at 8 ft/s from the centreline at 17 s, the edge is 1.5 s away at 18.75 s: abort 0.3 s later."""
    flown = _rolled(((17.0, 0.0), (24.0, side * 56.0)), _runway(), hz)
    assert _aborts(flown) == ["directional-control"]
    assert flown.t("warning", "abort") == pytest.approx(18.75 + 0.3 + late_s / 2, abs=0.05 + late_s / 2)


def test_over_the_edge_counts_in_the_last_two_seconds_too() -> None:
    """The line 2 s before VR holds back most cues (it is at 21.5 s), not this one."""
    flown = _rolled(((21.6, 0.0), (25.0, 51.0)), _runway())
    assert _aborts(flown) == ["directional-control"]


@pytest.mark.parametrize(
    "right_ft",
    [
        ((0.0, 20.0), (30.0, 20.0)),  # parallel to the edge
        ((15.0, 0.0), (25.0, 20.0)),  # 2 ft/s outward, 3 ft of them ahead: never within 1.5 s of it
        ((12.0, 24.0), (16.0, 24.0), (20.0, 0.0)),  # back to the middle
    ],
)
def test_no_abort_inside_the_edges(right_ft: Points) -> None:
    """Beside the centreline, along it or towards it, is at most an advisory."""
    assert _aborts(_rolled(right_ft, _runway())) == []


def test_noise_of_the_position_is_no_swerve() -> None:
    """A position with 3 ft of noise (standard deviation), 12 ft off the centreline: no abort at 20 Hz."""
    degree_ft = 111_195.0 / 0.3048
    latitude, longitude = position_lines(((0.0, 12.0), (30.0, 12.0)))
    flight = takeoff(latitude_deg=latitude, longitude_deg=longitude).between(5.0, 28.0).samples()
    for seed in range(10):
        north, east = np.random.default_rng(seed).normal(0.0, 3.0 / degree_ft, (2, len(flight)))
        noisy = [
            replace(sample, latitude_deg=sample.latitude_deg + a, longitude_deg=sample.longitude_deg + b / 0.68)
            for sample, a, b in zip(flight, north.tolist(), east.tolist(), strict=True)
        ]
        assert _aborts(fly(noisy, options=_runway())) == []


def test_another_runway_than_the_given_one_says_nothing() -> None:
    """A roll 200 ft beside the given thresholds was never inside the edges: no abort, whatever it does."""
    assert _aborts(_rolled(((17.0, 0.0), (24.0, 56.0)), _runway(right_ft=-200.0))) == []


def test_without_a_width_there_is_no_edge() -> None:
    """Thresholds without a width: the centreline is watched, the edge is not, and the program says so."""
    options = _runway(width_ft=None)
    assert _aborts(_rolled(((17.0, 0.0), (24.0, 56.0)), options)) == []
    every = frozenset(Sample.__struct_fields__)
    assert ("runway edge", "no runway width given") in checks_off(FIXED, procedure(), options, every)
    assert not [check for check, _ in checks_off(FIXED, procedure(), _runway(), every) if "edge" in check]
