"""Found by flights made to go wrong where two rules meet: each was a wrong call, or a call that never came."""

from __future__ import annotations

import pytest

from monitor.options import Options
from tests.synthetic import Flight, Flown, Points, Value, changed, fly, rejected, step, takeoff, touch_and_go

SPARSE = (
    "ias_kt", "groundspeed_kt", "altitude_ft", "pitch_deg", "bank_deg", "heading_deg", "vertical_speed_fpm", "rpm",
    "oil_pressure_psi", "oil_temperature_degf",
)  # fmt: skip
"""What a recorded training flight has: no levers, no ground switch, no height above ground."""


def _stays(rate_hz: float, speed: Points, **lines: Value) -> Flight:
    """A roll that never lifts off, at these speeds."""
    return takeoff(
        rate_hz, ias_kt=speed, groundspeed_kt=speed, altitude_ft=400.0, height_ft=0.0, vertical_speed_fpm=0.0,
        pitch_deg=0.0, on_ground=1.0, throttle=((10.0, 0.0), (12.0, 1.0)), **lines,
    )  # fmt: skip


# ---- an airspeed that comes alive in one step ------------------------------------------------------------------------

LATE_ALIVE = takeoff(20.0, ias_kt=((17.2499, 0.0), (17.25, 25.0), (25.0, 56.0), (39.0, 70.0)))
"""Reads 0 until 25 kt, 6 s before VR."""


@pytest.mark.parametrize("groundspeed", [True, False])
@pytest.mark.parametrize(
    ("channel", "value", "reason"),
    [("oil_pressure_psi", 15.0, "oil-pressure-low"), ("flaps_deg", 30.0, "configuration")],
)
def test_a_step_of_airspeed_does_not_draw_the_line_before_vr_nearer(
    channel: str, value: float, reason: str, groundspeed: bool
) -> None:
    """Wrong from 18.4 s, due before 20: VR is over 3 s away, whatever the step looked like, so it is an abort."""
    flight = LATE_ALIVE if groundspeed else LATE_ALIVE.without("groundspeed_kt")
    flown = fly(flight.bend(channel, 18.4, 200.0, value).between(5.0, 24.0))
    assert flown.warnings == [("abort", reason)]
    assert flown.t("warning", "abort") < 20.1


def test_a_gust_does_not_draw_the_line_before_vr_nearer() -> None:
    """Seven knots of wind more at 18.8 s, 2.5 s from VR by the groundspeed: oil pressure is an abort still."""
    gust = ((11.0, 0.0), (18.6, 30.4), (19.0, 39.0), (21.5, 49.0), (22.0, 44.0), (25.0, 56.0), (39.0, 70.0))
    flown = fly(takeoff(ias_kt=gust).bend("oil_pressure_psi", 17.7, 200.0, 15.0).between(5.0, 21.0))
    assert flown.warnings == [("abort", "oil-pressure-low")]


def test_a_step_of_airspeed_hushes_nothing() -> None:
    """The same: seven degrees off at 18.4 s is said, and "Airspeed alive" at one sample a second too."""
    assert fly(LATE_ALIVE.bend("heading_deg", 18.4, 20.4, 87.0)).one("advisory", "heading").say == "Come left"
    assert fly(LATE_ALIVE.at(1.0)).said("airspeed-alive") is not None


# ---- one roll, one takeoff -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("rate_hz", [20.0, 5.0, 1.0, 0.5])
def test_an_engine_that_dies_on_the_roll_is_one_abort_and_no_second_line_up(rate_hz: float) -> None:
    """The lever stays forward while the aeroplane rolls out: no "Clock" for another takeoff, no second abort."""
    speed = ((11.0, 0.0), (17.8, 27.2), (23.8, 15.2), (31.4, 0.0))
    rpm = ((10.0, 700.0), (12.0, 2350.0), (17.8, 2350.0), (18.4, 700.0))
    flown = fly(_stays(rate_hz, speed, rpm=rpm).between(0.0, 45.0))
    assert flown.warnings == [("abort", "engine-failure")]
    assert [event.takeoff for event in flown.all("callout", "clock")] == [1]
    assert flown.phases.count("lined-up") == 1


