"""Found by other hands' flights and slow recordings: wrong calls where an instrument, a clock or a hand is slow."""

from __future__ import annotations

import numpy as np
import pytest
from msgspec.structs import replace

from monitor.aircraft import Band
from monitor.capabilities import checks_off
from monitor.options import Options
from monitor.position import PositionSpeed
from tests.synthetic import (
    FIXED,
    GOVERNED,
    Flight,
    Flown,
    Points,
    changed,
    fly,
    governed,
    position_lines,
    procedure,
    rejected,
    step,
    takeoff,
)  # fmt: skip

SPARSE = (
    "ias_kt", "groundspeed_kt", "altitude_ft", "vertical_speed_fpm", "pitch_deg", "bank_deg", "heading_deg", "rpm",
)  # fmt: skip
"""What a recording without lever and switch holds."""


def _after(flown: Flown, t: float) -> list[tuple[str, str | None]]:
    return [(event.id, event.say) for event in flown.spoken if event.t_s is not None and event.t_s > t]


# ---- power -----------------------------------------------------------------------------------------------------------


def test_an_engine_at_idle_runs_down_without_a_warning() -> None:
    """The throttle is closed just off the ground; as the aeroplane slows, rpm falls on: no engine failure."""
    lever: Points = ((10.0, 0.0), (12.0, 1.0), (30.0, 1.0), (30.5, 0.0))
    speed: Points = ((11.0, 0.0), (25.0, 56.0), (30.0, 66.0), (40.0, 46.0))
    idle: Points = ((30.0, 2350.0), (33.0, 1300.0), (36.0, 650.0))
    flight = takeoff(throttle=lever, ias_kt=speed, groundspeed_kt=speed, height_ft=((25.0, 0.0), (27.0, 1.0)))
    flown = fly(flight.with_(altitude_ft=400.0, vertical_speed_fpm=0.0).bend("rpm", 30.0, 200.0, idle).between(0, 40))
    assert flown.warnings == []


@pytest.mark.parametrize("rate_hz", [1.0, 2.0, 20.0])
@pytest.mark.parametrize("phase", [0.0, 0.13, 0.29, 0.41])
@pytest.mark.parametrize("idle_s", [1.0, 2.0])
def test_without_a_lever_a_rejection_is_no_engine_failure(rate_hz: float, phase: float, idle_s: float) -> None:
    """Rpm to idle in one or two seconds, at whatever moment the samples catch it: the pilot's hand."""
    flight = rejected(20.0, rate_hz).bend("rpm", 20.0, 200.0, ((20.0, 2350.0), (20.0 + idle_s, 850.0)))
    assert fly(flight.only(*SPARSE).between(phase, 50.0)).warnings == []


@pytest.mark.parametrize("rate_hz", [1.0, 0.5])
@pytest.mark.parametrize("wild", [1000.0, 1500.0, 1900.0])
@pytest.mark.parametrize("at_s", [20.0, 60.0])
def test_without_a_lever_one_damaged_rpm_is_no_engine_failure(rate_hz: float, wild: float, at_s: float) -> None:
    """A single low value of slow data, on the roll or in the climb, brings nothing."""
    flight = takeoff(rate_hz).only(*SPARSE).bend("rpm", at_s, at_s + 0.5, wild)
    assert fly(flight.between(0.0, 100.0)).warnings == []


@pytest.mark.parametrize("stuck_kt", [24.0, 44.0])
def test_a_stuck_airspeed_without_groundspeed_is_no_engine_failure(stuck_kt: float) -> None:
    """The engine is well and nothing tells the speed over the ground: no abort."""
    at_s = 11.0 + stuck_kt / 4.0
    flight = takeoff().without("groundspeed_kt", "track_deg").bend("ias_kt", at_s, 200.0, stuck_kt)
    assert fly(flight.between(0.0, 40.0)).warnings == []


def test_low_manifold_pressure_does_not_wait_for_the_governor() -> None:
    """Rpm still rises to its governed value; 5 inHg too little from 14 s is called a second after power is judged."""
    rising: Points = ((10.0, 700.0), (12.0, 2400.0), (24.0, 2590.0))
    pressure: Points = ((10.0, 12.0), (12.0, 28.5), (14.0, 28.5), (14.2, 23.0))
    flown = fly(governed(rpm=rising, manifold_pressure_inhg=pressure).between(0.0, 24.0), GOVERNED)
    assert flown.warnings == [("abort", "manifold-pressure-low")]
    assert flown.t("warning", "abort") == pytest.approx(16.0, abs=0.4)


