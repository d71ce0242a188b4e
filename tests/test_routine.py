"""The routine calls: each once, at the moment it is due, in its words, and silent where it should be.

Every flight is made of straight lines (`tests.synthetic`), so each call's moment is worked out by hand here.
Sources: FAA-S-ACS-6C (climb speed, obstacle), AIM 4-3-2 and 4-3-3 (turn near pattern altitude), FAA-H-8083-3C chapter 6
(flaps after an obstacle) and 3 (level-off by a tenth of the climb rate). The turn's and flaps' heights, leaning: common
practice, no source.
"""

from __future__ import annotations

from collections import Counter

import msgspec
import pytest

from monitor.aircraft import Aircraft
from monitor.options import Options
from monitor.procedure import Procedure
from tests.synthetic import (
    FIXED,
    GOVERNED,
    Flight,
    Flown,
    Value,
    changed,
    fly,
    governed,
    procedure,
    rejected,
    step,
    takeoff,
    touch_and_go,
)

ROLL = (5.0, 24.9)  # to just before lift-off


def _aeroplane(**values: object) -> Aircraft:
    return msgspec.structs.replace(FIXED, **values)


def _rolled(options: Options | None = None, using: Procedure | None = None, **lines: Value) -> Flown:
    return fly(takeoff(**lines).between(*ROLL), options=options, using=using)


# ---- the whole -----------------------------------------------------------------------------------------------------


def test_a_clean_takeoff_has_every_call_once_when_due_and_nothing_else() -> None:
    """Ten calls, each once, in this flight's order, at the moments worked out by hand; no check failed, nothing
    remarked."""
    flown = fly(takeoff())
    calls = {event.id: event for event in flown.all("callout")}
    due = {
        "power-set": 13.0, "engine-green": 13.0, "airspeed-alive": 13.5, "rotate": 23.2, "positive-rate": 27.917,
        "climb-speed": 37.0, "flaps-up": 50.0, "turn": 66.667, "after-takeoff": 108.333,
    }  # fmt: skip
    assert [event.id for event in flown.all("callout")] == ["clock", *due]
    for id_, t in due.items():
        assert calls[id_].t_s == pytest.approx(t, abs=0.13 if id_ in ("airspeed-alive", "positive-rate") else 0.002), (
            id_
        )
    assert {id_: event.say for id_, event in calls.items()} == {
        "clock": "Clock", "power-set": "Power set, green", "engine-green": None, "airspeed-alive": "Airspeed alive",
        "rotate": "Rotate", "positive-rate": None, "climb-speed": "Climb speed, seven zero",
        "flaps-up": "Flaps checked", "turn": "Turn altitude. Look first", "after-takeoff": "After-takeoff checks",
    }  # fmt: skip
    assert {event.more["state"] for event in flown.all("check")} <= {"ok", "ask"}
    flown.calm()


@pytest.mark.parametrize("rate_hz", [60.0, 10.0, 5.0, 2.0, 1.0])
def test_the_rate_moves_no_call_by_more_than_the_data_allows(rate_hz: float) -> None:
    """At 60 Hz to 1 Hz the same calls come, each within a small part of the sampling of its 20 Hz moment."""
    fine, other = fly(takeoff()), fly(takeoff(rate_hz))
    assert other.ids("callout").count("rotate") == 1
    assert sorted(other.ids("callout")) == sorted(fine.ids("callout"))
    for id_ in fine.ids("callout"):
        loose = id_ in ("clock", "power-set", "engine-green", "airspeed-alive", "positive-rate")
        tolerance = (0.1 + 1.6 / rate_hz) if loose else 0.01 + (0.25 if rate_hz < 2 and id_ == "rotate" else 0.0)
        assert other.t("callout", id_) == pytest.approx(fine.t("callout", id_), abs=tolerance), id_


def test_without_a_height_channel_heights_are_above_the_field() -> None:
    """Altitude alone, on a field at 400 ft: every call by height is where the height channel has it."""
    with_height, without = fly(takeoff()), fly(takeoff().without("height_ft"))
    assert without.ids("callout") == with_height.ids("callout")
    for id_ in ("positive-rate", "flaps-up", "turn", "after-takeoff"):
        assert without.t("callout", id_) == pytest.approx(with_height.t("callout", id_), abs=0.02), id_


