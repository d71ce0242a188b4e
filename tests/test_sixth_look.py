"""Found by damaged samples, unfilled fields and the simulator's own reset: each was a wrong call, or silence unsaid."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from msgspec.structs import replace

from monitor.coach import Coach
from monitor.options import Options
from monitor.position import PositionSpeed
from monitor.sample import Sample
from replay.judged import ListenedCoach
from tests.synthetic import (
    FIXED,
    Flight,
    Flown,
    Points,
    at,
    fly,
    joined,
    position_lines,
    procedure,
    step,
    takeoff,
    touch_and_go,
)

BY_POSITION = ("groundspeed_kt", "track_deg")
RATES = pytest.mark.parametrize("rate_hz", [20.0, 5.0, 1.0])


def _by_position(rate_hz: float) -> Flight:
    latitude, longitude = position_lines()
    return takeoff(rate_hz, latitude_deg=latitude, longitude_deg=longitude).without(*BY_POSITION)


def _one_bad(flight: Flight, near_s: float, change: Callable[[Sample], Sample]) -> list[Sample]:
    """The flight with the first sample from `near_s` on changed."""
    samples = flight.samples()
    n = next(n for n, sample in enumerate(samples) if at(sample) >= near_s - 1e-6)
    return [*samples[:n], change(samples[n]), *samples[n + 1 :]]


def _as_ever(flown: Flown) -> None:
    """One takeoff with its calls, and nothing wrong in it."""
    assert flown.warnings == []
    assert "rejected-takeoff" not in flown.phases and len(flown.all("phase", "takeoff-roll")) == 1
    assert flown.said("rotate") == "Rotate"
    assert flown.said("turn") == "Turn altitude. Look first"


# ---- one damaged sample ----------------------------------------------------------------------------------------------


@RATES
@pytest.mark.parametrize("near_s", [14.0, 18.0, 22.0, 28.0])
@pytest.mark.parametrize("place", [(0.0, 0.0), (47.005, 8.0), (47.0, 8.01)])
def test_one_damaged_position_changes_nothing(rate_hz: float, near_s: float, place: tuple[float, float]) -> None:
    """0,0 of a receiver without a fix, or half a mile off, where position alone tells the speed."""
    bad = _one_bad(_by_position(rate_hz), near_s, lambda s: replace(s, latitude_deg=place[0], longitude_deg=place[1]))
    _as_ever(fly(bad))


@RATES
@pytest.mark.parametrize("near_s", [14.0, 19.0, 22.0])
def test_one_throttle_of_zero_is_no_rejection(rate_hz: float, near_s: float) -> None:
    """A worn potentiometer spikes: the takeoff goes on, and an engine that fails later is called."""
    spiked = _one_bad(takeoff(rate_hz), near_s, lambda s: replace(s, throttle=0.0))
    _as_ever(fly(spiked))
    dying = _one_bad(takeoff(rate_hz).bend("rpm", 22.5, 200.0, 900.0), 18.0, lambda s: replace(s, throttle=0.0))
    assert fly(dying).warnings[:1] == [("abort", "engine-failure")]


@RATES
def test_a_throttle_closed_for_good_is_a_rejection(rate_hz: float) -> None:
    """Two samples, or one and the engine's fall, are enough."""
    shut = step(20.0, 1.0, 0.0)
    speed: Points = ((11.0, 0.0), (20.0, 36.0), (26.0, 0.0))
    flight = takeoff(
        rate_hz, throttle=((10.0, 0.0), (12.0, 1.0), *shut), ias_kt=speed, groundspeed_kt=speed, on_ground=1.0,
        height_ft=0.0, altitude_ft=400.0, vertical_speed_fpm=0.0, pitch_deg=0.0,
        rpm=((10.0, 700.0), (12.0, 2350.0), (20.0, 2350.0), (21.0, 900.0)),
    )  # fmt: skip
    flown = fly(flight.between(0.0, 30.0))
    assert flown.warnings == []
    assert flown.t("phase", "rejected-takeoff") == pytest.approx(20.0, abs=1.1 / rate_hz)


