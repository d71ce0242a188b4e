"""The phases: each begins when it should, on every kind of takeoff and on what only looks like one.

Words are those of the CAST/ICAO Common Taxonomy Team's phase-of-flight definitions (1.3) where they fit. What is no
takeoff (run-up, fast taxi, a burst of power) and what is (rolling, stop-and-go, touch-and-go): as on recorded flights.
"""

from __future__ import annotations

from math import pi, sin

import pytest

from monitor.options import Options
from monitor.phases import IN_THE_CLIMB, ON_THE_ROLL, PHASES, TABLE, TAKEOFF_PHASES, ImpossibleChange, Phases
from tests.synthetic import (
    FIELD_FT,
    FIXED,
    Flight,
    Flown,
    Points,
    Value,
    changed,
    fly,
    joined,
    position_lines,
    rejected,
    step,
    takeoff,
    touch_and_go,
)

ON_THE_GROUND: dict[str, Value] = {
    "on_ground": 1.0, "height_ft": 0.0, "altitude_ft": FIELD_FT, "pitch_deg": 0.0, "vertical_speed_fpm": 0.0,
}  # fmt: skip
WHOLE = ["standing", "lined-up", "takeoff-roll", "rotation", "initial-climb", "climb"]


def _begins(flown: Flown, phase: str) -> float:
    return flown.t("phase", phase)


# ---- one plain takeoff -------------------------------------------------------------------------------------------


def test_the_phases_of_a_takeoff_and_when_each_begins() -> None:
    """Standing after 3 s, then line-up, roll, rotation at +2 degrees, lift-off, and the climb at 1,000 ft, each
    once."""
    flown = fly(takeoff())
    assert flown.phases == WHOLE
    assert _begins(flown, "standing") == pytest.approx(3.0, abs=0.01)
    assert 11.0 <= _begins(flown, "lined-up") <= 11.9
    assert 11.0 <= _begins(flown, "takeoff-roll") <= 11.5
    assert _begins(flown, "rotation") == pytest.approx(23.7 + 2.0 / 3.0, abs=1e-3)
    assert _begins(flown, "initial-climb") == pytest.approx(25.0, abs=0.026)
    assert _begins(flown, "climb") == pytest.approx(25.0 + 1000.0 / 12.0, abs=1e-3)


def test_takeoff_numbers() -> None:
    """Events outside a takeoff have no number, those within have it from line-up to the climb's end."""
    flown = fly(takeoff())
    for event in flown.events:
        inside = event.phase in TAKEOFF_PHASES
        assert event.takeoff == (1 if inside else None), event


PARTS = {
    "all": (),
    "no throttle": ("throttle",),
    "no throttle, no rpm": ("throttle", "rpm"),
    "no ground switch": ("on_ground",),
    "no groundspeed": ("groundspeed_kt",),
    "no groundspeed, no switch": ("groundspeed_kt", "on_ground"),
    "no pitch": ("pitch_deg",),
    "no height": ("height_ft",),
    "no altitude": ("altitude_ft",),
    "no height, no switch": ("height_ft", "on_ground"),
    "no vertical speed, no switch": ("vertical_speed_fpm", "on_ground"),
    "no heading": ("heading_deg", "track_deg"),
}


@pytest.mark.parametrize("rate_hz", [20.0, 5.0, 1.0])
@pytest.mark.parametrize("missing", sorted(PARTS))
def test_any_channels_at_any_rate_give_the_same_phases(missing: str, rate_hz: float) -> None:
    """What is missing or slow moves a phase's beginning by little; none is lost and none invented."""
    flown = fly(takeoff(rate_hz).without(*PARTS[missing]))
    assert [phase for phase in flown.phases if phase != "taxi"] == WHOLE
    tolerance = 0.5 / rate_hz + (0.42 if "on_ground" in PARTS[missing] else 0.03) + (0.6 if rate_hz < 2.0 else 0.0)
    assert _begins(flown, "initial-climb") == pytest.approx(25.0, abs=tolerance)
    assert _begins(flown, "climb") == pytest.approx(108.333, abs=0.05)
    rotated = 23.5 if "pitch_deg" in PARTS[missing] else 24.367
    assert _begins(flown, "rotation") == pytest.approx(rotated, abs=0.05 if rate_hz > 2 else 0.8)
    assert flown.warnings == []