def test_each_call_comes_once_even_when_its_condition_comes_again() -> None:
    """Airspeed that falls back and rises again through VR and VY - 2, height that is passed twice: still one call
    each."""
    height = ((25.0, 0.0), (50.5, 306.0), (54.0, 290.0), (75.0, 542.0), (78.0, 490.0), (90.0, 634.0))
    flight = takeoff(
        height_ft=height,
        altitude_ft=tuple((t, 400.0 + h) for t, h in height),
        ias_kt=((11.0, 0.0), (25.0, 56.0), (39.0, 70.0), (42.0, 66.5), (48.0, 70.0)),
    ).without("vertical_speed_fpm", "groundspeed_kt")
    counted = Counter(fly(flight.between(5.0, 90.0)).ids("callout"))
    assert set(counted.values()) == {1}
    assert {"rotate", "climb-speed", "flaps-up", "turn"} <= set(counted)


# ---- power and oil -------------------------------------------------------------------------------------------------


def test_power_set_waits_until_rpm_is_steady() -> None:
    """Rpm that rises by 40 a second past full throttle is not steady within 30 for a second; at 3 s it is judged."""
    slow = ((10.0, 700.0), (12.0, 2250.0), (20.0, 2570.0))
    assert _rolled(rpm=slow).t("callout", "power-set") == pytest.approx(11.8 + 3.0, abs=0.01)
    quick = ((10.0, 700.0), (12.0, 2300.0), (13.0, 2350.0))
    assert _rolled(rpm=quick).t("callout", "power-set") == pytest.approx(13.6, abs=0.25)


@pytest.mark.parametrize(("lever", "set_"), [(0.89, False), (0.91, True)])
def test_power_is_set_from_ninety_percent(lever: float, set_: bool) -> None:
    """With the throttle at 89 % power is never called set, at 91 % it is."""
    flown = _rolled(throttle=((10.0, 0.0), (12.0, lever)))
    assert ("power-set" in flown.ids("callout")) == set_


@pytest.mark.parametrize("missing", ["oil_pressure_psi", "oil_temperature_degf"])
def test_without_both_oil_channels_it_is_power_set_alone(missing: str) -> None:
    """ "Power set, green" needs oil pressure and temperature both; without one it is "Power set", and no engine-
    green."""
    flown = _rolled(**{missing: None})
    assert flown.said("power-set") == "Power set"
    assert "engine-green" not in flown.ids("callout")


def test_engine_green_comes_later_when_the_oil_does() -> None:
    """Oil 20 degrees short of the green at power-set and in it at 16 s: "Engine green", then."""
    flown = _rolled(oil_temperature_degf=((12.0, 90.0), (16.0, 110.0), (20.0, 130.0)))
    assert flown.said("power-set") == "Power set"
    assert flown.said("engine-green") == "Engine green"
    assert flown.t("callout", "engine-green") == pytest.approx(16.0, abs=0.06)


@pytest.mark.parametrize(("oil", "green"), [(110.0, True), (109.0, False), (220.0, True), (221.0, False)])
def test_green_includes_its_own_ends(oil: float, green: bool) -> None:
    """Oil temperature on the end of the green arc is green, a degree beyond is not."""
    assert (_rolled(oil_temperature_degf=oil).said("power-set") == "Power set, green") == green


def test_a_governed_engine_is_set_by_rpm_and_manifold_pressure() -> None:
    """Constant speed: rpm at the governed and manifold pressure 1 inHg under ambient is power set."""
    assert fly(governed().between(*ROLL), GOVERNED).said("power-set") == "Power set, green"


def test_without_a_throttle_channel_power_is_set_when_rpm_is_steady_and_good() -> None:
    """No lever in the data: a second of steady rpm while accelerating, at the profile's least or above."""
    assert fly(takeoff().without("throttle").between(*ROLL)).said("power-set") == "Power set, green"
    low = takeoff(rpm=((10.0, 700.0), (12.0, 2190.0))).without("throttle")
    assert "power-set" not in fly(low.between(*ROLL)).ids("callout")


