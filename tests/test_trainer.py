"""The built-in training aeroplane: does it fly as its profile says, and as the books say aeroplanes do?"""

from __future__ import annotations

import math
from typing import Any

import msgspec
import pytest

from adapters.library import AIRCRAFT, builtin_names, open_aircraft
from monitor.aircraft import Aircraft, Speeds
from monitor.sample import CHANNELS
from replay.scenarios.kinds import DEMO_FAULTS, FAULTS, Fault, Scenario, demo_scenario
from replay.trainer import Trainer, fly
from replay.trainer_airframe import CL_MAX, FT, KT, SPAN_M, WING_HEIGHT_M, G, build_airframe, ground_effect

PROFILES = builtin_names(AIRCRAFT)
STILL = Scenario(headwind_kt=0.0, crosswind_kt=0.0, gust_kt=0.0, field_elevation_ft=0.0)


@pytest.fixture(params=PROFILES)
def aircraft(request: pytest.FixtureRequest) -> Aircraft:
    """Each built-in profile."""
    return open_aircraft(request.param)


def first(moments: list[dict[str, float]], channel: str, least: float) -> dict[str, float]:
    """The first moment at which a channel is at least so much."""
    return next(moment for moment in moments if moment[channel] >= least)


_FLOWN: dict[tuple[str, Scenario], list[dict[str, float]]] = {}


def flown(aircraft: Aircraft, scenario: Scenario) -> list[dict[str, float]]:
    """Every moment of a flight; each is flown once and kept."""
    key = (aircraft.name, scenario)
    if key not in _FLOWN:
        _FLOWN[key] = anew(aircraft, scenario)
    return _FLOWN[key]


def anew(aircraft: Aircraft, scenario: Scenario) -> list[dict[str, float]]:
    """Every moment of a flight, flown now."""
    return [values for _, values in fly(aircraft, scenario)]


def test_same_seed_same_flight_and_other_seed_another() -> None:
    """A scenario is a flight: the same one gives the same values to the last bit, another seed does not."""
    aircraft = open_aircraft("sedge")
    once, twice = (anew(aircraft, Scenario(seed=3, max_s=40.0)) for _ in range(2))
    assert once == twice
    assert anew(aircraft, Scenario(seed=4, max_s=40.0)) != once


def test_every_value_is_a_known_channel_within_its_range() -> None:
    """The trainer sends nothing that the channel table would refuse, clean or with any fault."""
    aircraft = open_aircraft("bracken")
    for kind in (None, *FAULTS):
        for moment in flown(aircraft, Scenario(fault=Fault(kind, at_kt=15.0) if kind else None, max_s=20.0)):
            for name, value in moment.items():
                assert CHANNELS[name].low <= value <= CHANNELS[name].high, (kind, name, value)


@pytest.mark.parametrize("seed", range(1, 3))
def test_clean_flight_keeps_the_profiles_speeds(aircraft: Aircraft, seed: int) -> None:
    """Nose up from VR, off near lift-off speed, VY held within the ACS band of +10/-5 kt (FAA-S-ACS-6C PA.IV.A.S11)."""
    moments = flown(aircraft, Scenario(seed=seed))
    speeds = aircraft.speeds_kias
    nose = first(moments, "pitch_deg", 2.4)
    off = next(moment for moment in moments if moment["on_ground"] == 0.0)
    assert speeds.rotate - 0.5 <= nose["ias_kt"] <= speeds.rotate + 4.0
    assert abs(off["ias_kt"] - speeds.lift_off) < 2.0
    climb = [moment["ias_kt"] for moment in moments if moment["height_ft"] > 200.0]
    assert speeds.best_rate - 5.0 < min(climb) and max(climb) < speeds.best_rate + 10.0
    assert 80.0 < moments[-1]["time_s"] < 115.0 and moments[-1]["height_ft"] >= 1080.0