@pytest.mark.parametrize("rate_hz", [20.0, 5.0, 1.0])
def test_position_alone_is_enough_for_the_phases(rate_hz: float) -> None:
    """With latitude and longitude on the ellipsoid and an altitude, and no other speed but these, the phases are
    there."""
    latitude, longitude = position_lines()
    flight = takeoff(rate_hz, latitude_deg=latitude, longitude_deg=longitude)
    flown = fly(flight.only("latitude_deg", "longitude_deg", "altitude_ft", "throttle", "rpm"))
    assert [p for p in flown.phases if p not in ("taxi", "rotation")] == [p for p in WHOLE if p != "rotation"]
    assert _begins(flown, "initial-climb") == pytest.approx(25.0, abs=0.4 if rate_hz > 1 else 1.5)
    assert flown.warnings == []


def test_airspeed_and_altitude_alone_are_enough() -> None:
    """The least a feed may send, airspeed and altitude: every phase is there."""
    flown = fly(takeoff().only("ias_kt", "altitude_ft"))
    assert [phase for phase in flown.phases if phase != "taxi"] == WHOLE
    assert _begins(flown, "initial-climb") == pytest.approx(25.0, abs=0.4)


def test_height_from_altitude_uses_the_fields_own() -> None:
    """Without a height channel 1,000 ft above the field is 1,400 ft of altitude on a field at 400 ft."""
    flown = fly(takeoff().without("height_ft"))
    event = flown.one("phase", "climb")
    assert event.t_s == pytest.approx(108.333, abs=0.02)
    assert event.height_ft == pytest.approx(1000.0, abs=0.5)


def test_the_given_field_elevation_is_used() -> None:
    """Told that the field is at 350 ft, height is above 350 ft: 1,000 ft comes 50 ft of climb earlier."""
    flown = fly(takeoff().without("height_ft"), options=Options(field_elevation_ft=350.0))
    assert _begins(flown, "climb") == pytest.approx(108.333 - 50.0 / 12.0, abs=0.02)


# ---- the climb's end ---------------------------------------------------------------------------------------------


def test_the_climb_begins_at_the_first_power_reduction_above_500_ft() -> None:
    """A tenth off the throttle at 600 ft begins the climb, at the moment the tenth is off."""
    flown = fly(takeoff(throttle=((10.0, 0.0), (12.0, 1.0), (75.0, 1.0), (76.0, 0.8))).between(5.0, 80.0))
    assert _begins(flown, "climb") == pytest.approx(75.5, abs=1e-3)


@pytest.mark.parametrize(("at_s", "to"), [(60.0, 0.8), (75.0, 0.91)])
def test_less_than_a_tenth_or_below_500_ft_does_not(at_s: float, to: float) -> None:
    """A reduction below 500 ft (a fault, not a phase), or of less than a tenth, does not end the initial climb at
    once."""
    lever = ((10.0, 0.0), (12.0, 1.0), (at_s, 1.0), (at_s + 0.5, to), (at_s + 3.0, to), (at_s + 3.5, 1.0))
    flown = fly(takeoff(throttle=lever).between(5.0, at_s + 6.0))
    assert flown.phases[-1] == "initial-climb"


def test_levelling_off_begins_the_climbs_end() -> None:
    """Level and faster at 840 ft: the climb begins there, and after it the aeroplane is `airborne`."""
    speed = ((11.0, 0.0), (25.0, 56.0), (39.0, 70.0), (95.0, 70.0), (105.0, 90.0))
    full = touch_and_go(throttle=((10.0, 0.0), (12.0, 1.0)), rpm=((10.0, 700.0), (12.0, 2350.0)), ias_kt=speed)
    flown = fly(full.with_(groundspeed_kt=speed).between(0.0, 118.0))
    assert flown.phases[-2:] == ["climb", "airborne"]
    assert _begins(flown, "climb") == pytest.approx(95.0, abs=0.1)


