"""A loss of power that only the climb shows: found in gusts and in turns, and not made of wind.

Excess power is dh/dt + V/g dV/dt (mechanics; FAA-H-8083-3C ch. 4, "Energy Management", in words), and a wind along the
path leaves it as it is where dV is that over the ground. The same on model flights is in `tests/accuracy`.
"""

from __future__ import annotations

from itertools import pairwise
from math import asin, degrees, radians, sin

import pytest

from tests.synthetic import FIELD_FT, GOVERNED, Flight, Points, Value, fly, governed

SETTLED_S, VY_KT = 39.0, 70.0
FPM_AT_VY = VY_KT * 6076.12 / 60.0
ATTACK_DEG = 4.0
KT_S_FPM = 1.68781**2 / 32.174 * 60.0 * VY_KT  # a knot a second at VY as a climb: 372 ft/min


def _climbs(*legs: tuple[float, float], **lines: Value) -> Flight:
    """A governed takeoff that climbs 720 ft/min from 25 s and, from each leg's time (s) on, so much (ft/min), at one
    angle of attack."""
    rates = ((25.0, 720.0), *legs, (110.0, 0.0))
    height: list[tuple[float, float]] = [(25.0, 0.0)]
    vertical: list[tuple[float, float]] = [(24.99, 0.0)]
    for (from_s, fpm), (to_s, _) in pairwise(rates):
        height.append((to_s, height[-1][1] + fpm / 60.0 * (to_s - from_s)))
        vertical += [(from_s + 0.01, fpm), (to_s, fpm)]
    altitude: Points = tuple((t, FIELD_FT + h) for t, h in height)
    made: dict[str, Value] = {
        "height_ft": tuple(height),
        "altitude_ft": altitude,
        "vertical_speed_fpm": tuple(vertical),
    }
    settled = [(t, degrees(asin(fpm / FPM_AT_VY)) + ATTACK_DEG) for t, fpm in vertical if t >= 28.0]
    made["pitch_deg"] = ((21.0, 0.0), (24.0, 9.0), *settled)
    return governed(**{**made, **lines}).between(5.0, 108.0)


def _gusty(steady: Points, size_kt: float) -> Points:
    """A line with gusts on it from 41 s on, each of 16 s and of up to `size_kt`."""
    gusts = [(41.0 + 0.25 * n, size_kt * sin(0.3927 * 0.25 * n)) for n in range(260)]
    return (*(point for point in steady if point[0] < 41.0), *((t, VY_KT + gust) for t, gust in gusts))


STEADY: Points = ((11.0, 0.0), (25.0, 56.0), (SETTLED_S, VY_KT))
GUSTS = _gusty(STEADY, 3.3)


def test_gusts_hide_no_loss_where_the_speed_over_the_ground_is_sent() -> None:
    """Airspeed rises and falls by 3 kt, the groundspeed does not: 720 ft/min that are lost are told in 12 s."""
    flown = fly(_climbs((65.0, -50.0), ias_kt=GUSTS, groundspeed_kt=STEADY), GOVERNED)
    assert flown.warnings == [("power-loss", "power-loss")]
    assert 65.0 < flown.t("warning", "power-loss") <= 65.0 + 12.0


@pytest.mark.parametrize("ground", [STEADY, None], ids=["with-groundspeed", "without"])
def test_gusts_are_no_loss(ground: Value) -> None:
    """The same gusts on a steady climb bring no warning, nor does the airspeed alone."""
    flight = _climbs(ias_kt=GUSTS, groundspeed_kt=ground)
    assert fly(flight if ground else flight.without("latitude_deg", "longitude_deg"), GOVERNED).warnings == []


def test_a_lull_of_the_wind_is_no_loss_where_airspeed_alone_tells() -> None:
    """Airspeed 19 kt less within 14 s, the climb as before, no groundspeed and no position: no warning."""
    lull: Points = (*STEADY, (84.0, VY_KT + 9.5), (98.0, VY_KT - 9.5), (108.0, VY_KT - 9.5))
    flight = _climbs(ias_kt=lull).without("groundspeed_kt", "latitude_deg", "longitude_deg")
    assert fly(flight, GOVERNED).warnings == []


