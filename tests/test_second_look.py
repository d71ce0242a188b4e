"""What is easily lost: trouble the pilot flies on with, one damaged sample, channels that are not sent."""

from __future__ import annotations

import msgspec
import pytest

from monitor.aircraft import Band
from tests.synthetic import FIXED, GOVERNED, Flown, Points, fly, governed, rejected, step, takeoff

GOOD_CLIMB: Points = ((25.0, 0.0), (125.0, 2000.0))


def _warned(flown: Flown) -> list[tuple[str, str | None]]:
    return [(event.id, event.say) for event in flown.all("warning")]


@pytest.mark.parametrize(
    ("from_s", "words"),
    [
        (18.0, ["Abort, abort. Engine", "Power. Return and land"]),  # the pilot flies on, and climbs
        (30.0, ["Land ahead"]),
        (60.0, ["Nose down. Land ahead"]),
    ],
)
def test_half_the_manifold_pressure_gone_is_an_engine_failure_though_a_governor_holds_rpm(
    from_s: float, words: list[str]
) -> None:
    """Manifold pressure from 28.5 to 14 inHg in half a second, lever unmoved: engine failure within half a second."""
    pressure: Points = ((from_s, 28.5), (from_s + 0.5, 14.0))
    flown = fly(governed().bend("manifold_pressure_inhg", from_s, 200.0, pressure), GOVERNED)
    assert [say for _, say in _warned(flown)] == words
    assert flown.all("warning")[0].t_s == pytest.approx(from_s + 0.4, abs=0.1)


@pytest.mark.parametrize(
    ("channel", "value", "words"),
    [
        ("oil_pressure_psi", step(15.0, 75.0, 10.0), "Oil pressure. Return and land"),
        ("ias_kt", 0.0, "Airspeed dead. Attitude and power"),
    ],
)
def test_who_flies_on_after_an_abort_is_told_of_the_trouble_again(
    channel: str, value: float | Points, words: str
) -> None:
    """What was the abort's reason, and still stands, is said as after any lift-off."""
    said = _warned(fly(takeoff(**{channel: value})))
    assert said[0][0] == "abort"
    assert [say for _, say in said[1:]] == [words]


def test_who_flies_on_after_trouble_that_passed_hears_nothing_more_of_it() -> None:
    """Oil pressure back in the green before lift-off is not mentioned again."""
    flown = fly(takeoff(oil_pressure_psi=((15.0, 75.0), (15.1, 10.0), (18.0, 10.0), (18.1, 75.0))))
    assert [id_ for id_, _ in _warned(flown)] == ["abort"]


def test_without_height_and_altitude_vertical_speed_tells_the_lift_off() -> None:
    """Neither height, altitude nor switch: a climb of 720 ft/min is the lift-off, and no abort comes in the air."""
    flown = fly(takeoff().without("height_ft", "altitude_ft", "on_ground"))
    assert flown.warnings == []
    assert flown.t("phase", "initial-climb") == pytest.approx(25.0, abs=0.1)


@pytest.mark.parametrize(
    ("channel", "value", "from_s"),
    [
        ("heading_deg", 100.0, 16.0),
        ("flaps_deg", 30.0, 16.0),
        ("parking_brake", 1.0, 16.0),
        ("elevator_trim", 0.9, 16.0),
        ("mixture", 0.0, 15.0),
        ("ias_kt", 0.0, 21.0),
    ],
)
def test_one_damaged_sample_of_a_slow_feed_is_no_abort(channel: str, value: float, from_s: float) -> None:
    """At 1 Hz one wrong value of a channel brings no warning; two in a row do."""
    assert fly(takeoff(1.0).bend(channel, from_s, from_s + 0.5, value)).warnings == []
    assert fly(takeoff(1.0).bend(channel, from_s - 1.0, from_s + 2.5, value)).ids("warning")[:1] == ["abort"]


def test_beyond_a_red_limit_aloft_is_a_reason_to_return() -> None:
    """A cylinder at 520 degrees of 500 at 600 ft: "Engine. Return and land"; so are the bus and the suction."""
    hot, dim = takeoff().bend("cht_degf", 75.0, 200.0, 520.0), takeoff().bend("bus_v", 75.0, 200.0, 11.0)
    assert fly(hot).one("caution", "cht-high").say == "Engine. Return and land"
    assert fly(dim).one("caution", "bus-low").say == "Electrical. Return and land"
    gauges = {**FIXED.instruments, "suction_inhg": Band(green=(4.5, 5.5), min=3.0)}
    pumped = msgspec.structs.replace(FIXED, instruments=gauges)
    weak = takeoff(suction_inhg=5.0).bend("suction_inhg", 75.0, 200.0, 2.0)
    assert fly(weak, pumped).one("caution", "suction-low").say == "Suction. Return and land"


