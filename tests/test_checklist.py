"""Line-up and after-takeoff checks: each item verified where a channel tells, asked where none does, said only when
wrong."""

from __future__ import annotations

import msgspec
import pytest

from monitor.options import Options
from tests.synthetic import FIXED, GOVERNED, Flown, Value, fly, governed, procedure, takeoff


def _lined_up(options: Options | None = None, /, **lines: Value) -> Flown:
    return fly(takeoff(**lines).between(5.0, 13.0), options=options)


def _state(flown: Flown, item: str, list_: str = "line-up") -> str:
    return str(flown.one("check", f"{list_}.{item}").more["state"])


ITEMS = [
    # item, channel, good, bad, words
    ("flaps", "flaps_deg", (0.0, 2.9), (3.2, 25.0), "Check flaps"),
    ("trim", "elevator_trim", (0.0, 0.34, -0.34), (0.36, -0.36), "Check trim"),
    ("parking-brake", "parking_brake", (0.0,), (1.0,), "Parking brake"),
    ("mixture", "mixture", (1.0, 0.91), (0.89, 0.4), "Check mixture"),
    ("oil-cold", "oil_temperature_degf", (110.0, 165.0), (109.0, 60.0), "Oil cold"),
]
GOOD = [(item, channel, value) for item, channel, good, _, _ in ITEMS for value in good]
BAD = [(item, channel, value, words) for item, channel, _, bad, words in ITEMS for value in bad]


@pytest.mark.parametrize(("item", "channel", "value"), GOOD)
def test_an_item_as_it_should_be_is_ok_and_silent(item: str, channel: str, value: float) -> None:
    """Within its bounds an item is "ok", without a word."""
    flown = _lined_up(**{channel: value})
    assert _state(flown, item) == "ok"
    assert flown.one("check", f"line-up.{item}").say is None


@pytest.mark.parametrize(("item", "channel", "value", "words"), BAD)
def test_an_item_that_is_wrong_is_said(item: str, channel: str, value: float, words: str) -> None:
    """Outside its bounds an item is "not-ok", and its words are said."""
    flown = _lined_up(**{channel: value})
    assert _state(flown, item) == "not-ok"
    assert flown.one("check", f"line-up.{item}").say == words


@pytest.mark.parametrize(("item", "channel"), [(item, channel) for item, channel, *_ in ITEMS])
def test_what_no_channel_tells_is_asked_on_the_screen(item: str, channel: str) -> None:
    """Without its channel an item is "ask", and silent."""
    flown = _lined_up(**{channel: None})
    assert _state(flown, item) == "ask"
    assert flown.one("check", f"line-up.{item}").say is None


@pytest.mark.parametrize("level", ["prompt", "correct", "test"])
def test_wrong_items_are_said_at_prompt_and_correct(level: str) -> None:
    """What is wrong at line-up is said at "prompt" and at "correct"; at "test" it is left to the debrief."""
    flown = _lined_up(Options(level=level), flaps_deg=20.0)
    assert flown.one("check", "line-up.flaps").say == ("Check flaps" if level != "test" else None)


@pytest.mark.parametrize(("off_deg", "state"), [(19.0, "ok"), (21.0, "not-ok"), (-21.0, "not-ok")])
def test_the_wrong_runway(off_deg: float, state: str) -> None:
    """A heading more than 20 degrees off the runway given: "Check runway"."""
    flown = _lined_up(Options(runway_heading_deg=(80.0 + off_deg) % 360.0))
    if state == "ok":
        assert _state(flown, "runway") == "ok"
    else:
        event = flown.one("check", "line-up.runway")
        assert (event.more["state"], event.say) == ("not-ok", "Check runway")


def test_without_a_runway_given_it_is_no_item() -> None:
    """No heading given: nothing to check it against."""
    assert _lined_up().all("check", "line-up.runway") == []


@pytest.mark.parametrize(
    ("altitude_ft", "mixture", "state"),
    [
        (2900.0, 0.6, "not-ok"),
        (2900.0, 1.0, "ok"),
        (3100.0, 0.6, "ok"),
        (3100.0, 0.1, "not-ok"),
        (3100.0, 1.0, "ask"),
    ],
)
def test_mixture_is_rich_below_the_lean_height_and_set_above(altitude_ft: float, mixture: float, state: str) -> None:
    """At 60 % below 3,000 ft it is not rich; above, it is rightly somewhere in between, but not at cut-off, and whether
    full rich has been set or forgotten there the lever does not tell."""
    assert _state(_lined_up(altitude_ft=altitude_ft, mixture=mixture), "mixture") == state