# ---- airspeed alive ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("wind_kt", "alive_kt"), [(0.0, 10.0), (6.0, 16.0), (12.0, 20.0)])
def test_airspeed_is_alive_at_the_lower_of_20_kt_and_rest_plus_ten(wind_kt: float, alive_kt: float) -> None:
    """Standing in a headwind the needle shows the wind; alive is ten more than that, but never more than 20 kt."""
    ias = ((11.0, wind_kt), (25.0, 56.0 + wind_kt), (39.0, 70.0))
    assert _rolled(ias_kt=ias).one("callout", "airspeed-alive").ias_kt == pytest.approx(alive_kt, abs=0.6)


def test_airspeed_alive_is_short_when_vr_is_near() -> None:
    """With VR less than 6 s away there is time for one word only: "Alive"."""
    low = _aeroplane(speeds_kias=msgspec.structs.replace(FIXED.speeds_kias, rotate=30.0, lift_off=34.0))
    windy = takeoff(ias_kt=((11.0, 12.0), (25.0, 68.0))).between(5.0, 18.0)
    assert fly(windy, low).said("airspeed-alive") == "Alive"
    assert fly(windy).said("airspeed-alive") == "Airspeed alive"


def test_a_needle_that_stands_high_is_not_alive() -> None:
    """An airspeed that reads 25 kt at rest and does not rise is not called alive."""
    assert "airspeed-alive" not in _rolled(ias_kt=25.0).ids("callout")


# ---- rotate --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("options", "lead_s"),
    [
        (Options(), 0.3),
        (Options(voice=False, voice_latency_s=0.4), 0.3),
        (Options(voice=True, voice_latency_s=0.0), 0.3),
        (Options(voice=True, voice_latency_s=0.06), 0.36),
        (Options(voice=True, voice_latency_s=0.9), 0.4),
    ],
)
def test_rotate_is_called_ahead_of_vr_by_the_voices_lead(options: Options, lead_s: float) -> None:
    """The word is heard at VR: 0.3 s ahead and the voice's latency, 0.4 s in all at most, at the acceleration now."""
    event = _rolled(options).one("callout", "rotate")
    assert event.t_s == pytest.approx(23.5 - lead_s, abs=2e-3)
    assert event.ias_kt == pytest.approx(50.0 - 4.0 * lead_s, abs=0.01)


def test_the_latency_measured_on_the_way_counts() -> None:
    """What the voice measures before the call moves it."""
    from monitor.coach import Coach
    from tests.synthetic import ARRIVAL_S, at

    coach = Coach(FIXED, procedure(), Options(voice=True))
    coach.set_voice_latency(0.08)
    events = [e for s in takeoff().between(*ROLL).samples() for e in coach.feed(s, ARRIVAL_S + at(s))]
    assert next(e.t_s for e in events if e.id == "rotate") == pytest.approx(23.5 - 0.38, abs=2e-3)


def test_rotate_is_never_called_more_than_two_knots_below_vr() -> None:
    """At 7 kt/s 0.4 s would be 2.8 kt: the call comes at VR - 2."""
    fast = ((11.0, 0.0), (19.0, 56.0), (33.0, 70.0))
    flight = takeoff(ias_kt=fast, groundspeed_kt=fast).between(5.0, 18.9)
    event = fly(flight, options=Options(voice=True, voice_latency_s=0.3)).one("callout", "rotate")
    assert event.ias_kt == pytest.approx(48.0, abs=0.02)


@pytest.mark.parametrize("rotate_kt", [45.0, 52.0])
def test_rotate_follows_the_profile(rotate_kt: float) -> None:
    """Another VR in the profile is called at its own speed."""
    other = _aeroplane(speeds_kias=msgspec.structs.replace(FIXED.speeds_kias, rotate=rotate_kt))
    event = fly(takeoff().between(*ROLL), other).one("callout", "rotate")
    assert event.ias_kt == pytest.approx(rotate_kt - 1.2, abs=0.01)


