"""Found by bending one instrument at a time for some tenths of a second, or for good, against all the others."""

from __future__ import annotations

import pytest
from msgspec.structs import replace

from monitor.plausibility import Plausibility
from monitor.sample import Sample
from tests.synthetic import (
    END_S,
    FIELD_FT,
    FIXED,
    Flight,
    Flown,
    Value,
    at,
    fly,
    height_lines,
    step,
    takeoff,
    touch_and_go,
)

CALLS = ("rotate", "climb-speed", "flaps-up", "turn", "after-takeoff")


def _shifted(flight: Flight, channel: str, from_s: float, lasts_s: float, by: float) -> list[Sample]:
    """One channel off by so much for a moment."""

    def off(sample: Sample) -> Sample:
        value = getattr(sample, channel)
        inside = from_s - 1e-6 <= at(sample) < from_s + lasts_s - 1e-6
        return (
            replace(sample, **{channel: max(value + by, 0.0) if channel.endswith("_kt") else value + by})
            if (inside and value is not None)
            else sample
        )

    return [off(sample) for sample in flight.samples()]


# ---- groundspeed -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("rate_hz", [20.0, 5.0])
@pytest.mark.parametrize("from_s", [13.5, 16.0, 19.0, 27.0])
@pytest.mark.parametrize(("by_kt", "lasts_s"), [(-25.0, 0.15), (-25.0, 0.4), (40.0, 0.6)])
def test_a_groundspeed_that_leaps_and_is_back_makes_no_airspeed_dead(
    rate_hz: float, from_s: float, by_kt: float, lasts_s: float
) -> None:
    """Groundspeed 25 kt low for some samples, or 40 kt high for 0.6 s, on the roll or just off the ground: the rising
    airspeed is not called dead, and all the calls come."""
    flown = fly(_shifted(takeoff(rate_hz), "groundspeed_kt", from_s, lasts_s, by_kt))
    assert not [e for e in flown.events if "airspeed-not-alive" in (e.id, e.reason)]
    assert flown.warnings == []
    assert [id_ for id_ in CALLS if not flown.all("callout", id_)] == []


# ---- an airspeed about to be called stuck ----------------------------------------------------------------------------


def _stuck_from(from_s: float, rate_hz: float, **lines: Value) -> Flight:
    stands_kt = 4.0 * (from_s - 11.0)
    return takeoff(rate_hz, ias_kt=((11.0, 0.0), (from_s, stands_kt), (END_S, stands_kt)), **lines)


@pytest.mark.parametrize("rate_hz", [20.0, 5.0])
@pytest.mark.parametrize("from_s", [20.8, 21.0, 21.6, 22.0, 22.4])
def test_a_needle_that_stands_makes_no_early_rotation_and_no_low_speed(rate_hz: float, from_s: float) -> None:
    """Stuck 1.1 to 2.7 s before VR: a rotation at the true VR is not called early, and no word is for a speed that is
    not so, until the needle is known to be stuck."""
    flown = fly(_stuck_from(from_s, rate_hz).between(5.0, 40.0))
    assert {e.id for e in flown.all("advisory") + flown.all("caution")} <= {"airspeed-not-alive"}
    assert flown.warnings == [("airspeed-not-alive", "airspeed-not-alive")]


def test_a_needle_that_stands_near_the_stall_is_no_low_speed() -> None:
    """Stuck at 50 kt, a second before lift-off, where 1.1 VS1 is 52: no word for a speed that is not so."""
    speeds = replace(FIXED.speeds_kias, stall_clean=47.5)
    aircraft = replace(FIXED, speeds_kias=speeds)
    flown = fly(_stuck_from(23.5, 20.0).between(5.0, 40.0), aircraft)
    assert "speed-low" not in flown.ids("caution")
    assert flown.warnings == [("airspeed-not-alive", "airspeed-not-alive")]


def test_a_needle_that_stands_makes_no_sink_a_low_speed() -> None:
    """Stuck at 51.6 kt and sinking 5 s after lift-off, at a true 60: "Sinking", not a word for a speed above VX."""
    height = ((25.0, 0.0), (29.0, 48.0), (30.0, 30.0), (34.0, 78.0))
    flight = _stuck_from(
        23.9, 20.0, height_ft=height, altitude_ft=tuple((t, FIELD_FT + h) for t, h in height),
        vertical_speed_fpm=(*step(25.0, 0.0, 720.0), *step(29.0, 720.0, -1080.0), *step(30.0, -1080.0, 720.0)),
    )  # fmt: skip
    assert [e.say for e in fly(flight.between(5.0, 31.0)).all("caution", "sink")] == ["Sinking"]


