"""Found by flights as a recorder gives them, no ground switch: sagging altimeters, lazy needles, short landings."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from monitor.coach import Coach
from monitor.options import Options
from tests.synthetic import (
    FIELD_FT,
    FIXED,
    LIFTOFF_S,
    Flight,
    Flown,
    Points,
    at,
    fly,
    joined,
    procedure,
    rejected,
    takeoff,
    touch_and_go,
)

ROTATE_KT = 50.0


def _slope(line: Points) -> Points:
    """The rate of a line (a minute)."""
    steps: list[tuple[float, float]] = []
    for (t0, a), (t1, b) in pairwise(line):
        rate = (b - a) / (t1 - t0) * 60.0
        steps += [(t0 + 1e-6, rate), (t1 - 1e-6, rate)]
    return tuple(steps)


def _sagging(speed_kt: np.ndarray, sag_ft: float) -> np.ndarray:
    """How far the altimeter reads low on the wheels: with the square of the speed, `sag_ft` at VR."""
    return np.asarray(-sag_ft * (speed_kt / ROTATE_KT) ** 2)


def _line(times: np.ndarray, values: np.ndarray) -> Points:
    return tuple(zip(times.tolist(), values.tolist(), strict=True))


# ---- a rejection is no lift-off --------------------------------------------------------------------------------------


def _coasting(rate_hz: float, slows_kt_s: float, sag_ft: float) -> Flight:
    """Given up at 48 kt and slowed gently, with an altimeter that sags on the roll; no switch, no height."""
    speed: Points = ((11.0, 0.0), (23.0, 48.0), (23.5, 48.0), (23.5 + 48.0 / slows_kt_s, 0.0))
    times = np.arange(0.0, 70.0, 0.2)
    kt = np.interp(times, *zip(*speed, strict=True))
    return (
        rejected(23.0, rate_hz, ias_kt=speed, groundspeed_kt=speed)
        .with_(altitude_ft=_line(times, FIELD_FT + _sagging(kt, sag_ft)))
        .without("on_ground", "height_ft")
        .between(0.0, 69.0)
    )


@pytest.mark.parametrize("rate_hz", [20.0, 5.0, 1.0])
@pytest.mark.parametrize("slows_kt_s", [0.6, 1.2, 2.5])
@pytest.mark.parametrize("climb", ["none", "of the altimeter", "not sent"])
def test_an_altimeter_that_comes_back_after_a_rejection(rate_hz: float, slows_kt_s: float, climb: str) -> None:
    """Given up just below VR and slowed gently, with an altimeter that sagged 50 ft: no lift-off, and nothing said."""
    flight = _coasting(rate_hz, slows_kt_s, 50.0)
    altitude = flight.lines["altitude_ft"]
    assert isinstance(altitude, tuple)
    rate = {"none": 0.0, "of the altimeter": _slope(altitude), "not sent": None}[climb]
    flown = fly(flight.with_(vertical_speed_fpm=rate))
    assert "rejected-takeoff" in flown.phases
    assert "initial-climb" not in flown.phases
    flown.calm()


def test_a_climb_that_costs_speed_is_a_lift_off_at_once() -> None:
    """With the altimeter 40 ft low and the speed falling by 0.6 kt/s since before the wheels left, vertical speed tells
    of the climb: lift-off is known within 3 s."""
    times = np.arange(0.0, 60.0, 0.2)
    up = np.maximum(times - LIFTOFF_S, 0.0)
    kt = np.interp(times, (11.0, 22.0, 32.0, 60.0), (0.0, 56.0, 50.0, 60.0))
    low = _sagging(np.minimum(kt, ROTATE_KT), 40.0)
    flight = takeoff(5.0, ias_kt=_line(times, kt), groundspeed_kt=_line(times, kt))
    flight = flight.with_(altitude_ft=_line(times, FIELD_FT + low + 12.0 * up)).without("on_ground", "height_ft")
    coach = Coach(FIXED, procedure(), Options())
    for sample in flight.between(0.0, 59.0).samples():
        if any(e.id == "initial-climb" for e in coach.feed(sample, at(sample))):
            assert at(sample) < LIFTOFF_S + 3.0
            return
    raise AssertionError("no lift-off")


# ---- the moment of lift-off ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(6))
def test_an_altimeter_that_jumps_before_vertical_speed_shows_a_climb(seed: int) -> None:
    """Altitude 40 ft low on the roll comes back as the nose rises, and vertical speed lags: lift-off is stamped near
    when the wheels left, and not before the rotation."""
    rng = np.random.default_rng(seed)
    times = np.arange(0.0, 60.0, 0.02)
    kt = np.interp(times, (11.0, 25.0, 39.0), (0.0, 56.0, 70.0))
    aim = np.where(times < LIFTOFF_S - 0.6, _sagging(np.minimum(kt, ROTATE_KT), 40.0), 0.0)
    off_ft, lagged_fpm = np.zeros(len(times)), np.zeros(len(times))
    climb = 700.0 * np.clip((times - LIFTOFF_S) / 3.0, 0.0, 1.0)
    for n in range(1, len(times)):
        off_ft[n] = off_ft[n - 1] + (aim[n] - off_ft[n - 1]) * 0.02 / 0.5
        lagged_fpm[n] = lagged_fpm[n - 1] + (climb[n] - lagged_fpm[n - 1]) * 0.02 / 0.5
    feet = FIELD_FT + off_ft + np.cumsum(climb) * 0.02 / 60.0 + rng.normal(0.0, 0.6, len(times))
    flight = takeoff(5.0, altitude_ft=_line(times, feet))
    flight = flight.with_(vertical_speed_fpm=_line(times, lagged_fpm + rng.normal(0.0, 20.0, len(times))))
    flown = fly(flight.without("on_ground", "height_ft").between(0.0, 59.0))
    assert flown.t("phase", "initial-climb") == pytest.approx(LIFTOFF_S, abs=1.5)
    assert flown.t("phase", "initial-climb") > flown.t("phase", "rotation")


# ---- a needle that is asleep -----------------------------------------------------------------------------------------


def _asleep(flight: Flight, below_kt: float) -> Flight:
    """The airspeed shows 0 below so much, and there is no other speed."""
    times = flight.times()
    ias = flight.lines["ias_kt"]
    assert isinstance(ias, tuple)
    kt = np.interp(times, *zip(*ias, strict=True))
    shown = _line(times, np.where(kt < below_kt, 0.0, kt))
    return flight.with_(ias_kt=shown).without("groundspeed_kt", "track_deg", "on_ground", "height_ft")


@pytest.mark.parametrize("rate_hz", [20.0, 10.0, 5.0, 1.0])
@pytest.mark.parametrize("below_kt", [20.0, 25.0])
def test_a_needle_that_falls_asleep_as_the_aeroplane_stops(rate_hz: float, below_kt: float) -> None:
    """After a rejection with no groundspeed the needle drops from 20 kt to 0: the next takeoff is a takeoff of its own
    with all its calls."""
    first, second = rejected(20.0, rate_hz), takeoff(rate_hz)
    flown = fly(joined(_asleep(first, below_kt).samples(), _asleep(second, below_kt).samples(), gap_s=1.0 / rate_hz))
    assert flown.phases.count("takeoff-roll") == 2
    assert [e.takeoff for e in flown.all("phase", "initial-climb")] == [2]
    called = [e.id for e in flown.all("callout") if e.takeoff == 2]
    assert [id_ for id_ in ("power-set", "rotate", "flaps-up", "turn") if id_ not in called] == []


# ---- level flight is no blocked source -------------------------------------------------------------------------------

LEVEL_S = 60.0


def _levelled(slower_kt: float) -> Flight:
    """Level from 60 s on at 420 ft, and slower by so much at 75 s; no height."""
    speed: Points = ((11.0, 0.0), (25.0, 56.0), (39.0, 70.0), (62.0, 70.0), (75.0, 70.0 - slower_kt))
    height: Points = ((LIFTOFF_S, 0.0), (LEVEL_S, 420.0), (90.0, 420.0), (116.0, 680.0))
    return takeoff(
        1.0, ias_kt=speed, groundspeed_kt=speed, altitude_ft=tuple((t, FIELD_FT + h) for t, h in height),
        vertical_speed_fpm=((25.0, 0.0), (26.0, 720.0), (60.0, 720.0), (61.5, 0.0), (90.0, 0.0), (91.0, 600.0)),
    ).without("height_ft", "on_ground", "track_deg")  # fmt: skip


def _north(flight: Flight, speed: Points) -> Flight:
    """Positions due north at that speed, in place of the groundspeed."""
    times = np.arange(0.0, 116.5, 0.05)
    miles = np.cumsum(np.interp(times, *zip(*speed, strict=True))) * 0.05 / 3600.0
    return flight.with_(
        latitude_deg=_line(times, 47.0 + miles / 60.0), longitude_deg=8.0, heading_deg=0.0
    ).without("groundspeed_kt")  # fmt: skip


def _lost(flown: Flown) -> list[object]:
    return [e.more["channel"] for e in flown.all("feed", "channel-lost")]


@pytest.mark.parametrize("sent", ["positions", "airspeed alone"])
def test_levelling_off_and_slowing_without_groundspeed_is_no_blocked_source(sent: str) -> None:
    """Level and 16 kt slower, with positions or no speed over the ground: no channel is set aside, no "Data lost"."""
    flight = _levelled(16.0)
    speed = flight.lines["ias_kt"]
    assert isinstance(speed, tuple)
    flown = fly(_north(flight, speed) if sent == "positions" else flight.without("groundspeed_kt"))
    assert _lost(flown) == []
    assert flown.all("caution", "data-lost") == []


def test_positions_tell_of_a_blocked_source() -> None:
    """Airspeed down 20 kt while altitude stands still and the positions go on as fast: the three are set aside."""
    steady: Points = ((11.0, 0.0), (25.0, 56.0), (39.0, 70.0))
    assert set(_lost(fly(_north(_levelled(20.0), steady)))) == {"ias_kt", "altitude_ft", "vertical_speed_fpm"}


def test_a_source_that_was_not_blocked_after_all() -> None:
    """Set aside in a tailwind that grows, all three are believed again as soon as the altitude has moved on."""
    steady: Points = ((11.0, 0.0), (25.0, 56.0), (39.0, 70.0))
    flown = fly(_levelled(14.0).with_(groundspeed_kt=steady))
    assert set(_lost(flown)) == {"ias_kt", "altitude_ft", "vertical_speed_fpm"}
    back = flown.all("feed", "channel-back")
    assert {e.more["channel"] for e in back} == {"ias_kt", "altitude_ft", "vertical_speed_fpm"}
    assert all(90.0 < (e.t_s or 0.0) < 95.0 for e in back)


def test_a_source_blocked_just_above_the_runway_is_believed_on_the_ground() -> None:
    """Blocked at 18 ft in the first climb, where the altitude does not move on by the landing, and healthy since: the
    second takeoff has its "Rotate"."""
    flight = (
        touch_and_go().bend("altitude_ft", 26.5, 193.0, FIELD_FT + 18.0).bend("vertical_speed_fpm", 27.0, 193.0, 0.0)
    )
    flown = fly(flight.bend("ias_kt", 40.0, 150.0, ((40.0, 70.0), (50.0, 40.0), (150.0, 40.0))))
    assert "ias_kt" in _lost(flown)
    assert [e.say for e in flown.all("callout", "rotate") if e.takeoff == 2] == ["Rotate"]


# ---- touch-and-goes --------------------------------------------------------------------------------------------------


def _short(rate_hz: float, sag_ft: float = 25.0) -> Flight:
    """The touch-and-go with four seconds of slowing, then power; an altimeter that sags on the wheels; no switch, no
    height."""
    flight = touch_and_go(rate_hz)
    speed, height = flight.lines["ias_kt"], flight.lines["height_ft"]
    assert isinstance(speed, tuple) and isinstance(height, tuple)
    times = np.arange(0.0, 240.0, 0.1)
    kt, feet = (np.interp(times, *zip(*line, strict=True)) for line in (speed, height))
    low = np.where(feet > 0.0, 0.0, _sagging(np.minimum(kt, ROTATE_KT), sag_ft))
    smooth = np.convolve(np.pad(low, 8, mode="edge"), np.full(17, 1.0 / 17.0), mode="valid")
    return flight.with_(altitude_ft=_line(times, FIELD_FT + feet + smooth)).bend("on_ground", 0.0, 240.0, None).without(
        "height_ft", "on_ground"
    )  # fmt: skip


def _second(flown: Flown) -> list[str]:
    off = [e for e in flown.all("phase", "initial-climb") if (e.t_s or 0.0) > 190.0]
    return [e.id for e in flown.all("callout") if off and e.takeoff == off[0].takeoff]


@pytest.mark.parametrize("rate_hz", [5.0, 1.0, 0.5])
@pytest.mark.parametrize("left_out", [(), ("throttle",)])
def test_a_short_touch_and_go_at_home(rate_hz: float, left_out: tuple[str, ...]) -> None:
    """Four seconds on the wheels at the field of departure, by altitude without vertical speed: the takeoff that
    follows is coached."""
    flown = fly(_short(rate_hz).without("vertical_speed_fpm", *left_out))
    assert {"power-set", "rotate", "flaps-up"} <= set(_second(flown))


@pytest.mark.parametrize("rate_hz", [5.0, 1.0])
def test_a_touch_and_go_in_a_recording_that_begins_in_flight(rate_hz: float) -> None:
    """From 120 s on, no elevation given: the landing is seen by descent, level, speed, lever and nose, and the takeoff
    is coached."""
    flown = fly(_short(rate_hz).between(120.0, 240.0))
    assert flown.phases[0] == "airborne"
    assert {"power-set", "rotate", "flaps-up"} <= set(_second(flown))


def _at_height(feet: float, rate_hz: float, pitch_deg: Points | float) -> Flight:
    """Down to so many feet at 193 s, there level and slowing to 46 kt in the manner of the touch-and-go, off again at
    203 s; wheels up all the time; no switch, no height."""
    height: Points = ((25.0, 0.0), (95.0, 840.0), (109.0, 840.0), (193.0, feet), (203.0, feet), (300.0, feet + 1164.0))
    return touch_and_go(rate_hz, altitude_ft=tuple((t, FIELD_FT + h) for t, h in height), pitch_deg=pitch_deg).bend(
        "on_ground", 0.0, 240.0, None
    ).without("height_ft")  # fmt: skip


@pytest.mark.parametrize("rate_hz", [5.0, 1.0])
def test_a_low_pass_is_no_landing(rate_hz: float) -> None:
    """Along the home runway at 12 ft at a steady 52 kt, having slowed on the way down, by altitude without vertical
    speed: no touchdown."""
    speed: Points = (
        (11.0, 0.0),
        (25.0, 56.0),
        (39.0, 70.0),
        (170.0, 70.0),
        (193.0, 52.0),
        (203.0, 52.0),
        (213.0, 70.0),
    )
    flown = fly(_at_height(12.0, rate_hz, 4.0).with_(ias_kt=speed, groundspeed_kt=speed).without("vertical_speed_fpm"))
    assert "landing-roll" not in flown.phases


@pytest.mark.parametrize("rate_hz", [5.0, 1.0])
def test_slowing_to_a_stall_is_no_landing(rate_hz: float) -> None:
    """In a recording that begins in flight, no elevation given: held level at 300 ft with the lever closed and the nose
    rising until it is slow, then power: no touchdown, and no call of a takeoff."""
    nose: Points = ((120.0, 2.0), (190.0, 2.0), (193.0, 5.0), (197.0, 12.0), (203.0, 9.0))
    flown = fly(_at_height(300.0, rate_hz, nose).between(120.0, 240.0))
    assert "landing-roll" not in flown.phases
    assert flown.all("callout") == []