def test_clean_flight_stays_in_the_green(aircraft: Aircraft) -> None:
    """From full power on, no gauge of a healthy aeroplane leaves its limits, and rpm is at least the takeoff least."""
    moments = flown(aircraft, Scenario(seed=2))
    settled = first(moments, "throttle", 1.0)["time_s"] + 2.0
    for moment in (one for one in moments if one["time_s"] > settled):
        assert aircraft.rpm_takeoff_min is not None and moment["rpm"] > aircraft.rpm_takeoff_min
        for name, band in aircraft.instruments.items():
            if name in moment and band.green is not None:
                assert band.green[0] <= moment[name] <= band.green[1] * 1.005, name


def test_flies_the_pattern_a_pilot_would(aircraft: Aircraft) -> None:
    """Pitch stays below the tail limit less 2 degrees on the wheels, banks are gentle, the turn comes above 500 ft."""
    moments = flown(aircraft, Scenario(seed=2))
    low = [moment for moment in moments if moment["height_ft"] < 50.0]
    assert aircraft.pitch_max_deg is not None
    assert max(moment["pitch_deg"] for moment in low) < aircraft.pitch_max_deg - 2.0
    before = [abs(moment["bank_deg"]) for moment in moments if moment["height_ft"] < 500.0]
    assert max(before) < 5.0
    assert 10.0 < max(abs(moment["bank_deg"]) for moment in moments) < 20.0
    assert moments[-1]["flaps_deg"] == 0.0


def test_ground_roll_is_near_the_profiles_own(aircraft: Aircraft) -> None:
    """At sea level in still air the ground roll is within a tenth of the distance the profile gives."""
    trainer = Trainer(aircraft, STILL)
    while trainer.on_ground:
        trainer.step()
    assert aircraft.ground_roll_ft is not None
    assert trainer.along_m / FT == pytest.approx(aircraft.ground_roll_ft, rel=0.10)


def test_half_way_speed_is_that_of_the_70_percent_rule(aircraft: Aircraft) -> None:
    """At half of the ground roll the speed is near 70 % of lift-off speed (AIM 7-6-8; constant acceleration: 0.707).

    Acceleration falls with speed, so a real roll, and this one, is a little above it.
    """
    trainer = Trainer(aircraft, msgspec.structs.replace(STILL, stand_s=0.0))
    track: list[tuple[float, float]] = []
    while trainer.on_ground:
        trainer.step()
        track.append((trainer.along_m, trainer.airspeed_m_s))
    half = next(speed for along, speed in track if along >= track[-1][0] / 2.0)
    assert 0.70 <= half / track[-1][1] <= 0.78


def test_stopping_distance_is_that_of_constant_friction(aircraft: Aircraft) -> None:
    """Braking from 30 kt takes no more than v^2 / (2 mu g) and not much less (textbook; drag helps, lift hinders)."""
    trainer = Trainer(aircraft, STILL)
    while trainer.groundspeed_m_s < 30.0 * KT:
        trainer.step()
    trainer.close_throttle()
    while trainer.pilot.hands.brake < 1.0:
        trainer.step()
    start, speed = trainer.along_m, trainer.groundspeed_m_s
    while trainer.groundspeed_m_s > 0.05:
        trainer.step()
    book = speed**2 / (2.0 * G * (0.29 + 0.03))
    assert trainer.along_m - start == pytest.approx(book, rel=0.12)


def test_rejected_from_rotation_stops_within_the_profiles_distance(aircraft: Aircraft) -> None:
    """A throttle closed at VR stops within the profile's distance from there (which allows for the pilot)."""
    trainer = Trainer(aircraft, STILL)
    while trainer.calibrated_kt < aircraft.speeds_kias.rotate - 1.0:
        trainer.step()
    trainer.close_throttle()
    start = trainer.along_m
    while not trainer.finished:
        trainer.step()
    assert aircraft.stop_from_rotate_ft is not None
    assert trainer.on_ground and trainer.height_ft == 0.0
    assert 0.6 * aircraft.stop_from_rotate_ft < (trainer.along_m - start) / FT <= aircraft.stop_from_rotate_ft