# ---- other takeoffs ----------------------------------------------------------------------------------------------


def test_a_rolling_takeoff() -> None:
    """Turned onto the runway at 12 kt and the throttle opened there: taxi, line-up, roll, all calls."""
    speed = ((5.0, 12.0), (11.0, 12.0), (22.0, 56.0), (36.0, 70.0))
    flight = takeoff(ias_kt=speed, groundspeed_kt=speed, pitch_deg=((20.0, 0.0), (24.0, 9.0)))
    flown = fly(flight.between(0.0, 40.0))
    assert flown.phases == ["taxi", "lined-up", "takeoff-roll", "rotation", "initial-climb"]
    assert 10.5 <= _begins(flown, "takeoff-roll") <= 12.0
    assert flown.said("rotate") == "Rotate"


def test_a_touch_and_go() -> None:
    """Touchdown, power again before the roll is over, and off: landing roll, then takeoff 2 with configuration to
    climb."""
    flown = fly(touch_and_go())
    landing = flown.phases.index("landing-roll")
    assert flown.phases[landing - 1] == "airborne"
    assert flown.phases[landing:] == ["landing-roll", "takeoff-roll", "rotation", "initial-climb"]
    assert _begins(flown, "landing-roll") == pytest.approx(193.0, abs=0.03)
    again = [event for event in flown.all("phase") if event.takeoff == 2]
    assert [event.id for event in again] == ["takeoff-roll", "rotation", "initial-climb"]
    assert again[0].t_s == pytest.approx(197.25, abs=1.0)
    assert again[2].t_s == pytest.approx(203.0, abs=0.03)
    assert flown.warnings == []


@pytest.mark.parametrize("missing", [("on_ground",), ("on_ground", "height_ft"), ("on_ground", "vertical_speed_fpm")])
def test_a_touch_and_go_without_a_ground_switch(missing: tuple[str, ...]) -> None:
    """The same without the switch: touchdown 1.1 s late at most, 2.5 without vertical speed; lift-off within 0.4 s."""
    flown = fly(touch_and_go().without(*missing).bend("on_ground", 0.0, 300.0, None))
    assert flown.phases[-4:] == ["landing-roll", "takeoff-roll", "rotation", "initial-climb"]
    late_s = 2.5 if "vertical_speed_fpm" in missing else 1.1
    assert -0.1 <= _begins(flown, "landing-roll") - 193.0 <= late_s
    again = [event for event in flown.all("phase", "initial-climb") if event.takeoff == 2]
    assert again[0].t_s == pytest.approx(203.0, abs=0.4)


@pytest.mark.parametrize(("rate_hz", "late_s"), [(2.0, 4.0), (1.0, 4.0), (0.5, 6.0)])
def test_a_full_stop_by_airspeed_and_a_sagging_altimeter_alone(rate_hz: float, late_s: float) -> None:
    """Down at 193 s and braked from 58 kt at 3.5 kt/s, with airspeed and an altitude that sags by 30 ft at 50 kt and
    comes back as it slows: a landing within 4 s, 6 at a sample in 2 s, which no climb of the altimeter hides."""
    speed: Points = ((11.0, 0.0), (25.0, 56.0), (39.0, 70.0), (170.0, 70.0), (193.0, 58.0), (207.3, 8.0))
    sag = tuple((193.0 + n, FIELD_FT - 30.0 * ((58.0 - 3.5 * n) / 50.0) ** 2) for n in range(1, 15))
    down: Points = ((25.0, FIELD_FT), (95.0, FIELD_FT + 840.0), (109.0, FIELD_FT + 840.0), (193.0, FIELD_FT), *sag)
    flight = touch_and_go(rate_hz, ias_kt=speed, altitude_ft=(*down, (215.0, FIELD_FT))).without(
        "groundspeed_kt", "track_deg", "height_ft", "vertical_speed_fpm", "pitch_deg", "throttle", "latitude_deg",
        "longitude_deg",
    )  # fmt: skip
    flown = fly(flight.bend("on_ground", 0.0, 300.0, None).between(0.0, 230.0))
    assert flown.ids("phase").count("landing-roll") == 1
    assert -0.5 <= _begins(flown, "landing-roll") - 193.0 <= late_s


