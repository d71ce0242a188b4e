"""The heading a roll is judged by, where the given one is not the runway's or the aeroplane still turns onto it."""

from __future__ import annotations

import pytest

from monitor.options import Options
from tests.synthetic import FIXED, Points, Value, fly, takeoff


@pytest.mark.parametrize("given_deg", [96.0, 64.0])
def test_a_given_heading_that_is_not_the_runways_is_no_swerve(given_deg: float) -> None:
    """A straight roll along 080 with 096 or 064 given, as true for magnetic: no abort, no remark on the roll."""
    assert fly(takeoff(), FIXED, Options(runway_heading_deg=given_deg)).all("warning") == []
    flown = fly(takeoff().between(5.0, 24.0), FIXED, Options(runway_heading_deg=given_deg))
    assert flown.ids("advisory", "caution") == []


@pytest.mark.parametrize("given_deg", [96.0, 64.0])
def test_a_swerve_is_one_by_the_heading_rolled_along_too(given_deg: float) -> None:
    """The same, and the nose then swings 17 degrees away from both: an abort."""
    away = 80.0 + (17.0 if given_deg < 80.0 else -17.0)
    swerved = takeoff(heading_deg=((17.0, 80.0), (17.3, away), (20.0, away))).between(5.0, 20.0)
    assert fly(swerved, FIXED, Options(runway_heading_deg=given_deg)).warnings == [("abort", "directional-control")]


def test_a_rolling_turn_onto_the_given_runway_is_followed_by_its_heading() -> None:
    """Still 13 degrees to turn at 15 kt, then along 080 as given: quiet; a swing to 087 is then remarked on."""
    onto = ((14.0, 67.0), (15.5, 67.0), (17.0, 80.0))
    quiet = fly(takeoff(heading_deg=onto).between(5.0, 23.0), FIXED, Options(runway_heading_deg=80.0))
    assert quiet.ids("warning", "advisory", "caution") == []
    swing = fly(
        takeoff(heading_deg=(*onto, (18.5, 80.0), (18.6, 87.0), (21.0, 87.0))).between(5.0, 21.0),
        FIXED,
        Options(runway_heading_deg=80.0),
    )
    assert swing.one("advisory", "heading").say == "Come left"


@pytest.mark.parametrize("damaged_deg", [260.0, 170.0, 0.0])
def test_one_damaged_track_on_the_roll_is_no_drift_in_the_climb(damaged_deg: float) -> None:
    """At one sample a second a wild track in the middle of the roll is no magnetic variation: the climb straight on is
    no drift."""
    flown = fly(takeoff(1.0).bend("track_deg", 18.0, 19.0, damaged_deg))
    assert flown.all("caution", "drift") == []


SWUNG = ((15.5, 80.0), (16.5, 87.0))


def _drifts(given_deg: float | None, heading_deg: Value, track_deg: Value) -> list[str | None]:
    flight = takeoff(heading_deg=heading_deg, track_deg=track_deg).between(5.0, 60.0)
    return [event.say for event in fly(flight, FIXED, Options(runway_heading_deg=given_deg)).all("caution", "drift")]


def _turned_by(line: Points, deg: float) -> Points:
    return tuple((t, value + deg) for t, value in line)


@pytest.mark.parametrize("variation_deg", [0.0, 12.0])
def test_drift_is_judged_from_the_runway_after_a_swing_on_the_roll(variation_deg: float) -> None:
    """Rolled 7 degrees right of the given runway to lift-off: a climb along the runway is no drift, one that goes on
    7 degrees right of it is; with a track that counts from another north too."""
    back: Points = (*SWUNG, (25.0, 87.0), (27.0, 80.0))
    assert _drifts(80.0, back, _turned_by(back, variation_deg)) == []
    assert _drifts(80.0, SWUNG, _turned_by(SWUNG, variation_deg)) == ["Drifting right"]


@pytest.mark.parametrize("given_deg", [76.0, 73.0])
def test_a_given_heading_some_degrees_off_makes_no_drift(given_deg: float) -> None:
    """A roll and a climb along 080 all the way, with a rounded 076 or 073 given, and the climb wanders 2 degrees."""
    assert _drifts(given_deg, 80.0, ((30.0, 80.0), (32.0, 82.0))) == []


def test_a_runway_heading_that_was_not_given_is_the_mean_of_the_roll() -> None:
    """Lined up 4 degrees aside, then along 080 to lift-off and in the climb, which wanders 3 degrees: no drift."""
    lined_up: Points = ((13.0, 76.0), (15.0, 80.0))
    assert _drifts(None, lined_up, (*lined_up, (30.0, 80.0), (32.0, 77.0))) == []


def test_a_crosswind_that_slides_the_wheels_is_no_variation() -> None:
    """The track 2 degrees left of the nose all along the roll: in the climb 6 degrees left of the runway is drift."""
    assert _drifts(80.0, 80.0, ((26.0, 78.0), (28.0, 74.0))) == ["Drifting left"]