def test_the_last_two_seconds_begin_by_groundspeed_where_the_needle_stands() -> None:
    """Stuck at 40 kt, 2.5 s before VR: oil pressure low half a second before the true VR is held, no abort at speed."""
    flight = _stuck_from(21.0, 20.0, oil_pressure_psi=step(21.5, 75.0, 10.0))
    flown = fly(flight.between(5.0, 24.5))
    assert flown.warnings == []
    assert flown.coach.judge.zone == "late"


# ---- height and altitude ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("rate_hz", "lasts_s"), [(60.0, 0.1), (20.0, 0.1), (20.0, 0.8), (5.0, 0.7), (2.0, 0.9)])
@pytest.mark.parametrize("channel", ["height_ft", "altitude_ft"])
@pytest.mark.parametrize("by_ft", [1500.0, 400.0, -400.0])
@pytest.mark.parametrize("from_s", [28.0, 35.0])
def test_a_height_that_leaps_for_a_moment_ends_no_climb(
    rate_hz: float, lasts_s: float, channel: str, by_ft: float, from_s: float
) -> None:
    """Height, or an altitude that is all there is, off by hundreds of feet for less than a second at 36 or 120 ft: the
    climb goes on, its calls come in time, and an engine that fails at 180 ft is told."""
    flight = takeoff(rate_hz) if channel == "height_ft" else takeoff(rate_hz).without("height_ft")
    flown = fly(_shifted(flight, channel, from_s, lasts_s, by_ft))
    flown.calm()
    assert flown.t("callout", "flaps-up") == pytest.approx(50.0, abs=0.1)
    assert flown.t("callout", "turn") == pytest.approx(66.7, abs=0.1)
    dies = flight.with_(rpm=((10.0, 700.0), (12.0, 2350.0), (40.0, 2350.0), (40.6, 700.0))).between(5.0, 45.0)
    assert ("engine-failure", "engine-failure") in fly(_shifted(dies, channel, from_s, lasts_s, by_ft)).warnings


@pytest.mark.parametrize("by_ft", [110.0, 200.0, 1500.0])
@pytest.mark.parametrize("climb_sent", [True, False])
def test_a_height_that_leaps_on_the_roll_is_no_lift_off(by_ft: float, climb_sent: bool) -> None:
    """Height off for 0.6 s, above 0.8 VR with the ground switch closed: the wheels are on, and an engine that fails
    then is an abort."""
    flight = takeoff(rpm=((10.0, 700.0), (12.0, 2350.0), (22.2, 2350.0), (22.8, 700.0)))
    flight = flight if climb_sent else flight.without("vertical_speed_fpm")
    flown = fly(_shifted(flight.between(5.0, 23.6), "height_ft", 21.2, 0.6, by_ft))
    assert flown.warnings == [("abort", "engine-failure")]
    assert "initial-climb" not in flown.phases


@pytest.mark.parametrize("by_ft", [-200.0, 300.0])
@pytest.mark.parametrize("rate_hz", [20.0, 5.0, 1.0])
def test_a_height_that_leaps_for_good_is_followed(rate_hz: float, by_ft: float) -> None:
    """The altimeter set anew, or a cliff below: after a second the calls are by what is shown from then on."""
    flight = takeoff(rate_hz).without("height_ft")
    flown = fly(_shifted(flight, "altitude_ft", 55.0, 99.0, by_ft))
    due_s = 56.0 if by_ft > 0.0 else 25.0 + 700.0 / 12.0
    assert flown.t("callout", "turn") == pytest.approx(due_s, abs=0.2 + 1.0 / rate_hz)


def test_a_teleport_is_believed_with_the_second_sample() -> None:
    """Altitude and height that leap by the same: the aeroplane was put there, and no second is waited."""
    plausibility = Plausibility(lambda *told: None)
    seen = []
    for n, up_ft in enumerate((0.0, 0.0, 1500.0, 1500.0)):
        sample = Sample(time_s=0.05 * n, altitude_ft=400.0 + up_ft, height_ft=up_ft)
        seen.append(plausibility.clean(0.05 * n, sample, 0.05).height_ft)
    assert seen == [0.0, 0.0, None, 1500.0]


