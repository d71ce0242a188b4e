"""The routine calls, whole and up to rotation: each once, when it is due, in its words, silent where it should be.

Every flight is made of straight lines (`tests.synthetic`), so each call's moment is worked out by hand here. The
climb's: `test_routine_climb`. The lead of the call to rotate, the levels, the quiet around rotation: common practice,
no source.
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
    Flown,
    Value,
    changed,
    fly,
    governed,
    procedure,
    rejected,
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
    """The nose near the tail's limit 1.9 s after lift-off is only shown, and said as soon as it may be; after 2.1 s it
    is said at once."""
    pitch = ((23.7, 0.0), (25.5, 9.0), (due_s - 0.3, 9.0), (due_s - 0.1, 13.0))
    first, *later = fly(takeoff(pitch_deg=pitch).between(5.0, 28.5)).all("caution", "pitch")
    assert first.t_s == pytest.approx(due_s, abs=2e-3)
    assert bool(first.say) == sounds
    assert [bool(event.say) for event in later] == ([] if sounds else [True])
    assert all(27.0 <= (event.t_s or 0.0) <= 27.6 for event in later)


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