def test_headwind_shortens_the_roll_as_the_handbook_says() -> None:
    """A headwind of 10 % of takeoff speed takes about 19 % off the roll, a tailwind adds 21 % (FAA-H-8083-25C)."""
    aircraft = open_aircraft("sedge")

    def roll(wind_kt: float) -> float:
        trainer = Trainer(aircraft, msgspec.structs.replace(STILL, headwind_kt=wind_kt, stand_s=0.0))
        while trainer.on_ground:
            trainer.step()
        return trainer.along_m

    wind = 0.1 * aircraft.speeds_kias.lift_off
    assert roll(wind) / roll(0.0) == pytest.approx(0.81, abs=0.03)
    assert roll(-wind) / roll(0.0) == pytest.approx(1.21, abs=0.03)


def test_thin_air_lengthens_the_roll_at_least_as_true_speed_does() -> None:
    """At 5,000 ft the roll grows by more than 1 / density ratio (0.8617 there: standard atmosphere table)."""
    aircraft = open_aircraft("sedge")
    rolls = []
    for elevation in (0.0, 5000.0):
        trainer = Trainer(aircraft, msgspec.structs.replace(STILL, field_elevation_ft=elevation))
        while trainer.on_ground:
            trainer.step()
        rolls.append(trainer.along_m)
    assert trainer.sigma == pytest.approx(0.8617, abs=0.0005)
    assert rolls[1] / rolls[0] > 1.0 / 0.8617


def test_rate_of_climb_is_excess_thrust() -> None:
    """Steady climb equals speed x (thrust - drag) / weight (textbook; FAA-H-8083-25C ch. 11: excess power)."""
    aircraft = open_aircraft("sedge")
    trainer = Trainer(aircraft, STILL)
    while trainer.height_ft < 400.0:
        trainer.step()
    lift, coefficient = trainer.frame.lift(trainer.calibrated_kt, trainer.pitch_rad - trainer.gamma_rad, 0.0)
    drag = trainer.frame.drag(trainer.calibrated_kt, coefficient, 0.0, trainer.height_m)
    thrust = trainer.frame.thrust(trainer.calibrated_kt, trainer.engine.power, trainer.sigma)
    book_fpm = trainer.airspeed_m_s * (thrust - drag) / FT * 60.0
    assert trainer.climb_fpm == pytest.approx(book_fpm, rel=0.05)
    assert lift == pytest.approx(math.cos(trainer.gamma_rad), abs=0.03)


def test_lift_carries_the_weight_at_the_stalling_speed(aircraft: Aircraft) -> None:
    """At VS1 and the greatest lift coefficient lift equals weight: its definition (14 CFR 1.2)."""
    frame = build_airframe(aircraft)
    lift, coefficient = frame.lift(frame.stall_kt, 1.0, 0.0)
    assert coefficient == CL_MAX and lift == pytest.approx(1.0)


def test_best_glide_is_the_speed_of_least_drag(aircraft: Aircraft) -> None:
    """The drag polar has its least drag at the profile's best glide (textbook: best lift over drag)."""
    frame = build_airframe(aircraft)

    def drag_at(speed_kt: float) -> float:
        coefficient = CL_MAX * (frame.stall_kt / speed_kt) ** 2
        return frame.drag(speed_kt, coefficient, 0.0, 1000.0)

    speeds = [frame.glide_kt + step * 0.5 for step in range(-20, 21)]
    assert min(speeds, key=drag_at) == pytest.approx(frame.glide_kt, abs=0.6)


def test_ground_effect_fades_with_height() -> None:
    """Induced drag falls by 47.6, 23.5, 1.4 % at 1/10, 1/4, 1 span (FAA-H-8083-25C chapter 5; from memory)."""
    for share, relief in ((0.1, 0.476), (0.25, 0.235), (1.0, 0.014)):
        assert 1.0 - ground_effect(share * SPAN_M - WING_HEIGHT_M) == pytest.approx(relief, abs=0.015)


