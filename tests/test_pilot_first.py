"""The pilot calls first: the coach waits a settable moment for the pilot's own action, and speaks only where none
came."""

from __future__ import annotations

import pytest

from monitor.options import Options
from tests.synthetic import Flown, Value, changed, fly, takeoff

FIRST = changed(pilot_calls_first=True)


def _flown(to_s: float = 60.0, using: object = FIRST, **lines: Value) -> Flown:
    return fly(takeoff(**lines).between(5.0, to_s), using=using)  # type: ignore[arg-type]


def test_a_pilot_who_rotates_by_himself_hears_nothing() -> None:
    """The nose 2 degrees up within a second of the call's moment: the call is in the stream, silent, marked as
    acted."""
    event = _flown(30.0, pitch_deg=((23.2, 0.0), (26.2, 9.0))).one("callout", "rotate")
    assert event.say is None
    assert event.more["pilot"] == "acted"
    assert event.t_s == pytest.approx(23.2, abs=2e-3)


def test_a_pilot_who_does_not_is_told_after_a_second() -> None:
    """The nose still down a second after the call's moment: "Rotate", with the moment it fell due."""
    event = _flown(30.0).one("callout", "rotate")
    assert event.say == "Rotate"
    assert event.more["pilot"] == "waited"
    assert event.t_s == pytest.approx(23.2, abs=2e-3)


@pytest.mark.parametrize(("up_s", "words"), [(43.0, None), (45.0, "Flaps up")])
def test_flaps_raised_within_two_seconds_need_no_word(up_s: float, words: str | None) -> None:
    """Due at 200 ft (41.667 s): flaps that move by 43 s are the pilot's own; by 45 s they were called."""
    event = _flown(flaps_deg=((up_s, 10.0), (up_s + 3.0, 0.0))).one("callout", "flaps-up")
    assert event.say == words


def test_how_long_to_wait_is_a_setting() -> None:
    """With four seconds the pilot of 45 s was in time."""
    patient = changed(pilot_calls_first=True, pilot_first_s=4.0)
    assert _flown(using=patient, flaps_deg=((45.0, 10.0), (48.0, 0.0))).one("callout", "flaps-up").say is None


def test_each_call_comes_once_still() -> None:
    """Waiting brings no call twice and loses none."""
    calls = _flown(116.0).ids("callout")
    assert len(calls) == len(set(calls))
    assert set(calls) == set(fly(takeoff().between(5.0, 116.0)).ids("callout"))


def test_warnings_do_not_wait() -> None:
    """ "Abort" waits for nobody."""
    flown = _flown(20.0, oil_pressure_psi=((13.0, 75.0), (15.0, 10.0)))
    assert flown.t("warning", "abort") == pytest.approx(13.0 + 2.0 * 50.0 / 65.0 + 1.5, abs=2e-3)


# ---- said at "correct" only ------------------------------------------------------------------------------------------


def test_an_altitude_flown_past_is_said_at_correct() -> None:
    """A hundred feet past the altitude to level off at: "Altitude"."""
    flown = fly(takeoff().between(5.0, 110.0), options=Options(level_off_ft=1000.0, level="correct"))
    assert flown.one("callout", "level-off").say is None
    event = flown.one("advisory", "level-off")
    assert event.say == "Altitude"
    assert event.t_s == pytest.approx(25.0 + 700.0 / 12.0, abs=0.1)


def test_oil_out_of_the_green_is_said_at_correct() -> None:
    """At "correct", power set with the oil not green: "Check oil"."""
    flown = fly(takeoff(oil_temperature_degf=100.0).between(5.0, 20.0), options=Options(level="correct"))
    assert [event.say for event in flown.all("advisory", "engine-green")] == ["Check oil"]


def test_levels_of_single_items_come_with_the_options_too() -> None:
    """What the logbook suggests for one item counts over the procedure's level."""
    flown = fly(takeoff().between(5.0, 70.0), options=Options(levels={"turn": "test", "rotate": "correct"}))
    assert flown.said("turn") is None
    assert flown.said("rotate") is None
    assert flown.said("flaps-up") == "Flaps checked"