@pytest.mark.parametrize("rate_hz", [5.0, 1.0, 0.5])
@pytest.mark.parametrize("unsent", [(), ("pitch_deg",), ("pitch_deg", "groundspeed_kt", "track_deg")])
def test_slow_flight_at_height_is_no_landing(rate_hz: float, unsent: tuple[str, ...]) -> None:
    """Level at 840 ft for 30 s at three quarters of VR, nose up, no ground switch: airborne all the time."""
    speed: Points = ((11.0, 0.0), (25.0, 56.0), (39.0, 70.0), (95.0, 70.0), (110.0, 38.0), (140.0, 38.0), (155.0, 70.0))
    height: Points = ((25.0, 0.0), (95.0, 840.0), (170.0, 840.0))
    flight = touch_and_go(
        rate_hz, ias_kt=speed, groundspeed_kt=speed, altitude_ft=tuple((t, FIELD_FT + h) for t, h in height),
        vertical_speed_fpm=((24.999, 0.0), (25.0, 720.0), (94.999, 720.0), (95.0, 0.0)),
        pitch_deg=((23.7, 0.0), (26.7, 9.0), (170.0, 9.0)),
    )  # fmt: skip
    flown = fly(flight.without("height_ft", *unsent).bend("on_ground", 0.0, 300.0, None).between(0.0, 170.0))
    assert flown.phases[-1] == "airborne"
    assert "landing-roll" not in flown.phases


@pytest.mark.parametrize("sag_ft", [0.0, 20.0, 40.0])
def test_a_touch_and_go_through_an_altimeter_that_recovers(sag_ft: float) -> None:
    """At a sample a second with vertical speed and no switch, the static source errs by up to 40 ft at 58 kt, on the
    wheels only, and both instruments show it go as the aeroplane slows: landing roll and second takeoff."""
    speed: Points = ((11.0, 0.0), (25.0, 56.0), (39.0, 70.0), (170.0, 70.0), (193.0, 58.0), (199.0, 46.0),
                     (205.0, 58.0), (217.0, 70.0))  # fmt: skip
    low = [
        (t, kt, -sag_ft * (kt / 58.0) ** 2)
        for t, kt in ((193.5, 57.0), *((194.0 + n, 56.0 - 2.0 * n) for n in range(6)))
    ]
    altitude: Points = ((25.0, FIELD_FT), (95.0, FIELD_FT + 840.0), (109.0, FIELD_FT + 840.0), (193.0, FIELD_FT),
                        *((t, FIELD_FT + off_ft) for t, _, off_ft in low), (205.0, FIELD_FT - sag_ft),
                        (207.0, FIELD_FT), (300.0, FIELD_FT + 1116.0))  # fmt: skip
    shown: Points = (
        (24.999, 0.0), (25.0, 720.0), (94.999, 720.0), (95.0, 0.0), (108.999, 0.0), (109.0, -600.0), (193.0, -600.0),
        (194.0, 60.0 * sag_ft * 2.0 * 56.0 * 2.0 / 58.0**2), (199.0, 60.0 * sag_ft * 2.0 * 46.0 * 2.0 / 58.0**2),
        (200.0, 0.0), (205.0, 0.0), (207.0, 720.0),
    )  # fmt: skip
    flight = touch_and_go(1.0, ias_kt=speed, groundspeed_kt=speed, altitude_ft=altitude, vertical_speed_fpm=shown)
    flown = fly(flight.without("height_ft", "pitch_deg").bend("on_ground", 0.0, 300.0, None))
    assert flown.phases[-4:] == ["landing-roll", "takeoff-roll", "rotation", "initial-climb"]
    assert _begins(flown, "landing-roll") == pytest.approx(194.5, abs=2.5)