def test_the_propeller_lever_is_an_item_of_a_constant_speed_propeller_only() -> None:
    """High rpm before takeoff, where there is a lever for it."""
    assert _lined_up().all("check", "line-up.propeller") == []
    flown = fly(governed(propeller=0.8).between(5.0, 13.0), GOVERNED)
    assert _state(flown, "propeller") == "not-ok"
    assert _state(fly(governed().between(5.0, 13.0), GOVERNED), "propeller") == "ok"


def test_takeoff_flaps_are_the_procedures_or_the_profiles() -> None:
    """Ten degrees are right for a short field, or for a profile that takes off with ten; none are then wrong."""
    short = procedure("short-field")
    ten = msgspec.structs.replace(FIXED, takeoff_flaps_deg=10.0)
    for flaps, state in ((10.0, "ok"), (0.0, "not-ok")):
        assert _state(fly(takeoff(flaps_deg=flaps).between(5.0, 13.0), using=short), "flaps") == state
        assert _state(fly(takeoff(flaps_deg=flaps).between(5.0, 13.0), ten), "flaps") == state


def test_after_takeoff_says_only_what_is_wrong() -> None:
    """At 1,000 ft: flaps forgotten and oil out of the green are said, what is right is silent, what is unseen is
    asked."""
    flown = fly(takeoff(flaps_deg=10.0, oil_temperature_degf=((60.0, 165.0), (70.0, 225.0)), carburettor_heat=None))
    states = {event.id: event.more["state"] for event in flown.all("check") if event.id.startswith("after-takeoff")}
    assert states["after-takeoff.flaps"] == "not-ok"
    assert states["after-takeoff.oil-temperature"] == "not-ok"
    assert states["after-takeoff.oil-pressure"] == "ok"
    assert states["after-takeoff.carburettor-heat"] == "ask"
    assert flown.one("check", "after-takeoff.flaps").say == "Flaps"
    assert flown.one("check", "after-takeoff.oil-pressure").say is None


def test_after_takeoff_all_as_it_should_be_is_silent() -> None:
    """Nothing wrong: "After-takeoff checks" and no more."""
    checks = [event for event in fly(takeoff()).all("check") if event.id.startswith("after-takeoff")]
    assert len(checks) >= 3
    assert all(event.say is None for event in checks)


def test_mixture_where_the_height_is_not_known_is_asked() -> None:
    """Without altitude and field elevation a mixture at 0.6 may be rightly leaned: asked, and no abort at 0.5; with the
    field's elevation given it is judged by that."""
    flight = takeoff(mixture=0.5).without("altitude_ft")
    assert _state(fly(flight.between(5.0, 12.0)), "mixture") == "ask"
    assert fly(flight.between(5.0, 16.5)).warnings == []
    low, high = Options(field_elevation_ft=400.0), Options(field_elevation_ft=5000.0)
    assert fly(flight.between(5.0, 16.5), options=low).warnings == [("abort", "configuration")]
    assert fly(flight.between(5.0, 16.5), options=high).warnings == []


def test_a_wrong_configuration_counts_from_the_start_of_the_roll() -> None:
    """Without a throttle the roll is known some time after it began, and so is its phase's stamp; the second that a
    wrong configuration must last counts from there."""
    flown = fly(takeoff(parking_brake=1.0).without("throttle").between(5.0, 18.0))
    began = flown.t("phase", "takeoff-roll")
    assert flown.warnings == [("abort", "configuration")]
    assert flown.t("warning", "abort") == pytest.approx(began + 1.0, abs=0.6)


CONFIGURATION = [
    ("flaps_deg", 14.0, False), ("flaps_deg", 16.0, True), ("parking_brake", 1.0, True), ("elevator_trim", 0.68, False),
    ("elevator_trim", -0.72, True), ("mixture", 0.57, False), ("mixture", 0.5, True),
]  # fmt: skip


@pytest.mark.parametrize(("channel", "value", "aborts"), CONFIGURATION)
def test_a_configuration_unfit_for_takeoff_ends_it(channel: str, value: float, aborts: bool) -> None:
    """Flaps 15 degrees too far, the parking brake, trim beyond 0.7 or the mixture half out: an abort in the first
    second."""
    flown = fly(takeoff(**{channel: value}).between(5.0, 16.5))
    assert flown.warnings == ([("abort", "configuration")] if aborts else [])


@pytest.mark.parametrize(("takeoff_flaps_deg", "words"), [(0.0, None), (10.0, "Flaps")])
def test_after_takeoff_flaps_that_cannot_be_seen_are_asked_aloud_where_some_were_out(
    takeoff_flaps_deg: float, words: str | None
) -> None:
    """No flap channel: after a takeoff with flaps it matters and is said; without, it is asked on the screen."""
    flown = fly(takeoff(flaps_deg=None), msgspec.structs.replace(FIXED, takeoff_flaps_deg=takeoff_flaps_deg))
    item = flown.one("check", "after-takeoff.flaps")
    assert (item.more["state"], item.say) == ("ask", words)