@pytest.mark.parametrize(
    ("rpm", "told"),
    [
        (1400.0, ("power-loss", "power-loss")),  # called an engine failure on the roll: what takes off has not stopped
        (2100.0, ("power-loss", "power-loss")),
    ],
)
def test_who_flies_on_with_lost_power_is_told_of_it_aloft(rpm: float, told: tuple[str, str]) -> None:
    """The abort at 18 s is ignored: after lift-off the loss is told once, and the calls of the climb come."""
    flown = fly(takeoff().bend("rpm", 18.0, 200.0, rpm))
    assert flown.ids("warning")[0] == "abort"
    assert flown.warnings[1:] == [told]
    assert flown.said("turn") == "Turn altitude. Look first"


@pytest.mark.parametrize("failed_s", [24.0, 24.6])
def test_who_leaves_the_ground_on_momentum_is_told_to_land_ahead(failed_s: float) -> None:
    """Dead in the last second of the roll, off at 25 s all the same, to 20 ft, losing 1.3 kt/s: "Land ahead", and no
    word of a return."""
    speed_kt = 4.0 * (failed_s - 11.0)
    speed: Points = ((11.0, 0.0), (failed_s, speed_kt), (failed_s + 10.0, speed_kt - 13.0))
    height: Points = ((25.0, 0.0), (29.0, 20.0), (33.0, 0.0))
    rpm = ((10.0, 700.0), (12.0, 2350.0), (failed_s, 2350.0), (failed_s + 0.4, 900.0))
    flight = takeoff(
        ias_kt=speed, groundspeed_kt=speed, rpm=rpm,
        height_ft=height, altitude_ft=tuple((t, 400.0 + h) for t, h in height),
        vertical_speed_fpm=((25.0, 0.0), (25.5, 300.0), (28.5, 300.0), (29.0, -300.0)),
    )  # fmt: skip
    flown = fly(flight.between(5.0, 33.0))
    assert flown.warnings == [("abort", "engine-failure"), ("engine-failure", "engine-failure")]
    assert flown.one("warning", "engine-failure").say == "Land ahead"


def test_power_that_is_back_is_not_told_of_aloft() -> None:
    """The engine coughs on the roll, an abort is called, and it runs on as before: nothing after lift-off."""
    assert fly(takeoff().bend("rpm", 18.0, 20.0, 1400.0)).warnings == [("abort", "engine-failure")]


@pytest.mark.parametrize("from_s", [23.2, 24.2])
def test_a_loss_near_lift_off_is_told_by_one_name(from_s: float) -> None:
    """Manifold pressure low and lower than before are one trouble: one warning after lift-off."""
    flight = governed().bend("manifold_pressure_inhg", from_s, 200.0, 24.5)
    told = [id_ for id_, _ in fly(flight, GOVERNED).warnings if id_ != "abort"]
    assert told == ["power-loss"]


# ---- the glide, and after it -----------------------------------------------------------------------------------------


def test_with_the_throttle_closed_after_a_failure_the_glide_is_watched_to_the_ground() -> None:
    """Dead at 700 ft, the lever pulled back: the climb is over, and a steep bank and 1.1 VS1 still draw a word."""
    slow: Points = ((11.0, 0.0), (25.0, 56.0), (39.0, 70.0), (100.0, 70.0), (110.0, 42.0))
    height: Points = ((25.0, 0.0), (84.0, 708.0), (130.0, 200.0))
    flown = fly(
        takeoff(
            throttle=((10.0, 0.0), (12.0, 1.0), (86.0, 1.0), (86.5, 0.0)), ias_kt=slow, groundspeed_kt=slow,
            height_ft=height, altitude_ft=tuple((t, 400.0 + h) for t, h in height),
            vertical_speed_fpm=((25.0, 0.0), (25.01, 720.0), (84.0, 720.0), (84.5, -660.0)),
            bank_deg=((95.0, 0.0), (96.0, 40.0)),
        ).bend("rpm", 84.0, 200.0, 900.0)
    )  # fmt: skip
    assert flown.phases[-2:] == ["climb", "airborne"]
    assert _after(flown, 92.0) == [("bank", "Bank"), ("speed-low", "Speed, nose down")]