# ---- vertical speed --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("rate_hz", [20.0, 5.0])
@pytest.mark.parametrize(("says_fpm", "lasts_s"), [(-6000.0, 0.3), (-2000.0, 0.6), (-6000.0, 3.0), (-300.0, 3.0)])
def test_a_wild_vertical_speed_is_no_sink(rate_hz: float, says_fpm: float, lasts_s: float) -> None:
    """A sink that height and altitude contradict, for a moment or for seconds, is not spoken of."""
    flight = takeoff(rate_hz).bend("vertical_speed_fpm", 33.0, 33.0 + lasts_s, says_fpm)
    fly(flight.between(5.0, 45.0)).calm()


# ---- the ground switch -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("rate_hz", [20.0, 5.0, 2.0])
@pytest.mark.parametrize(("from_s", "lasts_s"), [(28.0, 0.6), (37.0, 0.6), (37.0, 1.5), (37.0, 3.0), (60.0, 3.0)])
def test_a_switch_that_says_ground_in_the_climb_is_no_landing(rate_hz: float, from_s: float, lasts_s: float) -> None:
    """At 36, 144 and 420 ft, for up to 3 s: one takeoff, one lift-off, each call once."""
    flown = fly(takeoff(rate_hz).bend("on_ground", from_s, from_s + lasts_s, 1.0))
    flown.calm()
    assert flown.phases.count("initial-climb") == 1
    assert "landing-roll" not in flown.phases


@pytest.mark.parametrize("rate_hz", [20.0, 5.0, 1.0])
def test_level_above_the_field_a_moments_ground_is_no_landing(rate_hz: float) -> None:
    """Low and level at 150 ft, with the speed held, the switch closed for 1.2 s: still in flight."""
    height = ((25.0, 0.0), (37.5, 150.0), (116.0, 150.0))
    flight = takeoff(
        rate_hz, height_ft=height, altitude_ft=tuple((t, FIELD_FT + h) for t, h in height),
        vertical_speed_fpm=(*step(25.0, 0.0, 720.0), *step(37.5, 720.0, 0.0)),
    )  # fmt: skip
    assert "landing-roll" not in fly(flight.bend("on_ground", 45.0, 46.2, 1.0).between(5.0, 60.0)).phases


@pytest.mark.parametrize("rate_hz", [20.0, 5.0, 1.0])
@pytest.mark.parametrize("by_ft", [-110.0, 60.0, 110.0, 180.0])
@pytest.mark.parametrize("slows", [True, False])
def test_a_touchdown_with_the_altimeter_set_anew_is_found(rate_hz: float, by_ft: float, slows: bool) -> None:
    """Altitude alone, off by so much since the downwind leg; the wheels touch, slowing or with the power held: down
    then, and a second takeoff follows."""
    flight = touch_and_go(rate_hz).without("height_ft")
    if not slows:
        speed = ((11.0, 0.0), (25.0, 56.0), (39.0, 70.0), (170.0, 70.0), (193.0, 58.0), (198.0, 58.0), (213.0, 70.0))
        flight = flight.with_(ias_kt=speed, groundspeed_kt=speed)
    flown = fly(_shifted(flight, "altitude_ft", 140.0, 200.0, by_ft))
    assert flown.t("phase", "landing-roll") == pytest.approx(193.0, abs=1.0 / rate_hz)
    assert flown.phases.count("initial-climb") == 2


# ---- what stands still -----------------------------------------------------------------------------------------------


def _lost(flown: Flown) -> list[tuple[str, str, str]]:
    return [(e.id, e.more["channel"], e.more["why"]) for e in flown.all("feed") if e.id.startswith("channel")]


def _frozen(channel: str, from_s: float, rate_hz: float, to_s: float = 999.0) -> list[Sample]:
    """One channel stands from a time on at what it showed then; noise of a hundredth before."""
    samples = [
        replace(s, **{channel: getattr(s, channel) + 0.01 * (n % 3)}) for n, s in enumerate(takeoff(rate_hz).samples())
    ]
    stands = next(getattr(s, channel) for s in samples if at(s) >= from_s)
    return [replace(s, **{channel: stands}) if from_s <= at(s) < to_s else s for s in samples]


