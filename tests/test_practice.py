"""Abort-cue practice: is what is right decided by the moment, and are the figures those of the textbook?"""

from __future__ import annotations

import itertools
import math

import pytest

from monitor import practice
from monitor.practice import ABORT, CONTINUE, Landmarks, Outcome, plan, right_answer

MARKS = Landmarks(power_s=8.0, alive_s=12.0, half_vr_s=12.0, vr_s=18.0, lift_off_s=20.5)


def test_a_seed_is_an_exercise() -> None:
    """The same seed plans the same exercise, another seed another one."""
    assert plan(7, 12) == plan(7, 12)
    assert plan(7, 12) != plan(8, 12)


@pytest.mark.parametrize("seed", range(20))
def test_from_three_takeoffs_both_kinds_are_there(seed: int) -> None:
    """Three takeoffs hold at least one with a fault and one without, wherever they are."""
    row = plan(seed, 3)
    assert any(trial.kind for trial in row) and not all(trial.kind for trial in row)


def test_about_half_of_the_takeoffs_have_a_fault_and_none_tells_the_next() -> None:
    """Over many takeoffs half are faulty, also after a faulty one: what came before says nothing (4 sigma bounds)."""
    row = [trial.kind is not None for trial in plan(3, 4000)]
    after_fault = [second for first, second in itertools.pairwise(row) if first]
    for sample in (row, after_fault):
        assert abs(sum(sample) / len(sample) - 0.5) < 4.0 * 0.5 / math.sqrt(len(sample))


def test_the_moment_is_spread_over_the_whole_roll() -> None:
    """Faults begin in every fifth of the time from full power to 0.5 s before VR, equally often (4 sigma bounds)."""
    onsets = [practice.onset_s(trial, MARKS) for trial in plan(5, 4000, ["engine"])]
    times = [onset for onset in onsets if onset is not None]
    assert min(times) >= MARKS.power_s and max(times) <= MARKS.vr_s - 0.5
    fifth = (MARKS.vr_s - 0.5 - MARKS.power_s) / 5.0
    for part in range(5):
        share = sum(part <= (time - MARKS.power_s) / fifth < part + 1 for time in times) / len(times)
        assert abs(share - 0.2) < 4.0 * math.sqrt(0.2 * 0.8 / len(times))


def test_an_airspeed_fault_waits_for_an_airspeed() -> None:
    """An airspeed that is to fail must first be alive."""
    trials = [trial for trial in plan(5, 300, ["airspeed"]) if trial.kind]
    assert all((practice.onset_s(trial, MARKS) or 0.0) >= MARKS.alive_s for trial in trials)


@pytest.mark.parametrize(
    ("kind", "early", "middle", "last"),
    [
        ("engine", ABORT, ABORT, ABORT),
        ("power", ABORT, ABORT, ABORT),
        ("swing", ABORT, ABORT, ABORT),
        ("oil", ABORT, ABORT, CONTINUE),
        ("airspeed", ABORT, ABORT, CONTINUE),
        ("airspeed-stuck", ABORT, ABORT, CONTINUE),
        ("rpm-high", ABORT, CONTINUE, CONTINUE),
        ("oil-temperature", ABORT, CONTINUE, CONTINUE),
    ],
)
def test_what_is_right_depends_on_the_moment(kind: str, early: str, middle: str, last: str) -> None:
    """Below half VR, until 2 s before VR, and in the last 2 s (common practice, no source)."""
    assert right_answer(kind, 10.0, MARKS) == early
    assert right_answer(kind, 15.9, MARKS) == middle
    assert right_answer(kind, 16.1, MARKS) == last
    assert right_answer(kind, 21.0, MARKS) == CONTINUE


def test_a_clean_takeoff_is_continued() -> None:
    """Without a fault, or with one that never showed, continue is right."""
    assert right_answer(None, None, MARKS) == CONTINUE
    assert right_answer("oil", None, MARKS) == CONTINUE


