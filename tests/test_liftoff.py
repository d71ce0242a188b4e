"""Lift-off without a ground switch where the aeroplane floats: first off the wheels for longer than a hop, and late up.

What the wheels did is known here in closed form; the recorded floats and hops are in the real and the model flights.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from tests.synthetic import FIELD_FT, Flight, Points, fly, takeoff

OFF_S = 25.0
FLOAT: Points = ((OFF_S, 0.0), (27.0, 4.0), (27.5, 4.0), (30.0, 0.7), (32.0, 0.7), (40.0, 96.7), (116.0, 1008.7))
"""Up to 4 ft, down to 0.7 ft, and only from 32 s on a climb."""
HOP: Points = ((OFF_S, 0.0), (25.6, 1.2), (26.2, 0.0), (29.0, 0.0), (33.0, 48.0), (116.0, 1044.0))
"""A hop of 1.2 s, and the lift-off at 29 s."""


def _climbing(height: Points) -> dict[str, Points]:
    """The channels of a height by time."""
    steps: list[tuple[float, float]] = [(height[0][0] - 1e-6, 0.0)]
    for (t0, h0), (t1, h1) in pairwise(height):
        climb = (h1 - h0) / (t1 - t0) * 60.0
        steps += [(t0, climb), (t1 - 1e-6, climb)]
    return {
        "height_ft": height,
        "altitude_ft": tuple((t, FIELD_FT + h) for t, h in height),
        "vertical_speed_fpm": tuple(steps),
    }


def _off(flight: Flight) -> float:
    return fly(flight).t("phase", "initial-climb")


@pytest.mark.parametrize("rate_hz", [60.0, 20.0, 5.0])
@pytest.mark.parametrize("left_out", [(), ("height_ft",), ("pitch_deg",)])
def test_a_float_in_ground_effect_counts_from_its_beginning(rate_hz: float, left_out: tuple[str, ...]) -> None:
    """Seven seconds at 3 ft after the wheels left, lift-off is stamped when they left, not when the climb began."""
    flight = takeoff(rate_hz, **_climbing(FLOAT)).without("on_ground", *left_out)
    assert _off(flight) == pytest.approx(OFF_S, abs=0.3 + 0.5 / rate_hz)


def test_a_float_at_one_sample_a_second() -> None:
    """The same with height and vertical speed once a second."""
    assert _off(takeoff(1.0, **_climbing(FLOAT)).without("on_ground")) == pytest.approx(OFF_S, abs=0.75)


def test_two_touches_for_a_moment_are_no_landing() -> None:
    """A wheel that brushes the runway twice in a float, 0.15 s each time, has not landed."""
    flight = takeoff(20.0, **_climbing(FLOAT)).bend("on_ground", 28.5, 28.65, 1.0).bend("on_ground", 30.0, 30.15, 1.0)
    assert not fly(flight).all("phase", "landing-roll")


@pytest.mark.parametrize("left_out", [(), ("height_ft",)])
def test_a_hop_that_settles_is_no_lift_off(left_out: tuple[str, ...]) -> None:
    """After a hop of 1.2 s the lift-off is the later one."""
    assert _off(takeoff(20.0, **_climbing(HOP)).without("on_ground", *left_out)) == pytest.approx(29.0, abs=0.35)


def _on_slope(slope: float, rate_hz: float) -> Flight:
    """The takeoff on a runway that rises by so many feet a foot; no switch, no height above ground."""
    times = np.arange(11.0, OFF_S + 0.01, 0.25)
    feet = 0.5 * 4.0 * (times - 11.0) ** 2 * 1.68781 * slope  # 4 kt/s from 11 s; 1 kt = 1.68781 ft/s
    roll: Points = tuple(zip(times.tolist(), feet.tolist(), strict=True))
    climb = tuple((t, float(feet[-1]) + 12.0 * (t - OFF_S)) for t in (30.0, 116.0))
    return takeoff(rate_hz, **_climbing(roll + climb)).without("on_ground", "height_ft")


@pytest.mark.parametrize("slope", [0.02, 0.01, 0.003, -0.01])
@pytest.mark.parametrize("left_out", [(), ("pitch_deg",), ("vertical_speed_fpm",)])
def test_a_sloping_runway_is_no_climb(slope: float, left_out: tuple[str, ...]) -> None:
    """On a runway of up to 2 % (the most for a light aeroplane's: ICAO Annex 14, 3.1.13, from memory) altitude rises
    by ten feet and more on the wheels, and lift-off is stamped when they left all the same."""
    assert _off(_on_slope(slope, 20.0).without(*left_out)) == pytest.approx(OFF_S, abs=0.4)


@pytest.mark.parametrize("slope", [0.02, 0.01])
def test_a_sloping_runway_at_one_sample_a_second(slope: float) -> None:
    """The same with altitude and vertical speed once a second: within one sample."""
    assert _off(_on_slope(slope, 1.0)) == pytest.approx(OFF_S, abs=1.0)


ROLLS: Points = ((24.0, 0.0), (OFF_S, 0.35), (35.0, 120.35), (116.0, 1092.35))
"""The wing rises 5 deg/s about the last wheel for a second (4 ft from the middle: 21 ft/min), then all is off."""


@pytest.mark.parametrize("left_out", [(), ("height_ft",)])
def test_rolling_about_the_last_wheel_is_no_climb(left_out: tuple[str, ...]) -> None:
    """One main wheel leaves a second before the other; lift-off is when the second one leaves."""
    bank: Points = ((24.0, 0.0), (OFF_S, 5.0))
    flight = takeoff(20.0, **_climbing(ROLLS), bank_deg=bank, pitch_deg=9.0).without("on_ground", *left_out)
    assert _off(flight) == pytest.approx(OFF_S, abs=0.35)


@pytest.mark.parametrize("rate_hz", [20.0, 5.0])
@pytest.mark.parametrize("seed", range(4))
def test_an_altimeter_that_jumps_back_as_the_wheels_leave(rate_hz: float, seed: int) -> None:
    """Altitude alone, 20 ft low at VR and right again within a moment of lift-off, with noise: lift-off is stamped
    when the wheels left."""
    rng = np.random.default_rng(seed)
    times = np.arange(0.0, 60.0, 1.0 / rate_hz)
    sag = np.where(times < OFF_S, -20.0 * np.clip((times - 11.0) / 12.5, 0.0, 1.0) ** 2, 0.0)
    feet = FIELD_FT + sag + 12.0 * np.maximum(times - OFF_S - 0.5, 0.0) + rng.normal(0.0, 1.0, len(times))
    climb = 720.0 * np.clip(times - OFF_S, 0.0, 1.0) + rng.normal(0.0, 15.0, len(times))
    lines = {name: tuple(zip(times.tolist(), values.tolist(), strict=True))
             for name, values in (("altitude_ft", feet), ("vertical_speed_fpm", climb))}  # fmt: skip
    flight = takeoff(rate_hz, **lines).without("on_ground", "height_ft").between(0.0, 59.0)
    assert _off(flight) == pytest.approx(OFF_S, abs=0.5)


LONG_FLOAT: Points = ((OFF_S, 0.0), (26.5, 1.5), (46.0, 1.5), (54.0, 97.5), (116.0, 841.5))
"""Twenty seconds at a foot and a half."""


@pytest.mark.parametrize(("rate_hz", "within_s"), [(20.0, 0.35), (1.0, 0.75)])
def test_a_float_longer_than_the_history(rate_hz: float, within_s: float) -> None:
    """Certain only after more than the 15 s that are kept, lift-off is stamped as found at the float's beginning."""
    assert _off(takeoff(rate_hz, **_climbing(LONG_FLOAT)).without("on_ground")) == pytest.approx(OFF_S, abs=within_s)


@pytest.mark.parametrize("late_s", [0.0, 0.1, 0.2, 0.3, 0.4])
def test_two_samples_a_second(late_s: float) -> None:
    """With vertical speed at 2 Hz lift-off is found to less than a sample, wherever it falls between two."""
    off_s = OFF_S + late_s
    grows: Points = ((off_s, 0.0), (off_s + 0.5, 1.0), (off_s + 1.0, 4.0), (off_s + 2.0, 16.0))
    height: Points = (*grows, (116.0, 16.0 + 12.0 * (114.0 - off_s)))
    assert _off(takeoff(2.0, **_climbing(height)).without("on_ground")) == pytest.approx(off_s, abs=0.3)


@pytest.mark.parametrize("late_s", [0.0, 0.2, 0.4, 0.6, 0.8])
@pytest.mark.parametrize("left_out", [(), ("height_ft",)])
def test_one_sample_a_second(late_s: float, left_out: tuple[str, ...]) -> None:
    """At 1 Hz a climb that grows to its full rate in 1.2 s is found to a third of a sample, wherever it begins."""
    off_s, grown_s = OFF_S + late_s, 1.2
    times = np.linspace(0.0, grown_s, 25)
    feet = 6.0 * (times - grown_s / np.pi * np.sin(np.pi * times / grown_s))  # the rate is 6 (1 - cos), ft/s
    grows: Points = tuple(zip((off_s + times).tolist(), feet.tolist(), strict=True))
    height: Points = (*grows, (116.0, grows[-1][1] + 12.0 * (116.0 - off_s - grown_s)))
    flight = takeoff(1.0, **_climbing(height)).without("on_ground", *left_out)
    assert _off(flight) == pytest.approx(off_s, abs=0.33)


@pytest.mark.parametrize(("track_deg", "aborts"), [(80.0, False), (73.0, False), (68.0, True), (63.0, True)])
def test_a_crab_at_lift_off_is_no_loss_of_direction(track_deg: float, aborts: bool) -> None:
    """Without a switch, floating at a foot in a crosswind, nose up and 18 degrees aside with the track along the runway
    (080), or 7 degrees off it: no abort; with the track aside with the nose there is one."""
    flight = takeoff(20.0, **_climbing(((OFF_S, 0.0), (25.5, 0.8), (30.0, 0.8), (40.0, 120.8), (116.0, 1032.8))))
    aside: Points = ((25.4, 80.0), (26.0, 62.0), (29.0, 62.0), (30.0, 80.0))
    turned = ((25.4, 80.0), (26.0, track_deg), (29.0, track_deg), (30.0, 80.0))
    flown = fly(flight.with_(heading_deg=aside, track_deg=turned).without("on_ground", "height_ft"))
    assert flown.warnings == ([("abort", "directional-control")] if aborts else [])


def _grows(pace_fpm_s: float, to_fpm: float) -> dict[str, Points]:
    """A climb that grows steadily from lift-off on, to `to_fpm`, as its height and its vertical speed."""
    grown_s = to_fpm / pace_fpm_s
    times = np.linspace(0.0, grown_s, 41)
    feet = 0.5 * pace_fpm_s / 60.0 * times**2
    height: Points = tuple(zip((OFF_S + times).tolist(), feet.tolist(), strict=True))
    end_s = 116.0
    height += ((end_s, height[-1][1] + to_fpm / 60.0 * (end_s - OFF_S - grown_s)),)
    return {
        "height_ft": height,
        "altitude_ft": tuple((t, FIELD_FT + h) for t, h in height),
        "vertical_speed_fpm": ((OFF_S, 0.0), (OFF_S + grown_s, to_fpm)),
    }


@pytest.mark.parametrize("left_out", [(), ("height_ft",)])
def test_a_climb_that_grows_slowly_began_longer_before(left_out: tuple[str, ...]) -> None:
    """With the nose held, an aeroplane that grazes the runway is stamped as off it when one that leaps off is, within
    0.12 s (by the same climb of both there would be 0.2 s between them), and each near the truth."""
    paces = (80.0, 150.0, 300.0, 500.0)
    off = [_off(takeoff(20.0, **_grows(pace, 600.0), pitch_deg=6.0).without("on_ground", *left_out)) for pace in paces]
    assert max(off) - min(off) <= 0.12
    assert off == pytest.approx([OFF_S] * 4, abs=0.22)


@pytest.mark.parametrize("step_ft", [5.0, 10.0])
@pytest.mark.parametrize("field_ft", [FIELD_FT, FIELD_FT + 3.0])
def test_an_altitude_in_coarse_steps_tells_no_lag(step_ft: float, field_ft: float) -> None:
    """Altitude only, rounded to 5 or 10 ft: lift-off is stamped as from an exact one, within 0.1 s."""
    climbs = _grows(300.0, 600.0)
    exact = takeoff(20.0, **climbs).without("on_ground", "height_ft")
    times = np.arange(0.0, 60.0, 0.01)
    true_ft = field_ft + np.interp(times, *zip(*climbs["height_ft"], strict=True))
    steps = np.round(true_ft / step_ft) * step_ft
    changes = np.flatnonzero(np.diff(steps, append=0.0))
    rounded = [(0.0, float(steps[0]))]
    for n in changes[:-1].tolist():
        rounded += [(float(times[n]), float(steps[n])), (float(times[n]) + 1e-6, float(steps[n + 1]))]
    coarse = exact.with_(altitude_ft=tuple(rounded)).between(0.0, 59.0)
    assert _off(coarse) == pytest.approx(_off(exact), abs=0.1)