@RATES
@pytest.mark.parametrize("given", [None, 80.0])
def test_one_damaged_heading_is_not_the_runways(rate_hz: float, given: float | None) -> None:
    """The last heading below 15 kt reads 200 degrees: no swerve follows from it."""
    bad = _one_bad(takeoff(rate_hz), 14.7 if rate_hz > 1.0 else 14.0, lambda s: replace(s, heading_deg=200.0))
    _as_ever(fly(bad, options=Options(runway_heading_deg=given)))


@pytest.mark.parametrize("rate_hz", [1.0, 0.5])
def test_one_switch_that_says_ground_in_the_climb_is_no_landing(rate_hz: float) -> None:
    """A single closed sample at 180 ft: the climb goes on."""
    bad = _one_bad(takeoff(rate_hz), 40.0, lambda s: replace(s, on_ground=1.0))
    assert "landing-roll" not in fly(bad).phases


# ---- channels that stand ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("frozen_kt", [16.0, 28.0, 36.0])
def test_a_frozen_groundspeed_is_no_dead_engine(frozen_kt: float) -> None:
    """It stands on the roll while the airspeed goes on rising: no abort."""
    from_s = 11.0 + frozen_kt / 4.0
    assert fly(takeoff().bend("groundspeed_kt", from_s, 200.0, frozen_kt).between(0.0, 40.0)).warnings == []


@pytest.mark.parametrize("stuck_kt", [20.0, 20.2, 20.6])
def test_an_airspeed_stuck_at_twenty_is_called(stuck_kt: float) -> None:
    """Its noise takes it to either side of 20 kt: an abort all the same, before the last 2 s."""
    chance = np.random.default_rng(3)
    samples = takeoff().bend("ias_kt", 11.0 + stuck_kt / 4.0, 200.0, stuck_kt).between(0.0, 30.0).samples()
    noisy = [replace(s, ias_kt=max((s.ias_kt or 0.0) + chance.normal(0.0, 0.25), 0.0)) for s in samples]
    flown = fly(noisy)
    assert flown.warnings[:1] == [("abort", "airspeed-not-alive")]
    assert flown.t("warning", "abort") < 21.5


@pytest.mark.parametrize("height_sent", [True, False])
@RATES
def test_a_switch_stuck_at_ground_makes_one_takeoff(rate_hz: float, height_sent: bool) -> None:
    """Off in a crab of 18 degrees with the switch still closed: no abort, one lift-off, the calls of the climb."""
    flight = takeoff(rate_hz, on_ground=1.0, heading_deg=((26.0, 80.0), (29.0, 98.0)))
    flown = fly(flight if height_sent else flight.without("height_ft"))
    assert flown.warnings == []
    assert flown.ids("phase").count("initial-climb") == 1
    assert flown.said("turn") == "Turn altitude. Look first"


def test_a_switch_stuck_at_ground_ends_no_level_flight() -> None:
    """Level at 150 ft, as high as another field may lie, with the switch closed all along: no landing."""
    height: Points = ((25.0, 0.0), (37.5, 150.0), (80.0, 150.0))
    flight = takeoff(
        on_ground=1.0, height_ft=height, altitude_ft=tuple((t, 400.0 + h) for t, h in height),
        vertical_speed_fpm=((24.999, 0.0), (25.0, 720.0), (37.0, 720.0), (38.0, 0.0)),
    ).between(0.0, 80.0)  # fmt: skip
    assert "landing-roll" not in fly(flight).ids("phase")


def test_one_closed_switch_in_ground_effect_is_no_landing() -> None:
    """Held at 15 ft at one sample a second, with the switch closed in one of them: no landing."""
    height: Points = ((25.0, 0.0), (27.0, 15.0), (35.0, 15.0), (116.0, 987.0))
    flight = takeoff(
        1.0, height_ft=height, altitude_ft=tuple((t, 400.0 + h) for t, h in height),
        vertical_speed_fpm=((24.999, 0.0), (25.0, 450.0), (26.999, 450.0), (27.0, 0.0), (34.999, 0.0), (35.0, 720.0)),
    ).bend("on_ground", 30.5, 31.5, 1.0)  # fmt: skip
    assert "landing-roll" not in fly(flight).ids("phase")


