"""A touch-and-go is recognised while it can still be rejected, and landing is not mistaken for a takeoff."""

from __future__ import annotations

import pytest

from monitor.coach import Coach
from monitor.events import Event
from monitor.options import Options
from tests.synthetic import FIXED, Flight, Points, at, fly, procedure, takeoff, touch_and_go


def _second_roll(flaps_deg: Points | float = 0.0, fails_s: float | None = None) -> Flight:
    """Wheels on at 193 s, slowed to 36 kt at 199; throttle opened from 198 to 199.5; then 3 kt/s, VR at 204.67."""
    speed: Points = (
        (11.0, 0.0), (25.0, 56.0), (39.0, 70.0), (170.0, 70.0), (193.0, 58.0), (199.0, 36.0), (200.0, 36.0),
        (208.0, 60.0),
    )  # fmt: skip
    levers: Points = (
        (10.0, 0.0), (12.0, 1.0), (94.0, 1.0), (96.0, 0.6), (109.0, 0.6), (110.0, 0.2), (193.0, 0.2), (194.0, 0.0),
        (198.0, 0.0), (199.5, 1.0),
    )  # fmt: skip
    flight = touch_and_go(
        ias_kt=speed, groundspeed_kt=speed, throttle=levers, rpm=tuple((t, 700.0 + 1650.0 * x) for t, x in levers),
        flaps_deg=flaps_deg,
    ).between(0.0, 206.0)  # fmt: skip
    flight.bends = [
        ("on_ground", 193.0, 300.0, 1.0), ("vertical_speed_fpm", 193.0, 300.0, 0.0), ("height_ft", 193.0, 300.0, 0.0),
        ("altitude_ft", 193.0, 300.0, 400.0), ("pitch_deg", 195.0, 300.0, 0.0),
    ]  # fmt: skip
    if fails_s is not None:
        flight = flight.bend("rpm", fails_s, 300.0, ((fails_s, 2350.0), (fails_s + 0.4, 900.0)))
    return flight


def _noticed(flight: Flight) -> list[tuple[float, Event]]:
    """The second takeoff's events, each with the time of the sample that brought it."""
    coach = Coach(FIXED, procedure(), Options())
    return [(at(s), event) for s in flight.samples() for event in coach.feed(s, at(s)) if event.takeoff == 2]


def test_the_second_roll_is_known_within_a_second_of_the_speed_rising() -> None:
    """The speed rises from 200 s on with the power on: the roll is told by 201, and power is judged at once."""
    noticed = _noticed(_second_roll())
    assert next(t for t, event in noticed if event.kind == "phase" and event.id == "takeoff-roll") < 201.0
    power = next(event for _, event in noticed if event.id == "power-set")
    assert power.t_s == pytest.approx(201.5, abs=1.1)
    assert power.say == "Power set, green"


@pytest.mark.parametrize("fails_s", [201.5, 202.5, 203.2])
def test_an_engine_that_fails_on_the_second_roll_is_called_at_once(fails_s: float) -> None:
    """Two seconds after the power was opened, or later: "Abort, abort. Engine" within half a second."""
    warnings = [(event.id, event.reason, event.t_s) for _, event in _noticed(_second_roll(fails_s=fails_s))
                if event.kind == "warning"]  # fmt: skip
    assert [(id_, reason) for id_, reason, _ in warnings] == [("abort", "engine-failure")]
    assert warnings[0][2] == pytest.approx(fails_s + 0.35, abs=0.15)


def test_flaps_on_their_way_up_are_no_wrong_configuration() -> None:
    """Flaps 30 run up from 199 to 206 s while the power comes on: asked on the screen, no abort, not "early" aloft."""
    running: Points = ((190.0, 30.0), (199.0, 30.0), (206.0, 0.0))
    noticed = _noticed(_second_roll(running))
    assert [event for _, event in noticed if event.kind in ("warning", "caution")] == []
    flaps = next(event for _, event in noticed if event.id == "line-up.flaps")
    assert (flaps.more["state"], flaps.say) == ("ask", None)
    assert fly(touch_and_go(flaps_deg=((190.0, 30.0), (197.0, 30.0), (202.0, 0.0)))).all("caution", "early-flaps") == []


def test_landing_flaps_left_out_end_the_second_roll() -> None:
    """Flaps 30 that stay there with the power on: "Check flaps", then an abort for the configuration."""
    noticed = [event for _, event in _noticed(_second_roll(30.0))]
    assert next(event for event in noticed if event.id == "line-up.flaps").say == "Check flaps"
    assert [(event.id, event.reason) for event in noticed if event.kind == "warning"] == [("abort", "configuration")]