@pytest.mark.parametrize("rate_hz", [20.0, 5.0, 1.0])
@pytest.mark.parametrize("from_s", [3.0, 24.0, 26.0, 28.25, 45.0])
def test_a_height_that_stands_is_named_and_altitude_takes_its_place(rate_hz: float, from_s: float) -> None:
    """Frozen at rest, on the roll, at 12, 39 or 240 ft: named once within 110 ft, and what is said by height comes when
    the altimeter shows it, the words of an engine failure too."""
    samples = _frozen("height_ft", from_s, rate_hz)
    flown = fly(samples)
    flown.calm()
    assert _lost(flown) == [("channel-lost", "height_ft", "stands still against altitude")]
    assert flown.t("feed", "channel-lost") <= max(from_s, 25.0) + 110.0 / 12.0
    assert flown.t("callout", "turn") == pytest.approx(66.7, abs=0.2)
    assert 49.8 <= flown.t("callout", "flaps-up") <= (50.2 if from_s < 40.0 else 55.0)
    dead = [replace(s, rpm=max(700.0, 2350.0 - 2000.0 * max(at(s) - 75.0, 0.0))) for s in samples if at(s) < 79.0]
    assert fly(dead).one("warning", "engine-failure").say == "Nose down. Best glide, six two"


@pytest.mark.parametrize("rate_hz", [20.0, 5.0, 1.0])
@pytest.mark.parametrize("from_s", [3.0, 16.0, 24.0])
def test_a_vertical_speed_that_stands_is_named_and_the_climb_is_told_without_it(rate_hz: float, from_s: float) -> None:
    """Frozen on the wheels: named once within 100 ft, and the calls that ask for a climb come."""
    flown = fly(_frozen("vertical_speed_fpm", from_s, rate_hz))
    flown.calm()
    assert _lost(flown) == [("channel-lost", "vertical_speed_fpm", "stands still against altitude")]
    assert flown.t("callout", "flaps-up") == pytest.approx(50.0, abs=0.2 + 1.0 / rate_hz)
    assert flown.t("callout", "turn") == pytest.approx(66.7, abs=0.2 + 1.0 / rate_hz)


def test_what_stood_is_taken_back_when_it_moves() -> None:
    """A height that stands from 240 ft to 480 ft is believed again from there."""
    flown = fly(_frozen("height_ft", 45.0, 20.0, 65.0))
    assert [(id_, why) for id_, _, why in _lost(flown)] == [
        ("channel-lost", "stands still against altitude"),
        ("channel-back", "moves again"),
    ]


def test_a_height_above_its_instruments_range_is_set_aside() -> None:
    """A height that ends at 250 ft: the altimeter's from there."""
    flown = fly(takeoff(height_ft=((25.0, 0.0), (45.0, 240.0), (45.8, 250.0))))
    flown.calm()
    assert [why for _, _, why in _lost(flown)] == ["stands still against altitude"]
    assert flown.t("callout", "turn") == pytest.approx(66.7, abs=0.2)


@pytest.mark.parametrize("rounded_fpm", [700.0, 1000.0])
def test_a_rounded_vertical_speed_in_a_steady_climb_is_left_alone(rounded_fpm: float) -> None:
    """It stands at 700 or 1,000 ft/min in a climb of 720: neither is wrong enough to be set aside; nor is a height in
    steps of 50 ft."""
    stepped = [
        replace(s, height_ft=(s.height_ft or 0.0) // 50.0 * 50.0)
        for s in takeoff(vertical_speed_fpm=step(25.0, 0.0, rounded_fpm)).samples()
    ]
    assert _lost(fly(stepped)) == []


def test_the_altimeter_turned_while_height_stands_is_no_climb() -> None:
    """At rest, and rolling at 46 kt, it is turned by 150 ft: height and vertical speed stand, and are right."""
    flight = takeoff(height_ft=height_lines(0.3), vertical_speed_fpm=step(25.0, 5.0, 720.0))
    for at_s in (5.0, 22.5):
        assert _lost(fly(_shifted(flight, "altitude_ft", at_s, 200.0, 150.0))) == []