def test_a_dead_engine_makes_no_touch_and_go() -> None:
    """Back on the wheels at once with the lever still open: no second takeoff and no "Rotate"."""
    speed: Points = ((11.0, 0.0), (25.0, 56.0), (27.5, 64.0), (45.0, 46.0))
    flight = takeoff(ias_kt=speed, groundspeed_kt=speed, height_ft=0.0, altitude_ft=400.0, vertical_speed_fpm=0.0)
    flown = fly(flight.bend("on_ground", 27.6, 200.0, 1.0).bend("rpm", 27.2, 200.0, 900.0).between(0.0, 45.0))
    assert flown.warnings == [("engine-failure", "engine-failure")]
    assert "takeoff-roll" not in flown.phases[flown.phases.index("initial-climb") :]
    assert {event.takeoff for event in flown.events} <= {None, 1}


# ---- airspeed --------------------------------------------------------------------------------------------------------


def test_an_airspeed_that_dies_without_groundspeed_is_no_rejection() -> None:
    """From 32 kt to nothing at once, the engine well: "Check airspeed", and the takeoff goes on with what is known."""
    flown = fly(takeoff().without("groundspeed_kt", "track_deg").bend("ias_kt", 19.0, 200.0, 0.0))
    assert flown.warnings == []
    assert flown.one("caution", "airspeed").say == "Check airspeed"
    assert "rejected-takeoff" not in flown.phases
    assert flown.said("turn") == "Turn altitude. Look first"


def test_an_airspeed_stuck_at_vr_is_told_after_lift_off() -> None:
    """52 kt from VR on while the groundspeed rises by 20: "Airspeed dead", and no word about speed after it."""
    speed: Points = ((11.0, 0.0), (25.0, 56.0), (33.0, 76.0))
    flown = fly(takeoff(groundspeed_kt=speed).bend("ias_kt", 24.0, 200.0, 52.0))
    assert flown.warnings == [("airspeed-not-alive", "airspeed-not-alive")]
    told = flown.t("warning", "airspeed-not-alive")
    assert told < 34.0
    assert not {"speed-low", "climb-slow"} & {id_ for id_, _ in _after(flown, told)}


@pytest.mark.parametrize("held_kt", [70.0, 66.0])
def test_a_climb_speed_held_in_a_lull_is_no_stuck_needle(held_kt: float) -> None:
    """The headwind dies by 16 kt while the climb speed is held to the knot: no warning."""
    ground: Points = ((11.0, 0.0), (25.0, 40.0), (30.0, 50.0), (40.0, 66.0))
    ias: Points = ((11.0, 16.0), (25.0, 56.0), (28.0, held_kt))
    assert fly(takeoff(ias_kt=ias, groundspeed_kt=ground)).warnings == []


def test_a_turn_downwind_soon_after_lift_off_is_no_stuck_needle() -> None:
    """60 kt held, short of the climb speed, while the groundspeed rises by 24 in a turn: no warning."""
    ground: Points = ((11.0, 0.0), (25.0, 44.0), (28.0, 46.0), (40.0, 70.0))
    ias: Points = ((11.0, 12.0), (25.0, 56.0), (27.0, 60.0))
    turning: Points = ((27.0, 80.0), (40.0, 200.0))
    flight = takeoff(ias_kt=ias, groundspeed_kt=ground, heading_deg=turning, track_deg=turning)
    assert fly(flight).warnings == []


# ---- heights ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("off_ft", [-300.0, 400.0])
def test_a_field_elevation_far_from_the_altimeter_is_not_believed(off_ft: float) -> None:
    """Heights are those above where it stood, and the line-up says to check the altimeter."""
    flown = fly(takeoff().without("height_ft"), options=Options(field_elevation_ft=400.0 + off_ft))
    assert flown.t("callout", "turn") == pytest.approx(25.0 + 500.0 / 12.0, abs=0.1)
    assert flown.one("check", "line-up.altimeter").say == "Check altimeter"


