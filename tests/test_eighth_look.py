"""Surges, slow hands, dead engines behind a governor, levers and gauges that flicker: found on others' flights."""

from __future__ import annotations

import msgspec
import pytest

from monitor.options import Options
from tests.synthetic import (
    FIELD_FT,
    GOVERNED,
    LIFTOFF_S,
    RUNWAY_DEG,
    Flight,
    Points,
    Value,
    fly,
    governed,
    rejected,
    takeoff,
    touch_and_go,
)

# ---- power ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("rate_hz", [60.0, 20.0, 5.0])
@pytest.mark.parametrize(("from_s", "for_s", "rpm"), [(16.0, 2.0, 2585.0), (17.0, 1.0, 2640.0), (34.0, 2.0, 2540.0)])
def test_an_excess_of_rpm_that_ends_is_no_loss_of_power(
    rate_hz: float, from_s: float, for_s: float, rpm: float
) -> None:
    """Below the red line 8 to 12 % more for 1 or 2 s, on the roll or aloft, and as before again: no warning
    (FAA-H-8083-3C ch. 12: an overspeed to 10 % for 3 s is usually not serious)."""
    surge: Points = (
        (10.0, 700.0), (12.0, 2350.0), (from_s, 2350.0), (from_s + 0.05, rpm), (from_s + for_s, rpm),
        (from_s + for_s + 0.05, 2350.0),
    )  # fmt: skip
    assert fly(takeoff(rate_hz, rpm=surge)).warnings == []


def test_a_governor_that_overshoots_once_is_no_loss_of_power() -> None:
    """Governed at 2,500, the profile's least 3 % less, after 2,690 for 1.5 s while it spools up: no warning."""
    overshoot: Points = ((10.0, 700.0), (12.0, 2690.0), (13.5, 2690.0), (14.0, 2500.0))
    aircraft = msgspec.structs.replace(GOVERNED, rpm_takeoff_min=2425.0)
    assert fly(governed(rpm=overshoot), aircraft).warnings == []


def test_a_loss_after_a_surge_is_still_told() -> None:
    """A surge at 16 s, and a real loss of 12 % at 20 s: "abort" within 2 s of it."""
    rpm: Points = ((10.0, 700.0), (12.0, 2350.0), (16.0, 2350.0), (16.1, 2585.0), (18.0, 2585.0), (18.1, 2350.0),
                   (20.0, 2350.0), (20.9, 2068.0))  # fmt: skip
    flown = fly(takeoff(rpm=rpm))
    assert flown.warnings[0][0] == "abort"
    assert 20.0 < flown.t("warning", "abort") < 22.0


def test_governed_rpm_that_stays_low_is_told_on_the_roll() -> None:
    """Flat at 2,480 under a least of 2,600 from full throttle at 12 s on, on a roll that lasts to 40 s: "abort" within
    8 s of it, not near VR."""
    speed: Points = ((11.0, 0.0), (45.0, 54.0))
    low: Points = ((10.0, 700.0), (12.0, 2480.0))
    slow = governed(rpm=low, ias_kt=speed, groundspeed_kt=speed, height_ft=0.0, altitude_ft=FIELD_FT)
    flown = fly(slow.with_(vertical_speed_fpm=0.0, on_ground=1.0, pitch_deg=0.0).between(0.0, 40.0), GOVERNED)
    assert flown.warnings == [("abort", "rpm-low")]
    assert flown.t("warning", "abort") < 20.0


def _closing(over_s: float, rate_hz: float, ends_inhg: float) -> Flight:
    """A governed roll on which a hand closes the throttle from 18 s on, without a lever channel."""
    stops: Points = ((11.0, 0.0), (18.5, 30.0), (26.0, 0.0))
    pressure: Points = ((10.0, 12.0), (12.0, 28.5), (18.0, 28.5), (18.0 + over_s, ends_inhg))
    rpm: Points = (
        (10.0, 700.0),
        (12.0, 2690.0),
        (18.0, 2690.0),
        (18.0 + 0.4 * over_s, 2600.0),
        (18.0 + over_s, 1100.0),
    )
    flight = governed(rate_hz, manifold_pressure_inhg=pressure, rpm=rpm, ias_kt=stops, groundspeed_kt=stops)
    flight = flight.with_(height_ft=0.0, altitude_ft=FIELD_FT, vertical_speed_fpm=0.0, on_ground=1.0, pitch_deg=0.0)
    return flight.without("throttle").between(0.0, 40.0)


@pytest.mark.parametrize("over_s", [1.0, 2.0, 3.0])
@pytest.mark.parametrize("rate_hz", [20.0, 5.0, 1.0])
def test_a_throttle_closed_by_a_slow_hand_is_no_fault(over_s: float, rate_hz: float) -> None:
    """Without a lever channel, manifold pressure and rpm go down to a closed throttle's in 1 to 3 s: no warning."""
    assert fly(_closing(over_s, rate_hz, 11.0), GOVERNED).warnings == []


