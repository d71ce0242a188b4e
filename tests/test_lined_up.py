"""Power set standing, a line-up that comes to nothing, and words that come too late to use."""

from __future__ import annotations

from collections import Counter

import pytest

from monitor.options import Options
from tests.synthetic import FIXED, GOVERNED, Flight, fly, governed, step, takeoff


def _held_on_the_brakes(release_s: float, flight: Flight | None = None) -> Flight:
    """Full power from 12 s, the brakes released later, then the takeoff as ever."""
    later = release_s - 11.0
    speed = ((11.0 + later, 0.0), (25.0 + later, 56.0), (39.0 + later, 70.0))
    height = ((25.0 + later, 0.0), (116.0, 12.0 * (91.0 - later)))
    return (flight or takeoff()).with_(
        ias_kt=speed, groundspeed_kt=speed, pitch_deg=((23.7 + later, 0.0), (26.7 + later, 9.0)),
        on_ground=step(25.0 + later, 1.0, 0.0), vertical_speed_fpm=step(25.0 + later, 0.0, 720.0), height_ft=height,
        altitude_ft=tuple((t, 400.0 + h) for t, h in height),
    )  # fmt: skip


@pytest.mark.parametrize("release_s", [12.0, 17.0, 25.0])
def test_power_set_standing_is_called_when_it_is_set(release_s: float) -> None:
    """Full power held on the brakes: "Power set, green" a second after rpm is steady, not only once the wheels move."""
    flown = fly(_held_on_the_brakes(release_s).between(0.0, release_s + 12.0), FIXED, Options(runway_heading_deg=80.0))
    assert flown.t("callout", "power-set") == pytest.approx(13.0, abs=0.15)
    assert flown.said("power-set") == "Power set, green"
    assert flown.said("airspeed-alive") is not None


def test_governed_power_set_standing_is_called_when_it_is_set() -> None:
    """The same with a constant-speed propeller that reaches its governed rpm on the brakes."""
    flight = _held_on_the_brakes(20.0, governed()).between(0.0, 32.0)
    flown = fly(flight, GOVERNED, Options(runway_heading_deg=80.0))
    assert flown.t("callout", "power-set") == pytest.approx(13.0, abs=0.15)


def test_power_tried_standing_and_taken_off_again_is_called_once() -> None:
    """Full power for 5 s lined up, closed, and then the takeoff: one "Clock", one "Power set", one takeoff."""
    lever = ((1.0, 0.0), (2.0, 1.0), (7.0, 1.0), (7.5, 0.0), (10.0, 0.0), (12.0, 1.0))
    flown = fly(takeoff(throttle=lever, rpm=tuple((t, 700.0 + 1650.0 * x) for t, x in lever)))
    assert Counter(event.id for event in flown.all("callout"))["power-set"] == 1
    assert flown.said("clock") == "Clock"
    assert {event.takeoff for event in flown.all("callout")} == {1}
    assert flown.warnings == []


def test_what_is_noticed_too_late_is_shown_not_said() -> None:
    """Airspeed and altitude alone show a roll seconds after it began: "Clock" is stamped right and stays silent."""
    flown = fly(takeoff().only("ias_kt", "altitude_ft"))
    assert flown.t("callout", "clock") < 13.0
    assert flown.said("clock") is None
    assert flown.said("rotate") == "Rotate"


def test_a_stream_that_begins_just_before_vr_says_nothing_of_the_line_up() -> None:
    """From 46 kt on, flaps wrong: inside the 2 s before VR nothing but "Rotate" and warnings may sound."""
    flown = fly(takeoff(flaps_deg=10.0).between(22.5, 25.0))
    assert [event.id for event in flown.spoken if event.kind in ("callout", "check") and event.id != "rotate"] == []
    assert flown.one("check", "line-up.flaps").more["state"] == "not-ok"