def test_a_stop_and_go() -> None:
    """Rejected to a stop, 10 s on the runway, and a second takeoff: numbered 2 and coached whole."""
    flown = fly(joined(rejected(20.0).samples(), takeoff().between(3.0, 40.0).samples()))
    assert flown.phases == [
        "standing", "lined-up", "takeoff-roll", "rejected-takeoff", "taxi", "standing",
        "lined-up", "takeoff-roll", "rotation", "initial-climb",
    ]  # fmt: skip
    assert [event.takeoff for event in flown.all("phase", "takeoff-roll")] == [1, 2]
    assert [event.takeoff for event in flown.all("callout", "rotate")] == [2]
    assert len(flown.all("callout", "clock")) == 2


def test_a_rejected_takeoff() -> None:
    """The throttle closed on the roll rejects it, stamped where the lever passed 0.3; over at 15 kt; no word of
    blame."""
    flown = fly(rejected(20.0))
    assert flown.phases == ["standing", "lined-up", "takeoff-roll", "rejected-takeoff", "taxi", "standing"]
    assert _begins(flown, "rejected-takeoff") == pytest.approx(20.35, abs=1e-3)
    assert _begins(flown, "taxi") == pytest.approx(20.5 + (36.0 - 15.0) / 6.0, abs=0.06)
    flown.calm()


def test_a_rejection_is_stamped_between_the_samples() -> None:
    """The lever that passes 0.3 between two samples is stamped there, not at the sample that showed it."""
    assert _begins(fly(rejected(20.02)), "rejected-takeoff") == pytest.approx(20.37, abs=1e-3)


def test_a_rejected_takeoff_without_a_throttle_channel() -> None:
    """Slowing down that lasts, with no lever in the data, is a rejection: no engine failure, no warning."""
    flown = fly(rejected(20.0).without("throttle"))
    assert "rejected-takeoff" in flown.phases
    assert _begins(flown, "rejected-takeoff") == pytest.approx(20.5, abs=1.6)
    assert flown.warnings == []


# ---- hops and ground effect --------------------------------------------------------------------------------------


@pytest.mark.parametrize(("settles_s", "lift_off_s"), [(24.45, 26.5), (24.6, 22.5)])
def test_a_hop_that_settles_within_two_seconds_is_no_lift_off(settles_s: float, lift_off_s: float) -> None:
    """Wheels off at 22.5 s and on again 1.95 s later: no lift-off; 2.1 s later: it was one."""
    flight = takeoff(on_ground=1.0).bend("on_ground", 22.5, settles_s, 0.0).bend("on_ground", 26.5, 999.0, 0.0)
    height = ((26.5, 0.0), (60.0, 402.0))
    flight = flight.with_(height_ft=height, altitude_ft=tuple((t, 400.0 + h) for t, h in height))
    flown = fly(flight.with_(vertical_speed_fpm=step(26.5, 0.0, 720.0)).between(5.0, 40.0))
    first = flown.all("phase", "initial-climb")[0]
    assert first.t_s == pytest.approx(lift_off_s, abs=0.03)
    if lift_off_s == 26.5:
        assert len(flown.all("phase", "initial-climb")) == 1
        assert flown.ids("callout").count("rotate") == 1


def test_a_hop_without_a_switch_is_no_lift_off() -> None:
    """Up to 5 ft and down again within a second, known by height alone: the lift-off is the later one."""
    height = ((22.5, 0.0), (23.0, 5.0), (23.5, 0.0), (25.0, 0.0), (60.0, 420.0))
    flight = takeoff(height_ft=height, altitude_ft=tuple((t, 400.0 + h) for t, h in height))
    flown = fly(flight.without("on_ground", "vertical_speed_fpm").between(5.0, 40.0))
    assert len(flown.all("phase", "initial-climb")) == 1
    assert _begins(flown, "initial-climb") == pytest.approx(25.0, abs=0.3)


