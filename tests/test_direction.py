"""The heading a roll is judged by, where the given one is not the runway's or the aeroplane still turns onto it."""

from __future__ import annotations

import msgspec
import pytest

from monitor.options import Options
from monitor.state import State
from tests.synthetic import (
    FIXED,
    Flight,
    Flown,
    Points,
    Value,
    at,
    fly,
    position_lines,
    speed_lines,
    takeoff,
    touch_and_go,
)  # fmt: skip


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


@pytest.mark.parametrize("aside_deg", [12.0, -9.0])
def test_a_swerve_is_not_the_runway_that_was_not_given(aside_deg: float) -> None:
    """Along 080 up to 29 kt, then aside to lift-off: a climb back along 080 is no drift, one that goes on aside is."""
    aside: Points = ((18.2, 80.0), (19.0, 80.0 + aside_deg))
    back: Points = (*aside, (25.5, 80.0 + aside_deg), (27.0, 80.0))
    assert _drifts(None, back, back) == []
    assert _drifts(None, aside, aside) == ["Drifting right" if aside_deg > 0.0 else "Drifting left"]


def test_a_turn_onto_the_runway_that_ends_on_the_roll_is_no_swerve() -> None:
    """Still 7 degrees to turn at 16 kt and 4 at 20, then along 080: a climb that wanders to 083 is no drift."""
    onto: Points = ((14.5, 73.0), (17.5, 80.0))
    assert _drifts(None, onto, (*onto, (30.0, 80.0), (32.0, 83.0))) == []


def test_some_degrees_aside_where_the_roll_began_leave_the_mean() -> None:
    """Along 076 up to 30 kt, along 080 from there: a climb that wanders from 080 to 082 is no drift."""
    later: Points = ((18.0, 76.0), (19.0, 80.0))
    assert _drifts(None, later, (*later, (30.0, 80.0), (32.0, 82.0))) == []


def test_a_crosswind_that_slides_the_wheels_is_no_variation() -> None:
    """The track 2 degrees left of the nose all along the roll: in the climb 6 degrees left of the runway is drift."""
    assert _drifts(80.0, 80.0, ((26.0, 78.0), (28.0, 74.0))) == ["Drifting left"]


def _held_low(crab_deg: float, track_off_deg: float) -> Flown:
    """Once a second, no ground switch, the altimeter sags, and the lift-off at 25 s is told by the climb from 29 s on:
    blown 10 degrees left as the wheels leave, then a crab that gives a track so far right of 080."""
    return fly(
        takeoff(
            1.0, altitude_ft=((17.0, 400.0), (25.0, 370.0), (29.0, 370.0), (129.0, 1570.0)), vertical_speed_fpm=None,
            height_ft=None, on_ground=None, heading_deg=((25.0, 80.0), (26.0, 80.0 + crab_deg)),
            track_deg=((24.5, 80.0), (25.0, 70.0), (28.0, 80.0 + track_off_deg)),
        ).between(5.0, 60.0)
    )  # fmt: skip


def _says(flown: Flown) -> list[str | None]:
    return [event.say for event in flown.all("caution", "drift")]


def test_a_crab_before_the_lift_off_is_known_is_not_the_roll() -> None:
    """A crab of 12 degrees while the lift-off is not seen yet: the runway stays 080, and a climb 4 degrees right of it
    is no drift."""
    flown = _held_low(12.0, 4.0)
    assert flown.coach.runway_heading_deg == pytest.approx(80.0)
    assert _says(flown) == []


def test_drift_is_told_after_a_lift_off_that_was_known_late() -> None:
    """The same crab does not hide a track 6 degrees left of the runway."""
    assert _says(_held_low(8.0, -6.0)) == ["Drifting left"]


def test_a_nose_held_up_from_the_start_is_on_the_runway_all_the_same() -> None:
    """The stick held back from 15 s on, a heading 12 less than the track: the roll shows that, the climb is no drift,
    and 7 degrees more is one."""
    held: Points = ((15.0, 0.0), (16.0, 4.0), (23.7, 4.0), (25.7, 9.0))
    flight = takeoff(pitch_deg=held, heading_deg=68.0).between(5.0, 60.0)
    assert _says(fly(flight)) == []
    assert _says(fly(flight.with_(track_deg=((28.0, 80.0), (30.0, 87.0))))) == ["Drifting right"]


SLOW_HZ = 1.0 / 3.0


def _slow(track_deg: Value, rate_hz: float = SLOW_HZ) -> Flight:
    return takeoff(rate_hz, track_deg=track_deg).between(0.0, 75.0)


def _taxied(flight: Flight) -> Flight:
    """The same after 40 s of taxiing at 12 kt."""
    taxi: Points = ((-60.0, 0.0), (-55.0, 12.0), (-15.0, 12.0), (-10.0, 0.0), *speed_lines())
    return flight.with_(ias_kt=taxi, groundspeed_kt=taxi).between(-60.0, 75.0)


ASIDE: Points = ((28.0, 92.0), (30.0, 99.0))


def test_drift_is_not_judged_while_the_variation_is_not_known() -> None:
    """One sample in 3 s and a track 12 degrees more than the heading: a roll too short to tell them apart, no drift."""
    assert _says(fly(_slow(92.0))) == []