def test_a_landing_straight_ahead_with_the_throttle_open_is_no_line_up() -> None:
    """The engine fails aloft, the aeroplane lands and stops with the lever still forward: no "Clock", no abort."""
    speed: Points = ((11.0, 0.0), (25.0, 56.0), (39.0, 70.0), (65.0, 58.0), (75.0, 0.0))
    height: Points = ((25.0, 0.0), (45.0, 240.0), (65.0, 0.0), (90.0, 0.0))
    flight = takeoff(
        ias_kt=speed, groundspeed_kt=speed, height_ft=height, altitude_ft=tuple((t, 400.0 + h) for t, h in height),
        vertical_speed_fpm=((24.99, 0.0), (25.0, 720.0), (44.99, 720.0), (45.0, -720.0), (64.99, -720.0), (65.0, 0.0)),
    ).bend("rpm", 42.0, 200.0, 900.0).bend("on_ground", 65.0, 200.0, 1.0)  # fmt: skip
    flown = fly(flight)
    assert flown.warnings == [("engine-failure", "engine-failure")]
    assert [event.takeoff for event in flown.all("callout", "clock")] == [1]


@pytest.mark.parametrize(("heading_deg", "aborts"), [(72.0, False), (62.0, True)])
def test_the_second_roll_is_judged_by_the_runway_and_not_by_the_crab(heading_deg: float, aborts: bool) -> None:
    """Down with the nose 8 degrees right of runway 080, then 8 to its left: 16 degrees, but no swerve; 18 left is one.

    No heading is given: the runway's is that of the first takeoff."""
    swings: Points = ((190.0, 80.0), (192.0, 88.0), (200.8, 88.0), (202.0, heading_deg))
    warnings = [
        event.reason for _, event in _noticed(_second_roll().with_(heading_deg=swings)) if event.kind == "warning"
    ]
    assert warnings == (["directional-control"] if aborts else [])


@pytest.mark.parametrize(("on_deg", "aborts"), [(140.0, False), (162.0, True)])
def test_a_landing_on_another_runway_is_judged_by_that_one(on_deg: float, aborts: bool) -> None:
    """A second roll along 140 after a takeoff along 080 is straight; one that swings from 140 to 162 is not."""
    turned: Points = ((80.0, 80.0), (150.0, 140.0), (200.8, 140.0), (202.0, on_deg))
    warnings = [
        event.reason for _, event in _noticed(_second_roll().with_(heading_deg=turned)) if event.kind == "warning"
    ]
    assert warnings == (["directional-control"] if aborts else [])


@pytest.mark.parametrize("rate_hz", [20.0, 1.0])
@pytest.mark.parametrize(("on_deg", "aborts"), [(97.0, False), (88.0, False), (115.0, True)])
def test_a_landing_on_a_runway_of_nearly_the_same_heading_is_judged_by_that_one(
    rate_hz: float, on_deg: float, aborts: bool
) -> None:
    """Off from 080, down on 097 elsewhere, the track along it: a roll straight on is none of its swerves, nor is one of
    9 degrees to the left; 18 to the right are one."""
    turned: Points = ((80.0, 80.0), (150.0, 97.0), (200.8, 97.0), (202.0, on_deg))
    flight = _second_roll().at(rate_hz).with_(heading_deg=turned, track_deg=turned)
    warnings = [event.reason for _, event in _noticed(flight) if event.kind == "warning"]
    assert warnings == (["directional-control"] if aborts else [])


@pytest.mark.parametrize("track_deg", [80.0, None])
def test_a_crab_at_touchdown_shows_no_other_runway(track_deg: float | None) -> None:
    """Down with the nose 12 degrees right of runway 080, along it four seconds later: straight on is quiet, and a swing
    to 17 degrees left of it is an abort. Without a track as well."""
    crab: Points = ((190.0, 80.0), (192.0, 92.0), (196.0, 92.0), (197.5, 80.0), (200.8, 80.0))
    flight = _second_roll().with_(heading_deg=crab, track_deg=track_deg)
    assert [event for _, event in _noticed(flight) if event.kind in ("warning", "caution", "advisory")] == []
    swung = _noticed(flight.with_(heading_deg=(*crab, (202.0, 63.0))))
    assert [event.reason for _, event in swung if event.kind == "warning"] == ["directional-control"]