def test_no_rotate_once_the_throttle_is_closed() -> None:
    """A takeoff given up at 45 kt coasts through VR no more: no "Rotate" at all."""
    speed = ((11.0, 0.0), (22.5, 46.0), (23.2, 49.5), (24.0, 49.5), (40.0, 0.0))
    flight = rejected(
        22.5, ias_kt=speed, groundspeed_kt=speed, throttle=((10.0, 0.0), (12.0, 1.0), (22.3, 1.0), (22.5, 0.0))
    )
    flown = fly(flight)
    assert "rotate" not in flown.ids("callout")
    assert "rejected-takeoff" in flown.phases


# ---- the climb -----------------------------------------------------------------------------------------------------


def test_positive_rate_needs_its_time_and_its_height() -> None:
    """Over 100 ft/min for 1.5 s and above 35 ft: with a steep climb the time decides, with a shallow one the height."""
    steep = ((25.0, 0.0), (45.0, 1000.0))
    made = takeoff(height_ft=steep, altitude_ft=steep, vertical_speed_fpm=step(25.0, 0.0, 3000.0)).between(5.0, 35.0)
    assert fly(made).t("callout", "positive-rate") == pytest.approx(26.5, abs=0.06)
    shallow = ((25.0, 0.0), (125.0, 250.0))
    made = takeoff(height_ft=shallow, altitude_ft=shallow, vertical_speed_fpm=step(25.0, 0.0, 150.0)).between(5.0, 45.0)
    assert fly(made).t("callout", "positive-rate") == pytest.approx(25.0 + 35.0 / 2.5, abs=0.1)


@pytest.mark.parametrize(("rate_fpm", "called"), [(90.0, False), (110.0, True)])
def test_positive_rate_is_over_100_ft_min(rate_fpm: float, called: bool) -> None:
    """Climbing at 90 ft/min is no positive rate, at 110 it is."""
    slow = ((25.0, 0.0), (26.0, 30.0), (86.0, 30.0 + rate_fpm))
    flight = takeoff(height_ft=slow, altitude_ft=slow, vertical_speed_fpm=((24.999, 0.0), (25.0, rate_fpm)))
    assert ("positive-rate" in fly(flight.between(5.0, 60.0)).ids("callout")) == called


def test_positive_rate_sounds_with_retractable_gear_only() -> None:
    """The gear comes up on it: said where there is gear to raise, silent where it is fixed."""
    flight = takeoff().between(5.0, 32.0)
    assert fly(flight).said("positive-rate") is None
    assert fly(flight, _aeroplane(retractable_gear=True)).said("positive-rate") == "Positive rate"


def test_climb_speed_reached_early_waits_for_the_quiet_to_end() -> None:
    """VY - 2 had 1 s after lift-off is called 2 s after it."""
    fast = ((11.0, 0.0), (25.0, 56.0), (26.0, 68.0), (27.0, 70.0))
    event = fly(takeoff(ias_kt=fast).without("groundspeed_kt").between(5.0, 32.0)).one("callout", "climb-speed")
    assert event.t_s == pytest.approx(27.0, abs=0.03)
    assert event.say == "Climb speed, seven zero"


def _with_flaps(flaps: Value = 10.0, **lines: Value) -> Flight:
    return takeoff(flaps_deg=flaps, **lines).between(5.0, 60.0)


def test_flaps_at_300_ft_or_at_200_after_a_takeoff_with_flaps() -> None:
    """Clean: "Flaps checked" at 300 ft. With takeoff flaps: "Flaps up" at 200 ft."""
    clean, out = fly(takeoff().between(5.0, 60.0)), fly(_with_flaps(), _aeroplane(takeoff_flaps_deg=10.0))
    assert (clean.said("flaps-up"), out.said("flaps-up")) == ("Flaps checked", "Flaps up")
    assert clean.t("callout", "flaps-up") == pytest.approx(50.0, abs=2e-3)
    assert out.t("callout", "flaps-up") == pytest.approx(25.0 + 200.0 / 12.0, abs=2e-3)


