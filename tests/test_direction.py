"""The heading a roll is judged by, where the given one is not the runway's or the aeroplane still turns onto it."""

from __future__ import annotations

import pytest

from monitor.options import Options
from tests.synthetic import FIXED, fly, takeoff


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
    assert flown.all("advisory", "drift") == []