def test_a_field_elevation_near_the_altimeter_is_believed() -> None:
    """40 ft off is an altimeter within its limits: the heights are above the elevation given."""
    flown = fly(takeoff().without("height_ft"), options=Options(field_elevation_ft=440.0))
    assert flown.t("callout", "turn") == pytest.approx(25.0 + 540.0 / 12.0, abs=0.1)
    assert flown.one("check", "line-up.altimeter").say is None


def test_a_wind_at_rest_makes_the_altimeter_sag_as_the_roll_does() -> None:
    """It reads 32 ft low at 56 kt and so 2.9 ft low in 17 kt of wind: 500 ft is told where it is, not 3 ft early."""

    def altitude(height: Points, ias: Points) -> Points:
        times = np.arange(0.0, 116.0, 0.05)
        high = np.interp(times, *zip(*height, strict=True))
        speed = np.interp(times, *zip(*ias, strict=True))
        sag = np.where(high > 1.0, 0.0, 32.0 * (speed / 56.0) ** 2)
        return tuple(zip(times.tolist(), (400.0 + high - sag).tolist(), strict=True))

    ias: Points = ((11.0, 17.0), (25.0, 56.0), (39.0, 70.0))
    ground: Points = ((11.0, 0.0), (25.0, 39.0), (39.0, 53.0))
    height: Points = ((25.0, 0.0), (125.0, 1200.0))
    flight = takeoff(ias_kt=ias, groundspeed_kt=ground, altitude_ft=altitude(height, ias)).without("height_ft")
    assert fly(flight).t("callout", "turn") == pytest.approx(25.0 + 500.0 / 12.0, abs=0.05)


LAGGING: Points = tuple((t, 600.0 * 2.0 ** (-(t - 60.0) / 4.2)) for t in np.arange(60.0, 90.0, 0.25).tolist())


def _levels_off(rate_hz: float) -> Flight:
    """Level at 420 ft from 60 s on, with a vertical speed that lags by 6 s."""
    vertical: Points = ((25.0, 0.0), (30.0, 600.0), *LAGGING)
    height: Points = ((25.0, 0.0), (60.0, 420.0), (61.0, 424.0))
    altitude = tuple((t, 400.0 + h) for t, h in height)
    return takeoff(rate_hz, altitude_ft=altitude, vertical_speed_fpm=vertical).without("height_ft", "throttle")


@pytest.mark.parametrize("rate_hz", [20.0, 1.0])
def test_a_vertical_speed_that_lags_at_the_level_off_takes_no_altitude_away(rate_hz: float) -> None:
    """What an instrument shows late is no climb: altitude stays believed."""
    assert fly(_levels_off(rate_hz)).all("feed", "channel-lost") == []


def test_an_altitude_that_moves_again_is_believed_again() -> None:
    """It sticks at 50 s in the climb, is set aside, and comes free at 62: the 500 ft call comes where it is due."""
    stuck = takeoff().without("height_ft").bend("altitude_ft", 50.0, 62.0, 700.0)
    flown = fly(stuck)
    assert [event.more["channel"] for event in flown.all("feed", "channel-lost")] == ["altitude_ft"]
    assert [event.more["channel"] for event in flown.all("feed", "channel-back")] == ["altitude_ft"]
    assert flown.t("callout", "turn") == pytest.approx(25.0 + 500.0 / 12.0, abs=0.3)


@pytest.mark.parametrize("rate_hz", [1.0, 5.0])
def test_a_clock_that_skips_in_the_climb_takes_no_altitude_away(rate_hz: float) -> None:
    """Four seconds are missing from the clock, no sample is: no climb was missed either."""
    slow: Points = ((25.0, 0.0), (115.0, 720.0))
    flight = takeoff(rate_hz, altitude_ft=tuple((t, 400.0 + h) for t, h in slow), height_ft=None)
    samples = flight.with_(vertical_speed_fpm=step(25.0, 0.0, 480.0)).samples()
    late = [s if s.time_s is None or s.time_s < 60.0 else replace(s, time_s=s.time_s + 4.0) for s in samples]
    assert fly(late).all("feed", "channel-lost") == []


def test_where_the_altitude_alone_tells_the_climb_a_stuck_one_is_no_lost_power() -> None:
    """No vertical speed, no height above ground; altitude stands with the noise of its sensor: no warning."""
    chance = np.random.default_rng(5)
    flight = governed().without("height_ft", "vertical_speed_fpm").bend("altitude_ft", 80.0, 200.0, 1060.0)
    samples = [
        replace(s, altitude_ft=(s.altitude_ft or 0.0) + float(chance.normal(0.0, 1.5))) for s in flight.samples()
    ]
    assert fly(samples, GOVERNED).warnings == []