def test_flaps_wait_for_vy_less_five() -> None:
    """With flaps out and 60 kt at 200 ft, the call waits for 65 kt."""
    slow = ((11.0, 0.0), (25.0, 56.0), (45.0, 60.0), (55.0, 70.0))
    flown = fly(_with_flaps(ias_kt=slow, groundspeed_kt=slow), _aeroplane(takeoff_flaps_deg=10.0))
    assert flown.t("callout", "flaps-up") == pytest.approx(50.0, abs=2e-3)


def test_flaps_wait_while_not_climbing() -> None:
    """Level at 310 ft from before the call: it waits until the climb goes on."""
    height = ((25.0, 0.0), (49.0, 288.0), (50.0, 310.0), (50.01, 310.0), (58.0, 310.0), (70.0, 454.0))
    vertical = ((24.999, 0.0), (25.0, 720.0), (48.999, 720.0), (49.0, -10.0), (57.999, -10.0), (58.0, 720.0))
    flight = takeoff(
        height_ft=height, altitude_ft=tuple((t, h + 400.0) for t, h in height), vertical_speed_fpm=vertical
    )
    assert 57.9 <= fly(flight.between(5.0, 65.0)).t("callout", "flaps-up") <= 58.1


def test_flaps_unseen_are_called_as_if_out_after_a_takeoff_with_flaps() -> None:
    """No flap channel: "Flaps up" at 200 ft with takeoff flaps in the profile, at 300 ft without."""
    flown = fly(takeoff().without("flaps_deg").between(5.0, 60.0), _aeroplane(takeoff_flaps_deg=10.0))
    assert flown.said("flaps-up") == "Flaps up"
    assert flown.t("callout", "flaps-up") == pytest.approx(41.667, abs=2e-3)


# ---- the turn ------------------------------------------------------------------------------------------------------


def _turn(flight: Flight, to_s: float = 90.0, **values: object) -> float | None:
    options = values.pop("options", None)
    flown = fly(flight.between(5.0, to_s), options=options, using=changed(**values))  # type: ignore[arg-type]
    return flown.one("callout", "turn").t_s if "turn" in flown.ids("callout") else None


def test_the_turn_is_a_statement_at_500_ft() -> None:
    """At 500 ft the altitude is stated and a look asked for; it never orders a turn."""
    flown = fly(takeoff().between(5.0, 70.0))
    assert flown.said("turn") == "Turn altitude. Look first"
    assert flown.t("callout", "turn") == pytest.approx(66.667, abs=2e-3)


def test_the_turn_waits_for_speed() -> None:
    """Slower than VY - 5 at 500 ft: held until the speed is there."""
    slow = ((11.0, 0.0), (25.0, 56.0), (35.0, 63.0), (70.0, 63.0), (80.0, 73.0))
    assert _turn(takeoff(ias_kt=slow, groundspeed_kt=slow)) == pytest.approx(72.0, abs=0.06)


def test_the_turn_waits_for_the_flaps() -> None:
    """Flaps still out at 500 ft: held until they are up."""
    assert _turn(takeoff(flaps_deg=((0.0, 10.0), (70.0, 10.0), (75.0, 0.0)))) == pytest.approx(74.5, abs=0.06)


def test_the_turn_is_not_called_while_turning() -> None:
    """Already banked 15 degrees at 500 ft, and 25 degrees off the runway when level again: no call any more."""
    bank = ((62.0, 0.0), (63.0, 15.0), (74.0, 15.0), (75.0, 0.0))
    heading = ((63.0, 80.0), (74.0, 106.0))
    assert _turn(takeoff(bank_deg=bank, heading_deg=heading)) is None
    assert _turn(takeoff(bank_deg=bank)) == pytest.approx(74.35, abs=0.1)


@pytest.mark.parametrize(("pattern_ft", "due_ft"), [(None, 700.0), (1200.0, 900.0), (700.0, 500.0)])
def test_the_pattern_rule_turns_within_300_ft_of_pattern_altitude(pattern_ft: float | None, due_ft: float) -> None:
    """Rule "pattern": 300 ft below pattern altitude (AIM 4-3-2), 1,000 ft where none is given; never below 500 ft."""
    options = Options(pattern_height_ft=pattern_ft)
    found = _turn(takeoff(), 104.0, turn_rule="pattern", options=options)
    assert found == pytest.approx(25.0 + due_ft / 12.0, abs=2e-3)