def test_a_hold_in_ground_effect_counts_from_the_wheels() -> None:
    """Off at 25 s, held at 5 ft for 8 s, then away: lift-off is at 25 s, nothing is said of sinking, none is called
    twice."""
    height = ((25.0, 0.0), (26.0, 5.0), (34.0, 5.0), (80.0, 557.0))
    vertical = ((24.999, 0.0), (25.0, 300.0), (25.999, 300.0), (26.0, 0.0), (33.999, 0.0), (34.0, 720.0))
    flight = takeoff(
        height_ft=height, altitude_ft=tuple((t, 400.0 + h) for t, h in height), vertical_speed_fpm=vertical
    )
    flown = fly(flight.between(5.0, 60.0))
    assert _begins(flown, "initial-climb") == pytest.approx(25.0, abs=0.03)
    assert flown.phases.count("initial-climb") == 1
    flown.calm()


# ---- what is no takeoff ------------------------------------------------------------------------------------------


def _on_the_ground(**lines: Value) -> Flight:
    return takeoff(**{**ON_THE_GROUND, **lines}).between(0.0, 60.0)


def test_a_static_run_up_is_no_takeoff() -> None:
    """Half throttle and 1,800 rpm for 10 s on the brakes: standing all the while, not a word."""
    flown = fly(
        _on_the_ground(
            ias_kt=0.0, groundspeed_kt=0.0, throttle=((10.0, 0.0), (12.0, 0.5), (22.0, 0.5), (23.0, 0.0)),
            rpm=((10.0, 700.0), (12.0, 1800.0), (22.0, 1800.0), (23.0, 700.0)),
        )
    )  # fmt: skip
    assert flown.phases == ["standing"]
    assert flown.spoken == []


def test_full_power_on_the_brakes_that_closes_again_is_no_takeoff() -> None:
    """Lined up at full throttle and closed again: no roll, and the next takeoff is number 1."""
    power: dict[str, Value] = {
        "throttle": ((10.0, 0.0), (12.0, 1.0), (22.0, 1.0), (23.0, 0.0)),
        "ias_kt": 0.0,
        "groundspeed_kt": 0.0,
    }
    runup = _on_the_ground(**power, rpm=((10.0, 700.0), (12.0, 2350.0), (22.0, 2350.0), (23.0, 700.0)))
    flown = fly(joined(runup.samples(), takeoff().between(0.0, 40.0).samples()))
    assert flown.phases.count("takeoff-roll") == 1
    assert {event.takeoff for event in flown.events} == {None, 1}
    flown.calm()


def test_a_fast_taxi_is_no_takeoff() -> None:
    """To 30 kt along the runway on part throttle and to a stop: taxi, no call, no warning."""
    speed = ((5.0, 0.0), (20.0, 30.0), (30.0, 30.0), (45.0, 0.0))
    lever = ((5.0, 0.0), (6.0, 0.4), (30.0, 0.4), (31.0, 0.0))
    flight = _on_the_ground(
        ias_kt=speed, groundspeed_kt=speed, throttle=lever, rpm=tuple((t, 700.0 + 2000.0 * x) for t, x in lever)
    )
    for flown in (fly(flight), fly(flight.without("throttle"))):
        assert flown.phases == ["standing", "taxi", "standing"]
        assert flown.spoken == []


@pytest.mark.parametrize(("lever_at", "top_kt"), [(0.7, 9.0), (0.9, 4.5)])
def test_a_burst_of_power_that_ends_again_is_no_takeoff(lever_at: float, top_kt: float) -> None:
    """Two seconds of power to get moving, much of it or all: no roll."""
    speed = ((11.0, 0.0), (13.5, top_kt), (25.0, 0.0))
    lever = ((10.0, 0.0), (11.0, lever_at), (13.0, lever_at), (14.0, 0.0))
    flown = fly(_on_the_ground(ias_kt=speed, groundspeed_kt=speed, throttle=lever, rpm=((0.0, 700.0),)))
    assert "takeoff-roll" not in flown.phases
    assert flown.warnings == []


# ---- a stream that begins in the middle --------------------------------------------------------------------------