def test_stopped_by_brakes_alone_is_no_second_line_up() -> None:
    """A takeoff rejected with the brakes and the lever left forward: one line-up."""
    flown = fly(rejected(20.0, throttle=((10.0, 0.0), (12.0, 1.0)), rpm=((10.0, 700.0), (12.0, 2350.0)), brake=1.0))
    assert flown.phases.count("lined-up") == 1
    assert "rejected-takeoff" in flown.phases


@pytest.mark.parametrize("rate_hz", [1.0, 0.5])
@pytest.mark.parametrize("fails_s", [19.1, 23.0])
@pytest.mark.parametrize("to_rpm", [700.0, 1175.0])
def test_with_slow_data_the_slowing_bears_out_the_failure(rate_hz: float, fails_s: float, to_rpm: float) -> None:
    """At a sample a second or two a stopped engine is called when the roll is seen to end, not lost with it."""
    top = 4.0 * (fails_s - 11.0)
    speed = ((11.0, 0.0), (fails_s, top), (fails_s + 0.5 * top, 0.0))
    rpm = ((10.0, 700.0), (12.0, 2350.0), (fails_s, 2350.0), (fails_s + 0.6, to_rpm))
    flown = fly(_stays(rate_hz, speed, rpm=rpm).between(0.0, fails_s + 20.0))
    assert flown.warnings == [("abort", "engine-failure")]
    assert flown.t("warning", "abort") < fails_s + 2.5 / rate_hz


# ---- when it is due, and when it is noticed --------------------------------------------------------------------------


@pytest.mark.parametrize("rate_hz", [20.0, 1.0])
def test_the_circuits_checks_are_said_though_levelling_off_shows_only_after_seconds(rate_hz: float) -> None:
    """Level at 840 ft in a circuit, flaps forgotten: "After-takeoff checks" and "Flaps"."""
    flown = fly(touch_and_go(rate_hz, flaps_deg=10.0).between(0.0, 130.0), using=changed(departure="circuit"))
    assert flown.said("after-takeoff") == "After-takeoff checks"
    assert flown.one("check", "after-takeoff.flaps").say == "Flaps"


@pytest.mark.parametrize(
    ("channel", "from_s", "to_s", "value"),
    [
        ("vertical_speed_fpm", 31.0, 32.0, -150.0),  # 1 s is the hold
        ("heading_deg", 18.0, 19.0, 87.0),
        ("bank_deg", 40.0, 42.0, 12.0),  # 2 s
        ("ias_kt", 40.0, 42.0, 50.0),
    ],
)
def test_what_is_over_in_the_sample_at_which_it_falls_due_is_not_said(
    channel: str, from_s: float, to_s: float, value: float
) -> None:
    """At exactly one sample a second, the sample at the end of the hold has its say first."""
    flown = fly(takeoff(1.0).bend(channel, from_s, to_s, value))
    assert flown.ids("advisory", "caution", "warning") == []


def test_what_falls_due_with_the_sample_that_begins_the_silence_is_silent() -> None:
    """At one sample a second, seven degrees off from 21 s: due at 22, which is 1.5 s before VR."""
    assert fly(takeoff(1.0).bend("heading_deg", 20.5, 24.0, 87.0)).one("advisory", "heading").say is None


@pytest.mark.parametrize(
    ("channel", "value", "due_s"), [("oil_pressure_psi", 15.0, 13.3), ("oil_temperature_degf", 260.0, 14.0)]
)
def test_limits_are_watched_from_the_moment_the_power_is_on(channel: str, value: float, due_s: float) -> None:
    """Beyond its red line since before the roll: the hold begins with the power, not when the roll is noticed."""
    flown = fly(takeoff().bend(channel, 5.0, 200.0, value).between(0.0, 21.0))
    assert flown.t("warning", "abort") == pytest.approx(due_s, abs=0.6)