@pytest.mark.parametrize(
    ("channel", "value", "why"),
    [
        ("groundspeed_kt", 0.0, "stands at 0 against airspeed"),
        ("vertical_speed_fpm", 0.0, "stands at 0 against altitude"),
        ("throttle", 1.0, "stands at full with the engine at idle"),
    ],
)
def test_a_field_that_is_never_filled_is_named_and_the_rest_goes_on(channel: str, value: float, why: str) -> None:
    """It contradicts the others: named once, set aside, and the takeoff is coached without it."""
    flown = fly(takeoff(**{channel: value}))
    lost = flown.all("feed", "channel-lost")
    assert [(event.more["channel"], event.more["why"]) for event in lost] == [(channel, why)]
    assert flown.warnings == []
    assert flown.said("rotate") == "Rotate"
    assert flown.said("turn") == "Turn altitude. Look first"


def test_a_height_that_is_never_filled_is_named() -> None:
    """Zero all the way up: nothing by height is said, and that is said."""
    flown = fly(takeoff(height_ft=0.0))
    assert [event.more["channel"] for event in flown.all("feed", "channel-lost")] == ["height_ft"]


def test_fields_that_are_filled_are_left_alone() -> None:
    """Standing, rolling and climbing with what belongs to it: nothing is set aside."""
    assert fly(takeoff()).all("feed", "channel-lost") == []


# ---- places ----------------------------------------------------------------------------------------------------------


@RATES
def test_a_runway_across_the_date_line(rate_hz: float) -> None:
    """By positions alone, from 180 east to 180 west just before VR: a takeoff like any other."""
    latitude, longitude = position_lines()
    ahead = next(lon for t, lon in longitude if t >= 22.0) - 8.0
    west = tuple((t, lon - 8.0 + 180.0 - ahead) for t, lon in longitude)
    samples = takeoff(rate_hz, latitude_deg=latitude, longitude_deg=west).without(*BY_POSITION).samples()
    _as_ever(fly([replace(s, longitude_deg=((s.longitude_deg or 0.0) + 180.0) % 360.0 - 180.0) for s in samples]))


def test_a_speed_made_of_positions_is_the_same_across_the_date_line() -> None:
    """Eastward on the equator at 0.0002 degrees a second, 43 kt: no less and no more as 180 east becomes 180 west."""
    speed, shown = PositionSpeed(), []
    for n in range(100):
        t = 0.1 * n
        speed.update(t, 0.0, (179.999 + 0.0002 * t + 180.0) % 360.0 - 180.0)
        shown.append(speed.speed_kt)
    known = [kt for kt in shown[30:] if kt is not None]
    assert len(known) > 50
    assert known == pytest.approx([0.0002 * 111_319.5 * 3600.0 / 1852.0] * len(known), abs=1.0)


def test_a_position_that_ends_leaves_the_speed_to_the_airspeed() -> None:
    """Sent until lined up only: the roll is known all the same."""
    flight = _by_position(20.0).bend("latitude_deg", 9.0, 200.0, None).bend("longitude_deg", 9.0, 200.0, None)
    _as_ever(fly(flight))


# ---- words that come late, or too soon -------------------------------------------------------------------------------


def test_an_airspeed_that_was_alive_long_since_is_not_called() -> None:
    """Without lever or engine channel the roll is known late: the call is stamped when it fell due (10 kt over what it
    read at rest), and silent."""
    flown = fly(takeoff().without("throttle", "rpm", "manifold_pressure_inhg"))
    call = flown.one("callout", "airspeed-alive")
    assert call.t_s == pytest.approx(13.6, abs=0.05)
    assert call.say is None


def test_a_weak_aeroplane_gaining_speed_is_left_alone() -> None:
    """0.3 kt a second toward VY: the error shrinks, slowly."""
    speed: Points = ((11.0, 0.0), (25.0, 56.0), (28.0, 60.0), (60.0, 69.6))
    height: Points = ((25.0, 0.0), (100.0, 250.0))
    flight = takeoff(
        ias_kt=speed, groundspeed_kt=speed, height_ft=height, altitude_ft=tuple((t, 400.0 + h) for t, h in height),
        vertical_speed_fpm=step(25.0, 0.0, 200.0),
    )  # fmt: skip
    assert fly(flight.between(0.0, 60.0)).ids("advisory") == []