# ---- after-takeoff checks, leaning, level-off ----------------------------------------------------------------------


def test_after_takeoff_checks_at_1000_ft_or_after_levelling_off_in_a_circuit() -> None:
    """Departing: at 1,000 ft. In a circuit: when level, and not at 1,000 ft."""
    assert fly(takeoff()).t("callout", "after-takeoff") == pytest.approx(108.333, abs=2e-3)
    circuit = changed(departure="circuit")
    assert "after-takeoff" not in fly(takeoff().between(5.0, 112.0), using=circuit).ids("callout")
    level = fly(touch_and_go().between(0.0, 115.0), using=circuit)
    assert 95.0 <= level.t("callout", "after-takeoff") <= 102.0


@pytest.mark.parametrize(("lean_ft", "due_s"), [(1000.0, 75.0), (1200.0, 91.667)])
def test_mixture_at_the_lean_height(lean_ft: float, due_s: float) -> None:
    """ "Mixture" where indicated altitude passes the profile's lean height."""
    flown = fly(takeoff().between(5.0, 100.0), _aeroplane(lean_height_ft=lean_ft))
    assert flown.said("lean") == "Mixture"
    assert flown.t("callout", "lean") == pytest.approx(due_s, abs=2e-3)


def test_the_lean_height_is_3000_ft_where_the_profile_does_not_say() -> None:
    """Without one in the profile, 3,000 ft above sea level (common practice; the aeroplane's handbook rules)."""
    altitude = ((25.0, 2500.0), (125.0, 3700.0))
    flown = fly(takeoff(altitude_ft=altitude).between(5.0, 90.0), _aeroplane(lean_height_ft=None))
    assert flown.t("callout", "lean") == pytest.approx(25.0 + 500.0 / 12.0, abs=2e-3)


def test_no_leaning_call_from_a_field_above_the_lean_height() -> None:
    """A field at 3,500 ft: the mixture was set on the ground, no call in the climb."""
    altitude = ((25.0, 3500.0), (125.0, 4700.0))
    assert "lean" not in fly(takeoff(altitude_ft=altitude).between(5.0, 60.0)).ids("callout")


def _long_climb(egt: Value) -> Flown:
    height = ((25.0, 0.0), (400.0, 4500.0))
    altitude = tuple((t, 400.0 + h) for t, h in height)
    flight = takeoff(2.0, height_ft=height, altitude_ft=altitude, egt_degf=egt).between(5.0, 400.0)
    flight.end_s = 400.0
    return fly(flight, _aeroplane(lean_height_ft=1000.0))


def test_re_leaning_once_in_2000_ft() -> None:
    """EGT 50 degF under its reference asks for the mixture again, but not within 2,000 ft of the last time."""
    falling = ((0.0, 1300.0), (100.0, 1300.0), (400.0, 1000.0))  # 1 degF a second from 100 s
    flown = _long_climb(falling)
    again = [e for e in flown.events if e.id == "re-lean"]
    assert len(again) == 1
    assert again[0].say == "Mixture"
    leaned_s = 25.0 + 600.0 / 12.0
    assert again[0].t_s == pytest.approx(leaned_s + 2000.0 / 12.0, abs=0.6)


def test_no_re_leaning_for_a_small_fall() -> None:
    """EGT 45 degF down is not worth a word."""
    flown = _long_climb(((0.0, 1300.0), (100.0, 1300.0), (200.0, 1255.0)))
    assert [e for e in flown.events if e.id == "re-lean"] == []