@pytest.mark.parametrize("rate_hz", [1.0, 2.0])
def test_a_loss_that_a_governor_hides_is_told_from_slow_data(rate_hz: float) -> None:
    """Climb from 720 to 150 ft/min at 80 s, gauges and climb speed as before: "Power" within 12 s."""
    height: Points = ((25.0, 0.0), (80.0, 660.0), (140.0, 810.0))
    flight = governed(
        rate_hz, height_ft=height, altitude_ft=tuple((t, 400.0 + h) for t, h in height),
        vertical_speed_fpm=((25.0, 0.0), (26.0, 720.0), (80.0, 720.0), (81.0, 150.0)),
        pitch_deg=((23.7, 0.0), (26.7, 9.0), (80.0, 9.0), (81.0, 4.4)),
    )  # fmt: skip
    flown = fly(flight.between(0.0, 100.0), GOVERNED)
    assert flown.warnings == [("power-loss", "power-loss")]
    assert flown.t("warning", "power-loss") == pytest.approx(87.0, abs=5.0)


# ---- a rejection that the altimeter hides, and a flight that looks like a roll ---------------------------------------


@pytest.mark.parametrize("rate_hz", [1.0, 20.0])
def test_a_rejection_is_seen_though_the_altitude_rises_as_it_slows(rate_hz: float) -> None:
    """Altitude sagged by 25 ft comes back below flying speed: the takeoff is rejected, not off the ground."""
    sag: Points = tuple((t, 400.0 - 25.0 * (4.0 * (t - 11.0) / 50.0) ** 2) for t in np.arange(11.0, 21.5, 0.5).tolist())
    back: Points = tuple(
        (20.5 + s, 400.0 - 25.0 * ((36.0 - 6.0 * s) / 50.0) ** 2) for s in np.arange(0.5, 6.5, 0.5).tolist()
    )
    vertical: Points = ((11.0, 0.0), (20.5, -100.0), (21.0, 200.0), (25.0, 120.0), (27.0, 0.0))
    flight = rejected(20.0, rate_hz, altitude_ft=sag + back, vertical_speed_fpm=vertical).only(*SPARSE)
    assert "rejected-takeoff" in fly(flight).phases


def test_nobody_is_told_to_rotate_while_climbing() -> None:
    """A roll told by mistake: 500 ft/min of climb through VR, and the word stays away."""
    flight = takeoff(vertical_speed_fpm=step(21.0, 0.0, 500.0), on_ground=1.0, height_ft=0.0, pitch_deg=0.0)
    assert fly(flight.between(0.0, 24.9)).all("callout", "rotate") == []


def test_a_nose_lowered_in_ground_effect_has_been_up() -> None:
    """Rotated at VR, and down to level at 4 ft until the climb speed: no "Rotate" for being late."""
    nose: Points = ((23.7, 0.0), (25.0, 6.0), (26.5, 6.0), (27.5, 0.5), (34.0, 0.5), (36.0, 8.0))
    height: Points = ((25.0, 0.0), (26.0, 4.0), (34.0, 4.0), (90.0, 700.0))
    flight = takeoff(1.0, pitch_deg=nose, altitude_ft=tuple((t, 400.0 + h) for t, h in height), vertical_speed_fpm=0.0)
    assert fly(flight.only(*SPARSE).between(0.0, 34.0)).ids("advisory") == []


# ---- remarks ---------------------------------------------------------------------------------------------------------


def test_less_power_is_no_reason_to_lean_again() -> None:
    """Above the lean height, at the level-off, EGT falls by 80 degrees with the power: no "Mixture"."""
    heights: Points = ((25.0, 0.0), (109.0, 1008.0), (112.0, 1015.0))
    flight = takeoff(
        egt_degf=((12.0, 1300.0), (109.0, 1320.0), (114.0, 1240.0)),
        throttle=((10.0, 0.0), (12.0, 1.0), (109.0, 1.0), (111.0, 0.7)), height_ft=heights,
        altitude_ft=tuple((t, 4000.0 + h) for t, h in heights),
        vertical_speed_fpm=((25.0, 0.0), (25.01, 720.0), (109.0, 720.0), (112.0, 0.0)),
    )  # fmt: skip
    assert fly(flight, using=changed(re_lean_every_ft=500.0)).all("advisory", "re-lean") == []