@pytest.mark.parametrize("missing", [(), ("on_ground",), ("on_ground", "height_ft"), ("on_ground", "groundspeed_kt")])
def test_a_stream_that_begins_in_flight_is_airborne(missing: tuple[str, ...]) -> None:
    """Joined at 420 ft: airborne at once, outside any takeoff, and no routine call or warning."""
    flown = fly(takeoff().without(*missing).between(60.0, 110.0))
    assert flown.phases == ["airborne"]
    assert flown.ids("callout", "warning", "caution", "advisory") == []
    assert all(event.takeoff is None for event in flown.events)


def test_a_stream_that_begins_on_the_roll_is_coached_from_there() -> None:
    """Joined at 20 kt on the roll with the throttle open: the roll is known at once, and Rotate is called."""
    flown = fly(takeoff().between(16.0, 40.0))
    assert flown.phases[-3:] == ["takeoff-roll", "rotation", "initial-climb"]
    assert flown.said("rotate") == "Rotate"


# ---- line-up by a known runway heading -----------------------------------------------------------------------------


def test_lined_up_within_ten_degrees_of_a_given_heading() -> None:
    """Turning onto a runway known to point 080 at 5 kt: lined up when within 10 degrees for good, not at 12."""
    heading = ((2.0, 170.0), (8.0, 92.0), (9.0, 92.0), (11.0, 80.0))
    flight = takeoff(
        heading_deg=heading, ias_kt=0.0, groundspeed_kt=((0.0, 5.0), (12.0, 5.0), (13.0, 0.0)), throttle=0.1
    )
    flown = fly(flight.with_(**ON_THE_GROUND, rpm=900.0).between(0.0, 20.0), options=Options(runway_heading_deg=80.0))
    assert flown.phases[-1] == "lined-up"
    assert _begins(flown, "lined-up") == pytest.approx(9.0 + 2.0 / 6.0, abs=0.06)
    other = fly(flight.with_(**ON_THE_GROUND, rpm=900.0).between(0.0, 20.0), options=Options(runway_heading_deg=100.0))
    assert _begins(other, "lined-up") < 9.34


def test_the_runway_heading_is_taken_at_line_up() -> None:
    """With no heading given, that of the aeroplane lined up is the runway's."""
    flown = fly(takeoff(heading_deg=237.0).between(5.0, 20.0))
    assert flown.one("phase", "lined-up").more["runway_heading_deg"] == 237.0


# ---- the machine itself ------------------------------------------------------------------------------------------


class _Never:
    """Conditions that never hold."""

    def __getattr__(self, name: str) -> object:
        return lambda: None


@pytest.mark.parametrize(
    ("before", "after"), [(None, "climb"), ("standing", "initial-climb"), ("airborne", "takeoff-roll")]
)
def test_an_impossible_change_raises_and_changes_nothing(before: str | None, after: str) -> None:
    """A phase that cannot follow is refused by name, and the machine stays where it was."""
    machine = Phases(_Never())
    for phase in {"standing": ["standing"], "airborne": ["airborne"]}.get(before or "", []):
        machine.enter(phase, 1.0)
    with pytest.raises(ImpossibleChange, match=after):
        machine.enter(after, 2.0)
    assert machine.phase == before
    assert machine.since == (0.0 if before is None else 1.0)


def test_starting_over_is_possible_from_every_phase() -> None:
    """After a jump of the clock the machine starts over, wherever it was."""
    machine = Phases(_Never())
    for phase in ("taxi", "lined-up", "takeoff-roll", "rotation", "initial-climb", "climb", "airborne", "landing-roll"):
        machine.enter(phase, 1.0)
    machine.enter(None, 2.0)
    assert machine.phase is None


def test_the_table_holds_the_ten_phases_and_can_reach_each() -> None:
    """The ten phases by their names; each can be reached from the start, and each can be left."""
    assert set(PHASES) == {
        "standing", "taxi", "lined-up", "takeoff-roll", "rotation", "initial-climb", "climb", "airborne",
        "landing-roll", "rejected-takeoff",
    }  # fmt: skip
    reached: set[str | None] = {None}
    for _ in PHASES:
        reached |= {following for phase in reached for _, following in TABLE[phase]}
    assert reached == {None, *PHASES}
    assert all(TABLE[phase] for phase in PHASES)