@pytest.mark.parametrize("climb_fpm", [720.0, 600.0])
def test_level_off_a_tenth_of_the_climb_rate_early(climb_fpm: float) -> None:
    """Climbing at 720 ft/min, 1,200 ft is called 72 ft below (FAA-H-8083-3C chapter 3); at 600, 60 ft below."""
    altitude = ((25.0, 400.0), (125.0, 400.0 + climb_fpm / 0.6))
    flight = takeoff(altitude_ft=altitude, vertical_speed_fpm=step(25.0, 0.0, climb_fpm)).without("height_ft")
    flown = fly(flight.between(5.0, 110.0), options=Options(level_off_ft=1200.0))
    due_ft = 800.0 - 0.1 * climb_fpm
    assert flown.said("level-off") == "Level off"
    assert flown.t("callout", "level-off") == pytest.approx(25.0 + due_ft * 60.0 / climb_fpm, abs=2e-3)


# ---- short field ---------------------------------------------------------------------------------------------------

SHORT = procedure("short-field")


def _short(options: Options | None = None, **lines: Value) -> Flown:
    return fly(takeoff(flaps_deg=10.0, **lines).between(5.0, 60.0), options=options, using=SHORT)


def test_short_field_calls_the_obstacle_cleared_and_then_vy() -> None:
    """ "Clear. Seven zero" at 50 ft (FAA-S-ACS-6C PA.IV.E); the climb speed is called only after that."""
    flown = _short()
    assert flown.said("obstacle-clear") == "Clear. seven zero"
    assert flown.t("callout", "obstacle-clear") == pytest.approx(25.0 + 50.0 / 12.0, abs=0.06)
    assert flown.t("callout", "climb-speed") > flown.t("callout", "obstacle-clear")


@pytest.mark.parametrize("obstacle_ft", [100.0, 250.0])
def test_short_field_uses_the_obstacles_own_height(obstacle_ft: float) -> None:
    """A given obstacle is cleared at its own height; flaps wait for it."""
    flown = _short(Options(obstacle_height_ft=obstacle_ft))
    assert flown.t("callout", "obstacle-clear") == pytest.approx(25.0 + obstacle_ft / 12.0, abs=0.02)
    assert flown.t("callout", "flaps-up") == pytest.approx(25.0 + max(obstacle_ft, 200.0) / 12.0, abs=0.06)


def test_short_field_power_is_set_on_the_brakes() -> None:
    """Full power held on the brakes: "Power set" comes before the roll, and once."""
    speed = ((16.0, 0.0), (30.0, 56.0))
    flight = takeoff(
        flaps_deg=10.0, ias_kt=speed, groundspeed_kt=speed, on_ground=1.0, height_ft=0.0, altitude_ft=400.0
    )
    flown = fly(flight.with_(vertical_speed_fpm=0.0, pitch_deg=0.0).between(5.0, 24.0), using=SHORT)
    assert flown.said("power-set") == "Power set, green"
    assert flown.t("callout", "power-set") < 16.0
    assert flown.t("phase", "takeoff-roll") >= 15.9
    flown.calm()


# ---- the quiet around rotation -------------------------------------------------------------------------------------


def test_nothing_but_rotate_sounds_around_rotation() -> None:
    """Off the runway heading from 21.6 s, banked from 25 s: from 2 s before VR to 2 s after lift-off only Rotate
    sounds."""
    flight = takeoff(
        heading_deg=((21.2, 80.0), (21.6, 87.0), (24.5, 87.0), (24.9, 80.0)), bank_deg=((25.0, 0.0), (25.2, 14.0))
    )
    flown = fly(flight.between(5.0, 30.0))
    inside = [event for event in flown.spoken if event.t_s is not None and 21.55 <= event.t_s <= 26.95]
    assert [event.id for event in inside] == ["rotate"]
    assert "heading" in flown.ids("advisory")


@pytest.mark.parametrize(("due_s", "sounds"), [(21.35, True), (21.65, False)])
def test_the_quiet_begins_two_seconds_before_vr(due_s: float, sounds: bool) -> None:
    """A remark that falls due just before 2 s to VR (21.5 s) sounds, just after it does not."""
    heading = ((due_s - 1.1, 80.0), (due_s - 1.0, 87.0))
    assert bool(_rolled(heading_deg=heading).one("advisory", "heading").say) == sounds