def test_a_track_counted_from_true_north_is_no_drift() -> None:
    """The heading is magnetic and the track 12 degrees more from the roll on: nothing; 12 more aloft: drift."""
    assert fly(takeoff(track_deg=92.0)).ids("advisory", "caution") == []
    drifting = takeoff(track_deg=((27.0, 92.0), (29.0, 104.0)))
    assert "drift" in fly(drifting).ids("advisory", "caution")


def test_one_gust_does_not_begin_the_remarks_on_climb_speed() -> None:
    """A gust lifts the airspeed to VY for a second, long before the aeroplane is there: no "Nose down"."""
    speed: Points = ((11.0, 0.0), (25.0, 56.0), (29.0, 58.0), (29.2, 68.0), (30.0, 68.0), (30.2, 58.0), (38.0, 58.0))
    flown = fly(takeoff(ias_kt=speed, groundspeed_kt=speed).between(0.0, 38.0))
    assert flown.ids("advisory") == []


def test_what_waited_in_the_climb_is_over_when_the_climb_is() -> None:
    """The flaps are run out for landing after the level-off: "Flaps" is not said 15 s later."""
    height: Points = ((25.0, 0.0), (70.0, 540.0), (74.0, 545.0))
    speed: Points = ((11.0, 0.0), (25.0, 56.0), (39.0, 70.0), (70.0, 70.0), (76.0, 82.0))
    flight = takeoff(
        height_ft=height, altitude_ft=tuple((t, 400.0 + h) for t, h in height), ias_kt=speed, groundspeed_kt=speed,
        vertical_speed_fpm=((25.0, 0.0), (25.01, 720.0), (70.0, 720.0), (74.0, 0.0)),
        throttle=((10.0, 0.0), (12.0, 1.0), (74.0, 1.0), (75.0, 0.6)), flaps_deg=((86.0, 0.0), (88.0, 20.0)),
    )  # fmt: skip
    flown = fly(flight)
    assert flown.phases[-1] == "airborne"
    assert flown.all("advisory", "late-flaps") == []


@pytest.mark.parametrize("lead_s", [5.0, 7.0])
def test_the_circuits_checks_sound_though_the_level_off_is_known_late(lead_s: float) -> None:
    """Levelled off softly from 1,000 ft/min: the climb fell off 15 s before it is plain, and the word comes."""
    top_s, height, vertical = 25.0 + 54.0, [(25.0, 0.0), (79.0, 900.0)], [(25.0, 0.0), (25.01, 1000.0), (79.0, 1000.0)]
    for t in np.arange(0.5, 36.0, 0.5).tolist():
        climb = 1000.0 * float(np.exp(-t / lead_s))
        vertical.append((top_s + t, climb))
        height.append((top_s + t, height[-1][1] + climb / 120.0))
    speed: Points = ((11.0, 0.0), (25.0, 56.0), (39.0, 70.0), (80.0, 70.0), (100.0, 88.0))
    flight = takeoff(
        height_ft=tuple(height), altitude_ft=tuple((t, 400.0 + h) for t, h in height), ias_kt=speed,
        groundspeed_kt=speed, vertical_speed_fpm=tuple(vertical),
    )  # fmt: skip
    flown = fly(flight, using=changed(departure="circuit"))
    assert flown.said("after-takeoff") == "After-takeoff checks"


# ---- what the profile leaves out -------------------------------------------------------------------------------------


def _with(**bands: Band) -> object:
    return replace(FIXED, instruments={**FIXED.instruments, **bands})