@pytest.mark.parametrize("kind", DEMO_FAULTS)
def test_demo_faults_show_on_their_gauge(aircraft: Aircraft, kind: str) -> None:
    """Each fault of the demo passes its limit, and nothing else does before it."""
    moments = flown(
        aircraft, msgspec.structs.replace(demo_scenario(kind, rotate_kt=aircraft.speeds_kias.rotate), max_s=70.0)
    )
    settled = first(moments, "throttle", 1.0)["time_s"] + 2.0
    after = [moment for moment in moments if moment["time_s"] > settled]
    assert aircraft.rpm_takeoff_min is not None
    if kind == "rpm":
        assert all(moment["rpm"] < aircraft.rpm_takeoff_min for moment in after[:100])
    elif kind == "oil":
        least = aircraft.instruments["oil_pressure_psi"].min
        assert least is not None and min(moment["oil_pressure_psi"] for moment in after) < least
    elif kind == "airspeed":
        assert all(moment["ias_kt"] == 0.0 for moment in moments)
        assert max(moment["groundspeed_kt"] for moment in moments) > 50.0
    else:
        off = next(moment for moment in moments if moment["rpm"] < 1400.0 and moment["time_s"] > settled)
        assert off["on_ground"] == 0.0 and off["height_ft"] > 400.0


def test_engine_out_pilot_lands_ahead(aircraft: Aircraft) -> None:
    """With the engine stopped at 420 ft the pilot keeps straight, keeps flying speed, lands softly and stops."""
    scenario = demo_scenario("engine")
    moments = flown(aircraft, scenario)
    after = [moment for moment in moments if moment["rpm"] < 1400.0 and moment["time_s"] > 20.0]
    flying = [moment for moment in after if moment["on_ground"] == 0.0 and moment["height_ft"] > 30.0]
    stall = aircraft.speeds_kias.stall_clean
    assert stall is not None and min(moment["ias_kt"] for moment in flying) > 1.1 * stall
    assert max(abs(moment["bank_deg"]) for moment in flying) < 5.0
    touchdown = next(i for i, moment in enumerate(after) if moment["on_ground"] == 1.0)
    assert after[touchdown - 1]["vertical_speed_fpm"] > -400.0
    assert moments[-1]["groundspeed_kt"] < 0.2


def test_an_unknown_fault_is_refused() -> None:
    """A misspelt fault is told, not flown as a clean flight."""
    with pytest.raises(ValueError, match="wanted one of"):
        Fault("fire")


def test_step_size_changes_the_flight_little() -> None:
    """Half the inner step gives the same lift-off within 0.05 s and 0.3 kt: the integration has converged."""
    aircraft = open_aircraft("sedge")
    offs = []
    for dt in (0.0125, 0.00625):
        trainer = Trainer(aircraft, STILL)
        while trainer.on_ground:
            trainer.step(dt)
        offs.append((trainer.t_s, trainer.calibrated_kt))
    assert offs[0][0] == pytest.approx(offs[1][0], abs=0.05)
    assert offs[0][1] == pytest.approx(offs[1][1], abs=0.3)


@pytest.mark.parametrize(
    ("speeds", "more"),
    [
        ((52.0, 55.0, 72.0), {}),
        ((35.0, 38.0, 55.0), {"gear": "tailwheel", "pitch_target_deg": 11.0, "pitch_max_deg": 14.0}),
        ((75.0, 82.0, 105.0), {"propeller": "constant-speed"}),
        ((60.0, 63.0, 79.0), {"takeoff_flaps_deg": 25.0}),
        ((48.0, 60.0, 65.0), {"pitch_target_deg": 5.0, "pitch_max_deg": 8.0}),
    ],
)
def test_any_profile_flies(speeds: tuple[float, float, float], more: dict[str, Any]) -> None:
    """A profile of three speeds and nothing else, and odd ones: off the ground, up, at VY within +10/-5 kt."""
    aircraft = Aircraft("odd", Speeds(*speeds), **more)
    moments = anew(aircraft, Scenario())
    climb = [moment["ias_kt"] for moment in moments if moment["height_ft"] > 250.0]
    assert moments[-1]["height_ft"] >= 1080.0
    assert speeds[2] - 5.0 < min(climb) and max(climb) < speeds[2] + 10.0