def test_the_words_of_the_taxonomy() -> None:
    """CAST/ICAO 1.3 has standing, taxi, takeoff (with rejected takeoff), initial climb, landing (roll): ours fit
    into those."""
    taxonomy = {
        "standing": "Standing", "taxi": "Taxi", "lined-up": "Takeoff", "takeoff-roll": "Takeoff", "rotation": "Takeoff",
        "rejected-takeoff": "Takeoff", "initial-climb": "Initial Climb", "climb": "En Route", "airborne": "En Route",
        "landing-roll": "Landing",
    }  # fmt: skip
    assert set(taxonomy) == set(PHASES)
    assert {"takeoff-roll", "rotation"} == ON_THE_ROLL
    assert {"initial-climb", "climb"} == IN_THE_CLIMB


@pytest.mark.parametrize(("rise_deg", "begins_s"), [(2.0, 24.3667), (3.5, 24.8667)])
def test_rotation_is_a_rise_above_the_attitude_of_the_roll(rise_deg: float, begins_s: float) -> None:
    """The rise is measured from the roll's own attitude (here 1.5 degrees nose up), and how much of it is a setting."""
    pitch = ((0.0, 1.5), (23.7, 1.5), (26.7, 10.5))
    flown = fly(takeoff(pitch_deg=pitch).between(5.0, 30.0), FIXED, using=changed(rotation_rise_deg=rise_deg))
    assert _begins(flown, "rotation") == pytest.approx(begins_s, abs=1e-3)


def _nodding(deg: float, period_s: float) -> Points:
    """The attitude of the takeoff, with a nod about it while the wheels roll."""
    rolling = [11.0 + 0.05 * n for n in range(281)]
    nods = [(t, max(3.0 * (t - 23.7), 0.0) + deg * sin(2.0 * pi * (t - 11.0) / period_s)) for t in rolling]
    return (*nods, (26.7, 9.0))


@pytest.mark.parametrize("rate_hz", [20.0, 5.0])
@pytest.mark.parametrize(("deg", "period_s"), [(1.0, 1.5), (1.3, 0.8), (1.6, 1.5), (1.3, 3.0)])
def test_a_nose_that_nods_on_a_rough_strip_has_not_rotated(deg: float, period_s: float, rate_hz: float) -> None:
    """The attitude swings by up to 3.2 degrees all along the roll: no remark, "Rotate" is said, and the rotation begins
    with the pilot's, or with the nod that his takes up."""
    flown = fly(takeoff(rate_hz, pitch_deg=_nodding(deg, period_s)).between(5.0, 30.0))
    assert _begins(flown, "rotation") == pytest.approx(24.37, abs=0.8 if period_s < 2.0 else 1.2)
    assert flown.said("rotate") == "Rotate"
    assert flown.ids("advisory", "caution") == []


@pytest.mark.parametrize("dip_deg", [-4.0, -10.0])
def test_a_dip_of_the_nose_is_not_the_attitude_of_the_roll(dip_deg: float) -> None:
    """Four or ten degrees down for 0.1 s at 38 kt: the rotation is not found seconds early, and "Rotate" is said."""
    flown = fly(takeoff().bend("pitch_deg", 20.5, 20.6, dip_deg).between(5.0, 30.0))
    assert _begins(flown, "rotation") == pytest.approx(24.37, abs=0.8)
    assert flown.said("rotate") == "Rotate"


def test_a_nose_held_up_far_below_vr_has_rotated() -> None:
    """Raised to 4 degrees at 36 kt and held there: the rotation began as it rose."""
    flown = fly(takeoff(pitch_deg=((20.0, 0.0), (21.0, 4.0), (24.0, 4.0), (25.5, 9.0))).between(5.0, 30.0))
    assert _begins(flown, "rotation") == pytest.approx(20.5, abs=0.01)