@pytest.mark.parametrize(
    ("band", "value", "told"),
    [
        (Band(green=(4.5, 5.5)), 2.0, ["suction"]),
        (Band(green=(4.5, 5.5)), 5.0, []),
        (Band(green=(4.5, 5.5), min=3.0), 4.0, []),  # between the green arc and a red line nothing is marked
        (Band(green=(4.5, 5.5), caution=(3.0, 4.5), min=3.0), 4.0, ["suction"]),
        (Band(green=(4.5, 5.5), caution=(3.0, 4.5), min=3.0), 2.0, ["suction-low"]),
    ],
)
def test_a_gauge_marked_by_arcs_is_watched_by_them(band: Band, value: float, told: list[str]) -> None:
    """Where no red line is marked the green arc's end counts, and a caution arc always does."""
    flight = takeoff(suction_inhg=5.0).bend("suction_inhg", 80.0, 200.0, value)
    assert fly(flight, _with(suction_inhg=band)).ids("caution") == told  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("channel", "green", "value"),
    [
        ("cht_degf", (200.0, 435.0), 150.0),
        ("egt_degf", (1200.0, 1450.0), 900.0),
        ("fuel_flow_gph", (5.0, 9.0), 14.0),
        ("ammeter_a", (-2.0, 10.0), 25.0),
    ],
)
def test_what_is_ordinary_at_takeoff_power_is_not_remarked_on(
    channel: str, green: tuple[float, float], value: float
) -> None:
    """A cold cylinder, a cool exhaust, a flow or a charge beyond the arc: nothing where only green is marked."""
    aircraft = _with(**{channel: Band(green=green)})
    assert fly(takeoff(**{channel: value}), aircraft).ids("caution") == []  # type: ignore[arg-type]


def test_a_stop_is_judged_by_a_usual_one_where_the_profile_gives_none() -> None:
    """84.4 ft/s for 1.5 s and 0.25 g from there are 569 ft (v t + v^2 / 2a, by hand), and that is said."""
    bare = replace(FIXED, stop_from_rotate_ft=None)
    assert bare.stop_ft == pytest.approx(569.0, abs=1.0)
    off = dict(checks_off(bare, procedure(), Options(runway_length_ft=900.0), frozenset({"ias_kt"})))
    assert "this aeroplane's own stop from VR (569 ft are taken)" in off
    lost = takeoff().bend("oil_pressure_psi", 18.0, 200.0, 5.0).between(0.0, 22.9)
    assert fly(lost, bare, Options(runway_length_ft=1200.0)).warnings == [("abort", "oil-pressure-low")]
    assert fly(lost, bare, Options(runway_length_ft=500.0)).ids("warning") == []


def test_what_a_bare_profile_switches_off_is_said() -> None:
    """No red line, stall, VX, flap speed or least oil pressure: each is named."""
    speeds = replace(FIXED.speeds_kias, stall_clean=None, best_angle=None, flaps_extended_max=None)
    oil = {"oil_pressure_psi": Band(green=(55.0, 95.0))}
    bare = replace(FIXED, rpm_red_line=None, speeds_kias=speeds, instruments=oil)
    off = {check for check, _ in checks_off(bare, procedure(), Options(), frozenset({"ias_kt"}))}
    wanted = {"rpm too high", "close to the stall", "slower than VX", "flaps out too fast"}
    assert wanted | {"oil pressure too low to go on"} <= off


# ---- a speed made of positions ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("skip_s", [1.0, 4.0])
@pytest.mark.parametrize("at_s", [18.0, 22.0, 26.0, 30.0])
def test_a_clock_that_skips_is_no_braking(skip_s: float, at_s: float) -> None:
    """At 1 Hz with positions only, seconds missing from the clock are neither a rejection nor a dead airspeed."""
    latitude, longitude = position_lines()
    flight = takeoff(1.0, latitude_deg=latitude, longitude_deg=longitude).without("groundspeed_kt", "track_deg")
    samples = flight.samples()
    late = [s if s.time_s is None or s.time_s < at_s else replace(s, time_s=s.time_s + skip_s) for s in samples]
    flown = fly(late)
    assert flown.warnings == []
    assert "rejected-takeoff" not in flown.phases and len(flown.all("phase", "takeoff-roll")) == 1


def test_two_steps_that_agree_are_the_aeroplanes_own() -> None:
    """Braking at 0.4 g is followed after one doubted second."""
    made, metres, speed_kt = PositionSpeed(), 0.0, 50.0
    for n in range(12):
        made.update(float(n), 47.0 + metres / 111_320.0, 8.0)
        if n >= 6:
            speed_kt = max(speed_kt - 7.8, 0.0)
        metres += speed_kt * 0.514444
    assert made.speed_kt is not None and made.speed_kt < 20.0