@pytest.mark.parametrize("rate_hz", [20.0, 5.0, 1.0])
def test_a_dead_engine_is_told_without_a_lever_by_its_manifold_pressure(rate_hz: float) -> None:
    """Rpm down to 500 on the roll, ambient pressure in the manifold: no closed throttle's: abort."""
    coasts: Points = ((11.0, 0.0), (18.5, 30.0), (40.0, 8.0))
    rpm: Points = ((10.0, 700.0), (12.0, 2690.0), (18.0, 2690.0), (19.0, 500.0))
    flight = _closing(1.0, rate_hz, 29.0).with_(rpm=rpm, ias_kt=coasts, groundspeed_kt=coasts)
    flown = fly(flight, GOVERNED)
    assert [id_ for id_, _ in flown.warnings] == ["abort"]
    assert 18.0 < flown.t("warning", "abort") < 21.5


def test_an_engine_that_dies_before_power_was_judged_is_no_low_rpm() -> None:
    """At 1 Hz, a governed propeller still below its least: the first sample of the fall says nothing yet, the next says
    "engine"."""
    rpm: Points = ((10.0, 700.0), (12.0, 2500.0), (18.0, 2580.0), (19.0, 2350.0), (20.0, 1500.0), (21.0, 1300.0))
    speed: Points = ((11.0, 0.0), (18.5, 22.0), (40.0, 10.0))
    flight = governed(1.0, rpm=rpm, ias_kt=speed, groundspeed_kt=speed, height_ft=0.0, altitude_ft=FIELD_FT)
    flown = fly(flight.with_(vertical_speed_fpm=0.0, on_ground=1.0, pitch_deg=0.0).between(0.0, 24.0), GOVERNED)
    assert flown.warnings == [("abort", "engine-failure")]


def test_pressure_of_a_closed_throttle_just_off_the_ground_is_a_failure() -> None:
    """Without a lever channel at 110 ft: nobody closes it there but for practice; "Land ahead" is right for both."""
    pressure: Points = ((10.0, 12.0), (12.0, 28.5), (34.0, 28.5), (34.6, 13.0))
    rpm: Points = ((10.0, 700.0), (12.0, 2690.0), (34.0, 2690.0), (34.6, 1300.0))
    flown = fly(governed(manifold_pressure_inhg=pressure, rpm=rpm).without("throttle"), GOVERNED)
    assert flown.warnings[0] == ("engine-failure", "engine-failure")
    assert 34.0 < flown.t("warning", "engine-failure") < 36.5


def _dead_behind_a_governor(**lines: Value) -> Flight:
    """At 300 ft the engine dies, rpm falls by 12 %: the climb goes over 4 s as the speed does, then 700 ft/min down."""
    height: Points = ((25.0, 0.0), (50.0, 300.0), (52.0, 316.0), (54.0, 310.0), (80.0, 7.0))
    speed: Points = ((11.0, 0.0), (25.0, 56.0), (39.0, 70.0), (50.0, 70.0), (54.0, 60.0))
    made: dict[str, Value] = {
        "height_ft": height, "altitude_ft": tuple((t, FIELD_FT + h) for t, h in height),
        "vertical_speed_fpm": ((24.999, 0.0), (25.0, 720.0), (50.0, 720.0), (54.0, -700.0)),
        "ias_kt": speed, "groundspeed_kt": speed, "flaps_deg": 10.0,
        "rpm": ((10.0, 700.0), (12.0, 2690.0), (50.0, 2690.0), (50.5, 2370.0)),
    }  # fmt: skip
    return governed(**{**made, **lines}).between(0.0, 80.0)


def test_a_dead_engine_behind_a_governor_is_told_as_no_climb() -> None:
    """The climb still shows 500 ft/min when the loss is judged, but the speed goes: "Land ahead", never "Return"; and
    no word about flaps in the glide."""
    flown = fly(_dead_behind_a_governor(), GOVERNED)
    said = [event.say for event in flown.all("warning")]
    assert said == ["Land ahead"]
    assert flown.all("advisory", "late-flaps") == []


def test_a_loss_that_turns_out_to_end_the_climb_is_said_again_once() -> None:
    """Said as a loss to return with, then the energy goes: "Land ahead" after it, once, not again and again."""
    height: Points = ((25.0, 0.0), (50.0, 300.0), (55.0, 340.0), (80.0, 7.0))
    flight = _dead_behind_a_governor(
        height_ft=height, altitude_ft=tuple((t, FIELD_FT + h) for t, h in height),
        vertical_speed_fpm=((24.999, 0.0), (25.0, 720.0), (50.0, 720.0), (50.1, 480.0), (55.0, 480.0), (56.0, -800.0)),
        ias_kt=((11.0, 0.0), (25.0, 56.0), (39.0, 70.0)), groundspeed_kt=((11.0, 0.0), (25.0, 56.0), (39.0, 70.0)),
    )  # fmt: skip
    said = [event.say for event in fly(flight, GOVERNED).all("warning")]
    assert said == ["Power. Return and land", "Land ahead"]


