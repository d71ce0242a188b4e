"""A small seeded part of the accuracy runs, the same code and seeds every time; the whole is `python -m
tests.accuracy run`.

Goals (stated for the product, common practice, no source): no false warning, none missed, no wrong reason; delay
after the limit's crossing less its hold 1.5 s at most at 20 Hz and more."""

from __future__ import annotations

import functools

import numpy as np
import pytest

from tests.accuracy.figures import Result, hear
from tests.accuracy.intervals import percentile, share_limits
from tests.accuracy.store import make_case
from tests.accuracy.table import report
from tests.accuracy.variety import FAULT_KINDS, draw_fault, draw_options, draw_scenario, draw_sensors
from tests.accuracy.work import flown

CLEAN_SEEDS = range(101, 113)
FAULT_SEEDS = range(600_001, 600_017)


@functools.cache
def clean() -> tuple[Result, ...]:
    """A dozen clean flights."""
    return tuple(flown((seed, False)) for seed in CLEAN_SEEDS)


@functools.cache
def faulted() -> tuple[Result, ...]:
    """Sixteen flights with a fault."""
    return tuple(flown((seed, True)) for seed in FAULT_SEEDS)


def test_clean_flights_of_any_day_and_feed_get_no_warning_and_all_their_calls() -> None:
    """On a dozen random clean flights no warning comes, no absolute rule is broken and no routine call is missing."""
    assert {
        r.name: (r.verdict.false, r.verdict.rules, r.missing) for r in clean() if not r.verdict.good or r.missing
    } == {}


def test_faults_of_any_kind_and_moment_are_called_rightly_and_in_time() -> None:
    """On random flights with a fault: nothing false, nothing missed, the right reason, in time."""
    assert {r.name: r.verdict for r in faulted() if not r.verdict.good} == {}


@pytest.mark.parametrize("seed", [651107, 660393, 660825, 670805])
def test_a_loss_that_a_governor_hides_is_told(seed: int) -> None:
    """Constant speed in gusts, noise and turns, a quarter to a third of the power lost, every gauge as before: told
    within 12 s, and nothing else."""
    case = make_case(seed, True)
    due = case.sensors.start_s + case.want.earliest
    told = [h.event.t_s for h in hear(case) if h.event.kind == "warning" and h.event.t_s is not None]
    assert len(told) == 1
    assert due < told[0] <= due + 12.5


def test_lift_off_and_height_calls_are_accurate_at_fast_feeds() -> None:
    """At 10 Hz and more lift-off with a ground switch is within 0.2 s, and the height calls within 0.5 s, on all of
    them."""
    for r in clean():
        if r.rate_hz < 10.0:
            continue
        if r.switch and r.liftoff_s is not None:
            assert r.liftoff_s == pytest.approx(0.0, abs=0.2), r.name
        for error in r.heights_s.values():
            assert error == pytest.approx(0.0, abs=0.5), r.name


def test_advisories_are_rare_on_clean_flights() -> None:
    """The median clean flight gets no advisory."""
    assert np.median([len(r.advisories) for r in clean()]) == 0


def test_the_draws_are_the_same_for_the_same_seed_and_cover_what_they_should() -> None:
    """A seed always gives the same flight; over many seeds every kind of fault, rate and aeroplane comes up."""
    assert draw_fault(7, draw_scenario(7)) == draw_fault(7, draw_scenario(7))
    assert draw_sensors(7) == draw_sensors(7)
    assert draw_options(7, draw_scenario(7)) == draw_options(7, draw_scenario(7))
    faults = [draw_fault(s, draw_scenario(s))[0] for s in range(600)]
    assert {f.fault.kind for f in faults if f.fault} == set(FAULT_KINDS)
    assert len({f.aeroplane for f in faults}) == 5
    assert {draw_sensors(s).rate_hz for s in range(300)} >= {60.0, 20.0, 1.0}
    assert 5000 < max(f.elevation_ft for f in faults) <= 6000


def test_the_report_names_each_figure_and_flight_in_trouble() -> None:
    """The printed report holds the tables, with limits, for clean and faulted flights."""
    text = report([*clean(), *faulted()])
    flown_faults = sum(r.valid for r in faulted())
    assert flown_faults >= 14
    for part in (
        "Clean flights: 12",
        f"Flights with one fault: {flown_faults}",
        "missed",
        "lift-off, 20 Hz",
        "95 % limits",
    ):
        assert part in text


@pytest.mark.parametrize(
    ("hits", "n", "low", "high"),
    [
        (0, 10, 0.0, 0.3085),
        (1, 10, 0.0025, 0.4450),
        (5, 10, 0.1871, 0.8129),
        (10, 10, 0.6915, 1.0),
        (0, 1000, 0.0, 0.00368),
    ],
)
def test_confidence_limits_agree_with_the_published_exact_ones(hits: int, n: int, low: float, high: float) -> None:
    """Shares' limits are the exact ones of Clopper and Pearson (Biometrika 26, 1934); values from the usual tables,
    from memory."""
    assert share_limits(hits, n) == pytest.approx((low, high), abs=5e-5)


def test_percentiles_are_of_the_absolute_error() -> None:
    """An error early counts as much as one late."""
    assert percentile([-3.0, 1.0, 2.0], 1.0) == 3.0
    assert np.isnan(percentile([], 0.5))