def test_an_idle_lever_makes_no_takeoff_of_a_gust() -> None:
    """A landing that floats, one sample 2.3 kt up in it at 0.5 Hz, the throttle closed: no roll and no rejection."""
    samples = touch_and_go(0.5).without("on_ground").between(0.0, 186.0).samples()
    last, speeds = (
        samples[-1],
        [56.0, 55.9, 52.6, 50.6, 50.3, 50.0, 49.9, 48.8, 48.4, 48.5, 47.5, 49.8, 48.5, 45.2, 42.0],
    )
    for n, speed in enumerate([*speeds, *(38.0 - 4.0 * k for k in range(10))]):
        samples.append(
            replace(
                last, time_s=at(last) + 2.0 * (n + 1), ias_kt=speed + 2.0, groundspeed_kt=speed, height_ft=1.0,
                altitude_ft=401.0, vertical_speed_fpm=0.0, throttle=0.08, rpm=900.0, pitch_deg=5.0,
            )
        )  # fmt: skip
    assert fly(samples).phases.count("takeoff-roll") == 1


def test_a_lever_closed_and_an_engine_that_falls_are_a_rejection_at_once() -> None:
    """At 1 Hz no second sample of the lever is waited for where rpm has fallen with it."""
    flight = takeoff(1.0, throttle=((10.0, 0.0), (12.0, 1.0), *step(19.5, 1.0, 0.0))).bend("rpm", 19.5, 200.0, 1500.0)
    assert fly(flight.between(0.0, 20.0)).phases[-1] == "rejected-takeoff"


def test_a_throttle_full_before_the_engine_has_spun_up_is_believed() -> None:
    """A stream that begins as the power is set: the engine needs a second or two, and nothing is set aside."""
    flight = takeoff(throttle=1.0, rpm=((11.0, 900.0), (13.0, 2350.0))).between(11.0, 60.0)
    assert fly(flight).all("feed", "channel-lost") == []


# ---- put back to the threshold ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "missing", [(), ("on_ground",), ("on_ground", "throttle"), ("on_ground", "throttle", "height_ft")]
)
@pytest.mark.parametrize("from_s", [30.0, 50.0, 90.0])
@pytest.mark.parametrize("rate_hz", [20.0, 2.0, 1.0])
def test_the_aeroplane_put_back_begins_anew(rate_hz: float, from_s: float, missing: tuple[str, ...]) -> None:
    """Moved to the threshold from 60, 300 or 780 ft while time runs on: no word, and the next takeoff is whole."""
    flight, step_s = takeoff(rate_hz).without(*missing), 1.0 / rate_hz
    flown = fly(joined(flight.between(0.0, from_s).samples(), flight.between(9.0, 80.0).samples(), gap_s=step_s))
    again = from_s + step_s - 9.0
    assert flown.warnings == [] and flown.ids("caution", "advisory") == []
    rotate = [event for event in flown.all("callout", "rotate") if event.takeoff == 2]
    assert [event.say for event in rotate] == ["Rotate"]
    off = [event.t_s for event in flown.all("phase", "initial-climb") if event.takeoff == 2]
    assert off == [pytest.approx(again + 25.0, abs=1.0)]


def test_two_channels_damaged_once_are_no_reset() -> None:
    """Airspeed and height read 0 in one sample: the flight goes on."""
    bad = _one_bad(takeoff(), 60.0, lambda s: replace(s, ias_kt=0.0, groundspeed_kt=0.0, height_ft=0.0))
    assert fly(bad).all("feed", "restarted") == []


def test_the_debrief_cuts_the_flight_where_it_was_put_back() -> None:
    """The first sample on the threshold belongs to the next takeoff, not to the end of the climb before it."""
    stretches: list[list[tuple[float, Sample]]] = []
    listened = ListenedCoach(Coach(FIXED, procedure(), Options()), stretches)
    flight = takeoff()
    for sample in joined(flight.between(0.0, 50.0).samples(), flight.between(9.0, 20.0).samples()):
        listened.feed(sample, at(sample))
    assert [rows[0][0] for rows in stretches] == pytest.approx([0.0, 50.05])
    assert [rows[-1][0] for rows in stretches] == pytest.approx([50.0, 61.05])
