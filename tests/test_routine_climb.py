"""The routine calls of the climb: positive rate, climb speed, flaps, turn, checks, leaning, level-off, the short field.

Each call's moment is worked out by hand. Sources: FAA-S-ACS-6C (climb speed, obstacle), AIM 4-3-2 and 4-3-3 (turn near
pattern altitude), FAA-H-8083-3C chapter 6 (flaps after an obstacle) and 3 (level-off by a tenth of the climb rate). The
turn's and flaps' heights, leaning: common practice, no source.
"""

from __future__ import annotations

import msgspec
import pytest

from monitor.aircraft import Aircraft
from monitor.options import Options
from tests.synthetic import FIXED, Flight, Flown, Value, changed, fly, procedure, step, takeoff, touch_and_go


def _aeroplane(**values: object) -> Aircraft:
    return msgspec.structs.replace(FIXED, **values)


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
    assert level.t("callout", "after-takeoff") == pytest.approx(95.0, abs=0.1)


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
    assert flown.said("obstacle-clear") == "Clear. Seven zero"
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