@pytest.mark.parametrize(("for_s", "told"), [(7.5, []), (25.0, [("power-loss", "power-loss")])])
def test_by_airspeed_alone_a_loss_must_last(for_s: float, told: list[tuple[str, str]]) -> None:
    """No groundspeed and no position, the climb gone at a steady airspeed: for 7 s not a word, for 25 s one warning."""
    flight = _climbs((65.0, -50.0), (65.0 + for_s, 720.0), ias_kt=STEADY)
    flown = fly(flight.without("groundspeed_kt", "latitude_deg", "longitude_deg"), GOVERNED)
    assert flown.warnings == told


@pytest.mark.parametrize("kt_s", [1.0, -1.0])
def test_a_headwind_that_changes_with_height_is_no_loss(kt_s: float) -> None:
    """Airspeed held while the headwind changes by 1 kt/s for 10 s: what the climb gains or loses by it the groundspeed
    loses or gains."""
    ground: Points = (*STEADY, (60.0, VY_KT), (70.0, VY_KT - 10.0 * kt_s))
    flight = _climbs((60.0, 720.0 + kt_s * KT_S_FPM), (70.0, 720.0), ias_kt=STEADY, groundspeed_kt=ground)
    assert fly(flight, GOVERNED).warnings == []


def _turn(from_s: float, wind_kt: float) -> dict[str, Value]:
    """A turn of 4 deg/s, banked 15 degrees, from a crosswind into the wind."""
    times = [from_s + n for n in range(46)]
    ground = tuple((t, VY_KT - wind_kt * sin(radians(4.0 * (t - from_s)))) for t in times)
    return {
        "groundspeed_kt": (*STEADY, *ground),
        "bank_deg": ((from_s - 1.0, 0.0), (from_s, 15.0), (from_s + 45.0, 15.0), (from_s + 46.0, 0.0)),
        "heading_deg": ((from_s, 80.0), (from_s + 45.0, 260.0)),
        "track_deg": ((from_s, 80.0), (from_s + 45.0, 260.0)),
    }


@pytest.mark.parametrize("wind_kt", [8.0, 17.0])
def test_a_turn_in_wind_is_no_loss(wind_kt: float) -> None:
    """A quarter of a circle into the wind and another out of it, 500 ft/min that become 320 in the turn, airspeed as
    before: no more is lost than a turn takes."""
    climb = _climbs((25.5, 500.0), (90.0, 320.0), ias_kt=STEADY, **_turn(90.0, wind_kt))
    assert fly(climb.without("latitude_deg", "longitude_deg"), GOVERNED).warnings == []


def test_a_loss_in_a_turn_is_told() -> None:
    """Half of the way round, 720 ft/min become 50: both speeds show it, and it is told in 12 s."""
    flown = fly(_climbs((80.0, 50.0), ias_kt=STEADY, **_turn(68.0, 3.0)), GOVERNED)
    assert ("power-loss", "power-loss") in flown.warnings
    assert 80.0 < flown.t("warning", "power-loss") <= 80.0 + 12.0


@pytest.mark.parametrize("pitch", [((21.0, 0.0), (24.0, 9.0)), None], ids=["pitch", "no-pitch"])
@pytest.mark.parametrize("hz", [20.0, 1.0])
def test_a_climb_that_stays_gone_is_told(pitch: Value, hz: float) -> None:
    """The nose where it was, or not known: 720 ft/min that become 50 and stay so are told within 35 s."""
    flown = fly(_climbs((65.0, 50.0), ias_kt=STEADY, pitch_deg=pitch).at(hz), GOVERNED)
    assert flown.warnings == [("power-loss", "power-loss")]
    assert 65.0 + 20.0 < flown.t("warning", "power-loss") < 65.0 + 35.0


@pytest.mark.parametrize("pitch", [((21.0, 0.0), (24.0, 9.0)), None], ids=["pitch", "no-pitch"])
@pytest.mark.parametrize("hz", [20.0, 1.0])
def test_strongly_sinking_air_is_no_loss(pitch: Value, hz: float) -> None:
    """A climb of 720 ft/min that becomes one of 120 for 15 s at the same airspeed and the same pitch: air that sinks at
    600 ft/min takes it, as lee and thermals do."""
    flight = _climbs((65.0, 120.0), (80.0, 720.0), ias_kt=STEADY, pitch_deg=pitch)
    assert fly(flight.at(hz), GOVERNED).warnings == []


def test_sinking_air_is_no_loss() -> None:
    """A weak climb of 420 ft/min that becomes one of 190 for 25 s is less than half, and may be the air."""
    flight = _climbs((25.5, 420.0), (65.0, 190.0), (90.0, 420.0), ias_kt=STEADY)
    assert fly(flight, GOVERNED).warnings == []