def test_lost_airspeed_is_said_once_a_second_and_a_half_after_it_went() -> None:
    """Two losses of 3 s in one climb: "Data lost" 1.5 s into the first, and no more."""
    flown = fly(takeoff().bend("ias_kt", 50.0, 53.0, None).bend("ias_kt", 60.0, 63.0, None))
    assert flown.t("caution", "data-lost") == pytest.approx(51.5, abs=0.1)


def test_above_the_turn_height_a_turn_is_judged_as_one() -> None:
    """With the turn call still waiting for the flaps, 15 degrees of bank at 630 ft is no remark."""
    turning = ((75.0, 80.0), (105.0, 170.0))
    flight = takeoff(
        flaps_deg=10.0,
        bank_deg=((75.0, 0.0), (76.0, 15.0), (105.0, 15.0), (106.0, 0.0)),
        heading_deg=turning,
        track_deg=turning,
    )
    flown = fly(flight, msgspec.structs.replace(FIXED, takeoff_flaps_deg=10.0))
    assert not {"bank", "early-turn", "drift"} & set(flown.ids("advisory", "caution"))


def test_positive_rate_waits_for_the_end_of_the_silence() -> None:
    """With retractable gear and 1,200 ft/min it falls due within 2 s of lift-off, and is said at their end."""
    height = {"height_ft": GOOD_CLIMB, "altitude_ft": tuple((t, 400.0 + h) for t, h in GOOD_CLIMB)}
    flight = takeoff(vertical_speed_fpm=step(25.0, 0.0, 1200.0), **height)
    flown = fly(flight, msgspec.structs.replace(FIXED, retractable_gear=True))
    assert flown.said("positive-rate") == "Positive rate"
    assert flown.t("callout", "positive-rate") == pytest.approx(27.0, abs=0.1)


def test_oil_that_is_too_warm_is_said_in_the_after_takeoff_checks() -> None:
    """Oil temperature above the green at 1,000 ft: "Check oil"."""
    flown = fly(takeoff(oil_temperature_degf=((90.0, 165.0), (100.0, 225.0))))
    assert flown.one("check", "after-takeoff.oil-temperature").say == "Check oil"


def test_an_overspeed_is_one_call() -> None:
    """Beyond the warning's line the caution of the red line does not sound as well."""
    flown = fly(takeoff().bend("rpm", 14.5, 200.0, 2730.0).between(5.0, 24.0))
    assert [event.id for event in flown.spoken if event.kind in ("warning", "caution")] == ["abort"]


@pytest.mark.parametrize("low_from_s", [19.2, 19.8])
def test_what_was_about_to_be_said_is_not_once_the_throttle_is_closed(low_from_s: float) -> None:
    """Oil pressure low for less than its hold when the pilot gives up at 20 s: no "abort" to who is stopping."""
    assert fly(rejected(20.0, oil_pressure_psi=step(low_from_s, 75.0, 10.0))).warnings == []


@pytest.mark.parametrize(("rate_deg_s", "said"), [(3.0, False), (0.2, True)])
def test_no_rotate_to_who_is_raising_the_nose(rate_deg_s: float, said: bool) -> None:
    """8 kt beyond VR with the nose on its way up no "Rotate" is said; with it as good as still it is."""
    late: dict[str, Points | float | None] = {
        "pitch_deg": ((25.2, 0.0), (28.0, 2.8 * rate_deg_s)),
        "on_ground": step(28.0, 1.0, 0.0),
        "vertical_speed_fpm": step(28.0, 0.0, 720.0),
        "ias_kt": ((11.0, 0.0), (28.0, 68.0), (30.0, 70.0)),
        "groundspeed_kt": ((11.0, 0.0), (28.0, 68.0), (30.0, 70.0)),
        "height_ft": ((28.0, 0.0), (128.0, 1200.0)),
        "altitude_ft": ((28.0, 400.0), (128.0, 1600.0)),
    }
    flown = fly(takeoff(**late).between(5.0, 27.5))
    assert ("late-rotate" in flown.ids("advisory")) == said