def test_taxiing_shows_the_variation() -> None:
    """The same after a straight taxi: the climb along the runway is no drift, and 7 degrees aside is one."""
    assert _says(fly(_taxied(_slow(92.0)))) == []
    assert _says(fly(_taxied(_slow(ASIDE)))) == ["Drifting right"]


def test_a_turn_while_taxiing_shows_no_variation() -> None:
    """Taxied round and round at 9 degrees a second with a track that lags by 20: nothing learned, no drift told."""
    round_and_round: Points = ((-60.0, 80.0), (-10.0, 530.0), (-9.0, 80.0))
    lagging: Points = ((-60.0, 60.0), (-10.0, 510.0), (-9.0, 80.0))
    flight = _taxied(_slow(80.0)).with_(heading_deg=round_and_round, track_deg=lagging)
    samples = [
        msgspec.structs.replace(s, heading_deg=s.heading_deg % 360.0, track_deg=s.track_deg % 360.0)
        for s in flight.samples()
        if s.heading_deg is not None and s.track_deg is not None
    ]
    assert _says(fly(samples)) == []


def test_the_variation_is_kept_from_one_takeoff_to_the_next() -> None:
    """A sample in 2 s, the track 12 degrees more than the heading: two rolls show it together, and the second climb is
    drift where it goes 7 degrees aside."""
    assert _says(fly(touch_and_go(0.5, track_deg=92.0))) == []
    assert _says(fly(touch_and_go(0.5, track_deg=((205.0, 92.0), (208.0, 99.0))))) == ["Drifting right"]


def test_the_variation_is_forgotten_where_the_clock_jumps() -> None:
    """The clock goes back after a flight, and the next begins elsewhere, where track and heading agree: no drift."""
    flown = fly([*_taxied(_slow(92.0)).samples(), *_slow(80.0).samples()], arrive_every_s=3.0)
    assert "restarted" in flown.ids("feed")
    assert [event.takeoff for event in flown.all("phase", "initial-climb")] == [1, 2]
    assert _says(flown) == []


AWAY_FT: Points = ((27.0, 0.0), (57.0, 350.0))  # 7 degrees right at 95 ft/s


def _by_positions(right_ft: Points, **lines: Value) -> Flight:
    latitude_deg, longitude_deg = position_lines(right_ft)
    more: dict[str, Value] = {"latitude_deg": latitude_deg, "longitude_deg": longitude_deg, "track_deg": None}
    return takeoff(**{**more, **lines}).between(5.0, 55.0)


def test_positions_tell_the_track_where_groundspeed_is_sent() -> None:
    """Groundspeed and positions, and no track: a climb 7 degrees aside is drift, one along the runway is none."""
    assert _says(fly(_by_positions(AWAY_FT))) == ["Drifting right"]
    assert _says(fly(_by_positions(((0.0, 0.0),)))) == []


def test_a_crab_aloft_is_no_swerve_where_positions_tell_the_track() -> None:
    """Without ground switch and track, an altimeter that sags on the roll, and a crab of 20 degrees in the first second
    aloft: no abort; the same swing with the wheels on the ground is one."""
    crab: Points = ((25.0, 80.0), (26.0, 60.0))
    sagging: Points = ((17.0, 400.0), (25.0, 370.0), (27.0, 370.0), (127.0, 1570.0))
    less: dict[str, Value] = {"on_ground": None, "height_ft": None, "vertical_speed_fpm": None}
    aloft = _by_positions(((0.0, 0.0),), altitude_ft=sagging, heading_deg=crab, **less)
    assert fly(aloft).warnings == []
    swung = aloft.with_(heading_deg=((20.0, 80.0), (21.5, 60.0)))
    assert fly(swung).warnings == [("abort", "directional-control")]


def test_rows_sent_again_make_no_track() -> None:
    """Every position comes three times, the groundspeed each time: the track in the climb is the runway's."""
    latitude_deg, longitude_deg = position_lines()
    flight = takeoff(latitude_deg=latitude_deg, longitude_deg=longitude_deg, track_deg=None).between(5.0, 40.0)
    samples = flight.samples()
    state = State(Options())
    for n, sample in enumerate(samples):
        old = samples[n - n % 3]
        again = msgspec.structs.replace(sample, latitude_deg=old.latitude_deg, longitude_deg=old.longitude_deg)
        state.update(at(sample), again)
        if at(sample) > 20.0:
            assert state.track == pytest.approx(80.0, abs=0.5)


def test_a_track_that_fails_for_a_moment_is_not_that_of_all_the_way_since() -> None:
    """The track fails at 30 s and again at 50, and the way bends in between: at 50 s it is the one flown then."""
    latitude_deg, longitude_deg = position_lines(((32.0, 0.0), (48.0, 600.0)))
    flight = takeoff(latitude_deg=latitude_deg, longitude_deg=longitude_deg)
    failing = flight.bend("track_deg", 30.0, 30.2, None).bend("track_deg", 50.0, 50.5, None).between(20.0, 51.0)
    state = State(Options())
    for sample in failing.samples():
        state.update(at(sample), sample)
        if at(sample) > 20.0:
            assert state.track == pytest.approx(80.0, abs=0.5)