def test_one_sample_in_five_seconds_shows_no_speed_that_is_not_being_gained() -> None:
    """At 0.2 Hz a slow gain of speed to VY, 0.6 kt a second from 56 kt on: no "Nose down" between two samples."""
    speed = ((11.0, 0.0), (25.0, 56.0), (48.3, 70.0))
    for start_s in (0.0, 1.0, 2.0, 3.0, 4.0):
        flight = takeoff(0.2, ias_kt=speed, groundspeed_kt=speed).between(start_s, 70.0)
        assert fly(flight).all("advisory", "climb-slow") == [], start_s


# ---- without levers --------------------------------------------------------------------------------------------------


def _dies_aloft(rate_hz: float, to_rpm: float) -> Flown:
    speed = ((11.0, 0.0), (25.0, 56.0), (33.0, 64.0), (37.0, 58.0))
    return fly(
        takeoff(
            rate_hz, rpm=((10.0, 700.0), (12.0, 2350.0), (33.0, 2350.0), (33.6, to_rpm)), ias_kt=speed,
            vertical_speed_fpm=((25.0, 0.0), (25.01, 720.0), (33.0, 720.0), (35.0, -600.0)),
            altitude_ft=((25.0, 400.0), (33.0, 496.0), (34.0, 498.0), (44.0, 400.0)), groundspeed_kt=speed,
        ).only(*SPARSE).between(0.0, 43.0)
    )  # fmt: skip


@pytest.mark.parametrize("rate_hz", [20.0, 5.0, 1.0])
@pytest.mark.parametrize("to_rpm", [1410.0, 1200.0, 700.0])
def test_without_a_lever_a_stopped_engine_low_aloft_is_called(rate_hz: float, to_rpm: float) -> None:
    """Below 700 ft nobody closes the throttle: "Land ahead", however far the rpm fell."""
    flown = _dies_aloft(rate_hz, to_rpm)
    assert flown.warnings == [("engine-failure", "engine-failure")]
    assert flown.one("warning", "engine-failure").say == "Land ahead"
    assert flown.t("warning", "engine-failure") <= 33.2 + 1.3 + 1.0 / rate_hz


@pytest.mark.parametrize("rate_hz", [20.0, 5.0])
def test_without_a_lever_the_roll_is_no_taxi_first(rate_hz: float) -> None:
    """Power by rpm and the wheels moving: lined up and rolling, with no phase of taxi between."""
    flown = fly(takeoff(rate_hz).only(*SPARSE).between(0.0, 40.0))
    assert flown.phases[:3] == ["standing", "lined-up", "takeoff-roll"]
    assert flown.said("clock") == "Clock"


def test_a_stream_that_begins_at_the_end_of_the_roll_is_not_in_flight() -> None:
    """From 46 kt on, level and on its wheels for all the data shows: the lift-off is found and the climb coached."""
    flown = fly(takeoff().only(*SPARSE).between(22.5, 116.0))
    assert flown.phases[-2:] == ["initial-climb", "climb"]
    assert flown.t("phase", "initial-climb") == pytest.approx(25.0, abs=0.5)


def test_a_stream_that_begins_in_the_climb_or_the_cruise_is_in_flight() -> None:
    """Climbing at 60 kt, or level at 90: airborne at once, and nothing is said."""
    climb = fly(takeoff().only(*SPARSE).between(31.0, 60.0), options=Options())
    cruise = fly(
        takeoff(
            ias_kt=90.0, groundspeed_kt=90.0, vertical_speed_fpm=0.0, altitude_ft=2000.0, on_ground=step(1.0, 0.0, 0.0)
        )
        .only(*SPARSE)
        .between(31.0, 60.0)
    )
    assert climb.phases == cruise.phases == ["airborne"]
    assert climb.spoken == cruise.spoken == []