@pytest.mark.parametrize(("due_s", "sounds"), [(26.9, False), (27.1, True)])
def test_the_quiet_ends_two_seconds_after_lift_off(due_s: float, sounds: bool) -> None:
    """The nose near the tail's limit 1.9 s after lift-off: shown only; after 2.1 s: said."""
    pitch = ((23.7, 0.0), (25.5, 9.0), (due_s - 0.3, 9.0), (due_s - 0.1, 13.0))
    event = fly(takeoff(pitch_deg=pitch).between(5.0, 28.5)).one("caution", "pitch")
    assert event.t_s == pytest.approx(due_s, abs=2e-3)
    assert bool(event.say) == sounds


# ---- levels --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("level", ["correct", "test"])
def test_fading_levels_keep_the_calls_silent(level: str) -> None:
    """At "correct" and at "test" a clean takeoff is silent, with every call in the stream at its own moment."""
    prompt, faded = fly(takeoff()), fly(takeoff(), options=Options(level=level))
    assert faded.spoken == []
    assert [(e.id, e.t_s) for e in faded.all("callout")] == [(e.id, e.t_s) for e in prompt.all("callout")]


@pytest.mark.parametrize(("level", "words"), [("prompt", "Bank"), ("correct", "Bank"), ("test", None)])
def test_what_is_wrong_is_said_at_correct_and_not_at_test(level: str, words: str | None) -> None:
    """A wing down for 3 s is remarked at "prompt" and "correct", and left to the debrief at "test"."""
    flight = takeoff(bank_deg=((40.0, 0.0), (41.0, 15.0))).between(5.0, 47.0)
    assert fly(flight, options=Options(level=level)).one("advisory", "bank").say == words


@pytest.mark.parametrize("level", ["prompt", "correct", "test"])
def test_warnings_sound_at_every_level(level: str) -> None:
    """ "Abort" is said whatever the level."""
    flight = takeoff(oil_pressure_psi=((13.0, 75.0), (15.0, 10.0))).between(*ROLL)
    assert fly(flight, options=Options(level=level)).one("warning", "abort").say == "Abort, abort. Oil pressure"


def test_a_single_call_may_have_a_level_of_its_own() -> None:
    """With the turn at "correct" it is silent while the others are said."""
    flown = fly(takeoff(), using=changed(levels={"turn": "correct"}))
    assert flown.said("turn") is None
    assert flown.said("flaps-up") == "Flaps checked"


def test_rotate_is_said_at_correct_when_the_nose_does_not_rise() -> None:
    """At "correct" the call is silent at VR, and said at VR + 5 when the nose has not risen."""
    flight = takeoff(pitch_deg=0.0, on_ground=1.0, height_ft=0.0, altitude_ft=400.0, vertical_speed_fpm=0.0)
    speed = ((11.0, 0.0), (30.0, 76.0))
    flown = fly(flight.with_(ias_kt=speed, groundspeed_kt=speed).between(5.0, 27.0), options=Options(level="correct"))
    said = [event for event in flown.spoken if event.say == "Rotate"]
    assert len(said) == 1
    assert said[0].ias_kt == pytest.approx(55.0, abs=0.3)


# ---- touch-and-go --------------------------------------------------------------------------------------------------


def test_a_touch_and_go_has_configuration_power_rotate_and_the_climb() -> None:
    """The second takeoff has its line-up checks, power, rotate and the climb's calls; no clock, no airspeed alive."""
    flown = fly(touch_and_go())
    second = [event.id for event in flown.all("callout") if event.takeoff == 2]
    assert second == ["rotate", "power-set", "engine-green", "positive-rate", "climb-speed", "flaps-up"]
    assert [event for event in flown.all("check") if event.takeoff == 2 and event.id.startswith("line-up")]
    assert [e.say for e in flown.all("callout", "rotate")] == ["Rotate", "Rotate"]


def test_each_call_at_most_once_a_takeoff() -> None:
    """Over a flight of two takeoffs no call's id comes twice in either."""
    counted = Counter((event.takeoff, event.id) for event in fly(touch_and_go()).all("callout"))
    assert set(counted.values()) == {1}
    assert {takeoff_ for takeoff_, _ in counted} == {1, 2}