# ---- levers, line-up, gauges ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("rate_hz", [60.0, 20.0, 10.0])
def test_a_lever_that_reads_closed_for_a_moment_ends_no_takeoff(rate_hz: float) -> None:
    """0 for 0.2 s with the engine as before, then full again: no rejection, and a failure later is an abort."""
    lever: Points = ((10.0, 0.0), (12.0, 1.0), (15.0, 1.0), (15.01, 0.0), (15.2, 0.0), (15.21, 1.0))
    rpm: Points = ((10.0, 700.0), (12.0, 2350.0), (19.0, 2350.0), (19.5, 700.0))
    flown = fly(takeoff(rate_hz, throttle=lever, rpm=rpm))
    assert "rejected-takeoff" not in [event.id for event in flown.all("phase") if (event.t_s or 0.0) < 19.0]
    assert flown.warnings[0] == ("abort", "engine-failure")


@pytest.mark.parametrize("rate_hz", [20.0, 1.0])
def test_who_coasts_to_a_stop_has_rejected(rate_hz: float) -> None:
    """The engine dies at 34 kt, the lever stays full, the speed falls by 0.8 kt/s: a rejected takeoff in the end."""
    speed: Points = ((11.0, 0.0), (19.5, 34.0), (62.0, 0.0))
    rpm: Points = ((10.0, 700.0), (12.0, 2350.0), (19.5, 2350.0), (20.0, 0.0))
    flight = takeoff(rate_hz, rpm=rpm, ias_kt=speed, groundspeed_kt=speed, height_ft=0.0, altitude_ft=FIELD_FT)
    flight = flight.with_(vertical_speed_fpm=0.0, on_ground=1.0, pitch_deg=0.0).between(0.0, 70.0)
    phases = [event.id for event in fly(flight).all("phase")]
    assert phases[-2:] == ["rejected-takeoff", "taxi"] or phases[-3:-1] == ["rejected-takeoff", "taxi"]


@pytest.mark.parametrize("rate_hz", [20.0, 1.0])
def test_oil_pressure_below_its_least_is_said_by_the_abort_alone(rate_hz: float) -> None:
    """From 75 to 10 psi in 4 s on the roll: the abort, and no caution about the green arc a moment before it."""
    flown = fly(takeoff(rate_hz, oil_pressure_psi=((15.0, 75.0), (19.0, 10.0))).between(0.0, LIFTOFF_S - 4.0))
    assert flown.warnings == [("abort", "oil-pressure-low")]
    assert flown.all("caution", "oil-pressure") == []


def test_after_a_full_stop_the_next_takeoff_is_lined_up_for_by_standing() -> None:
    """Landed, stopped on the runway whose heading is given, flaps still out: lined up, with its checks, once it has
    stood, and not before."""
    speed: Points = ((11.0, 0.0), (25.0, 56.0), (39.0, 70.0), (170.0, 70.0), (193.0, 58.0), (205.0, 0.0))
    flight = touch_and_go(ias_kt=speed, groundspeed_kt=speed, flaps_deg=((150.0, 0.0), (160.0, 35.0)), on_ground=None)
    landed: Points = ((25.0, 0.0), (95.0, 840.0), (109.0, 840.0), (193.0, 0.0))
    flight = flight.with_(
        height_ft=landed, altitude_ft=tuple((t, FIELD_FT + h) for t, h in landed),
        vertical_speed_fpm=((24.999, 0.0), (25.0, 720.0), (94.999, 720.0), (95.0, 0.0), (108.999, 0.0),
                            (109.0, -600.0), (192.999, -600.0), (193.0, 0.0)),
        throttle=((10.0, 0.0), (12.0, 1.0), (94.0, 1.0), (96.0, 0.6), (109.0, 0.6), (110.0, 0.2), (194.0, 0.0)),
        rpm=((10.0, 700.0), (12.0, 2350.0), (94.0, 2350.0), (96.0, 1900.0), (110.0, 1200.0), (194.0, 800.0)),
        pitch_deg=((23.7, 0.0), (26.7, 9.0), (95.0, 9.0), (96.0, 2.0), (193.0, 2.0), (195.0, 0.0)),
    )  # fmt: skip
    flown = fly(flight.between(0.0, 220.0), options=Options(runway_heading_deg=RUNWAY_DEG))
    again = [event.t_s for event in flown.all("phase", "lined-up")][1:]
    assert len(again) == 1 and again[0] == pytest.approx(207.5, abs=1.5)  # it stopped at 205
    assert "Check flaps" in [event.say for event in flown.all("check", "line-up.flaps")]


def test_who_has_aborted_is_not_told_to_start_the_clock() -> None:
    """Stopped on the runway after a rejection: no "Clock" while the aeroplane only stands there."""
    flown = fly(rejected(20.0), options=Options(runway_heading_deg=RUNWAY_DEG))
    assert flown.ids("callout").count("clock") == 1