@pytest.mark.parametrize(
    ("right", "cue_s", "key_s", "result"),
    [
        (ABORT, 10.0, 10.6, practice.HIT),
        (ABORT, 10.0, None, practice.MISS),
        (ABORT, 10.0, 9.9, practice.FALSE_ABORT),
        (CONTINUE, None, 9.9, practice.FALSE_ABORT),
        (CONTINUE, 17.0, 17.5, practice.FALSE_ABORT),
        (CONTINUE, 17.0, None, practice.CORRECT_CONTINUE),
        (CONTINUE, None, None, practice.CORRECT_CONTINUE),
    ],
)
def test_outcomes(right: str, cue_s: float | None, key_s: float | None, result: str) -> None:
    """Hit, miss, false abort, correct continue; past the 2 s line continue is right and is scored so."""
    assert practice.judge(right, cue_s, key_s) == result


def test_the_cue_is_where_two_flights_first_differ_visibly() -> None:
    """Not the fault's beginning but the first moment at which its gauge is far enough off; headings across north."""
    clean = [{"time_s": t / 10.0, "oil_pressure_psi": 75.0, "heading_deg": 359.5} for t in range(20)]
    falling = [{**moment, "oil_pressure_psi": 75.0 - max(0, n - 5)} for n, moment in enumerate(clean)]
    assert practice.cue_s("oil", clean, falling) == 1.1
    assert practice.cue_s("oil", clean, clean) is None
    swinging = [{**moment, "heading_deg": (359.5 + 0.5 * n) % 360.0} for n, moment in enumerate(clean)]
    assert practice.cue_s("swing", clean, swinging) == 0.6


def outcomes(hits: int, misses: int, alarms: int, passes: int) -> list[Outcome]:
    """So many outcomes of each kind."""
    kinds = ((hits, ABORT, practice.HIT), (misses, ABORT, practice.MISS))
    kinds += ((alarms, CONTINUE, practice.FALSE_ABORT), (passes, CONTINUE, practice.CORRECT_CONTINUE))
    made = [(right, result) for count, right, result in kinds for _ in range(count)]
    return [Outcome(n, "oil", right, result, reaction_s=0.5 + n / 100.0) for n, (right, result) in enumerate(made, 1)]


def test_no_detection_figure_below_twenty_of_each() -> None:
    """19 cue trials give no d', and the summary says what was wanted and what there was."""
    few = practice.summarise(outcomes(15, 4, 3, 40))
    assert few.d_prime is None and few.detection_why is not None and "got 19 and 43" in few.detection_why
    assert practice.summarise(outcomes(15, 5, 3, 17)).d_prime is not None


def test_d_prime_is_the_textbooks() -> None:
    """H 0.84 and F 0.16 give d' near 2 and no bias; H = F gives 0 (Green and Swets 1966; z(0.8413) = 1)."""
    d_prime, criterion = practice.detection(84_134, 100_000, 15_866, 100_000)
    assert d_prime == pytest.approx(2.0, abs=0.001) and criterion == pytest.approx(0.0, abs=0.001)
    assert practice.detection(10, 20, 10, 20)[0] == pytest.approx(0.0)


def test_perfect_scores_stay_finite() -> None:
    """All hits and no false abort give a finite d': (20.5/21, 0.5/21) by the log-linear correction (Hautus 1995)."""
    summary = practice.summarise(outcomes(20, 0, 0, 20))
    assert summary.d_prime == pytest.approx(2.0 * 1.9808, abs=0.001)  # z(20.5/21) from normal tables


def test_summary_counts_and_medians() -> None:
    """Counts by result; reactions of hits only; a cancelled takeoff counts nowhere."""
    row = [*outcomes(3, 1, 1, 2), Outcome(9, None, CONTINUE, practice.CANCELLED)]
    summary = practice.summarise(row)
    assert (summary.trials, summary.hits, summary.misses, summary.false_aborts, summary.correct_continues) == (
        7,
        3,
        1,
        1,
        2,
    )
    assert summary.reaction_median_s == pytest.approx(0.52)
    assert practice.summarise([]).reaction_median_s is None


def test_why_says_what_was_right() -> None:
    """The sentence names the fault, the moment and the answer."""
    assert practice.why("oil", 17.0, MARKS) == (
        "Oil pressure low, in the last 2 s before VR: continue, and deal with it in the air."
    )
    assert practice.why("engine", 17.0, MARKS).endswith("abort.")
    assert practice.why(None, None, MARKS) == "Nothing was wrong."
