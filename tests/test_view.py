"""The moment as plain values for the screens: target, what comes next, gauges, the words last said."""

from __future__ import annotations

import msgspec
import pytest

from monitor.coach import Coach
from monitor.options import Options
from monitor.snapshot import Gauge, Snapshot
from tests.synthetic import ARRIVAL_S, FIXED, Flight, at, changed, procedure, rejected, takeoff


def seen(flight: Flight, at_s: float, options: Options | None = None, **style: object) -> Snapshot:
    """What the screen is given when the flight has come to a time."""
    using = changed(**style) if style else procedure()
    coach = Coach(FIXED, using, options or Options())
    for sample in flight.between(0.0, at_s).samples():
        coach.feed(sample, ARRIVAL_S + at(sample))
    return coach.snapshot()


def gauge(snapshot: Snapshot, channel: str) -> Gauge:
    """One gauge by its channel."""
    (found,) = [gauge for gauge in snapshot.gauges if gauge.channel == channel]
    return found


def test_before_any_sample_nothing_is_claimed() -> None:
    """A coach that has seen nothing shows no value, no phase, no target, and every marked gauge as off."""
    snapshot = Coach(FIXED, procedure()).snapshot()
    assert (snapshot.t_s, snapshot.phase, snapshot.takeoff, snapshot.on_wheels) == (None, None, None, None)
    assert (snapshot.ias_kt, snapshot.height_ft, snapshot.target_kt, snapshot.next_id) == (None, None, None, None)
    assert snapshot.feed == "waiting"
    assert {gauge.channel for gauge in snapshot.gauges} == set(FIXED.instruments)
    assert {gauge.state for gauge in snapshot.gauges} == {"off"}


@pytest.mark.parametrize(
    ("at_s", "phase", "target", "next_id"),
    [
        (11.5, "lined-up", ("VR", 50.0, None, None), "power-set"),
        (13.3, "takeoff-roll", ("VR", 50.0, None, None), "airspeed-alive"),
        (20.0, "takeoff-roll", ("VR", 50.0, None, None), "rotate"),
        (24.8, "rotation", ("VR", 50.0, None, None), None),
        (30.0, "initial-climb", ("VY", 70.0, 65.0, 80.0), "climb-speed"),
        (45.0, "initial-climb", ("VY", 70.0, 65.0, 80.0), "flaps-up"),
        (60.0, "initial-climb", ("VY", 70.0, 65.0, 80.0), "turn"),
        (90.0, "initial-climb", ("VY", 70.0, 65.0, 80.0), "after-takeoff"),
    ],
)
def test_target_and_what_comes_next(at_s: float, phase: str, target: tuple[object, ...], next_id: str | None) -> None:
    """VR until lift-off, then VY with the band +10/-5 kt (FAA-S-ACS-6C PA.IV.A.S11); the next call still to come."""
    snapshot = seen(takeoff(), at_s)
    assert snapshot.phase == phase
    assert (snapshot.target_name, snapshot.target_kt, snapshot.target_low_kt, snapshot.target_high_kt) == target
    assert snapshot.next_id == next_id
    assert snapshot.on_wheels is (at_s < 25.0)


def test_the_next_thing_names_its_condition() -> None:
    """A person reads what it waits for: the speed to rotate at, the height of the turn."""
    assert seen(takeoff(), 20.0).next_text == "Rotate at 50 kt"
    assert seen(takeoff(), 60.0).next_text == "Turn altitude at 500 ft"
    assert seen(takeoff(), 45.0).next_text == "Flaps at 300 ft"
    assert seen(takeoff(flaps_deg=10.0), 40.0, flaps_deg=10.0).next_text == "Flaps at 200 ft"


def test_the_values_are_the_samples() -> None:
    """Half way up: airspeed, height, climb and attitude as they were sent, in the channels' units."""
    snapshot = seen(takeoff(), 50.0)
    assert snapshot.t_s == 50.0 and snapshot.takeoff == 1
    assert snapshot.ias_kt == pytest.approx(70.0)
    assert snapshot.height_ft == pytest.approx(300.0)
    assert snapshot.altitude_ft == pytest.approx(700.0)
    assert snapshot.vertical_speed_fpm == pytest.approx(720.0, abs=5.0)
    assert (snapshot.pitch_deg, snapshot.bank_deg, snapshot.heading_deg) == (9.0, 0.0, 80.0)
    assert snapshot.runway_heading_deg == pytest.approx(80.0)
    assert snapshot.acceleration_kt_s == pytest.approx(0.0, abs=0.05)


def test_short_field_targets_best_angle_until_clear() -> None:
    """VX with its band until the obstacle's 50 ft, VY above."""
    low = seen(takeoff(), 28.5, short_field=True)
    high = seen(takeoff(), 35.0, short_field=True)
    assert (low.target_name, low.target_kt, low.target_low_kt, low.target_high_kt) == ("VX", 58.0, 53.0, 68.0)
    assert (high.target_name, high.target_kt) == ("VY", 70.0)


def test_after_an_engine_failure_best_glide_is_the_target() -> None:
    """Rpm gone in the climb: best glide, nothing next, and the warning's words stay to be read."""
    failed = takeoff(rpm=((10.0, 700.0), (12.0, 2350.0), (55.0, 2350.0), (55.3, 900.0)))
    snapshot = seen(failed, 58.0)
    assert (snapshot.target_name, snapshot.target_kt) == ("best glide", 62.0)
    assert snapshot.next_id is None
    assert snapshot.warning == "Nose down. Land ahead"


def test_after_an_abort_the_next_thing_is_to_stop() -> None:
    """On the roll, once abort was called: stop, with the words shown; before it no warning is shown."""
    dead_oil = takeoff().bend("oil_pressure_psi", 14.0, 60.0, 5.0)
    before, after = seen(dead_oil, 14.5), seen(dead_oil, 17.0)
    assert before.warning is None
    assert (after.next_id, after.next_text) == ("abort", "Stop")
    assert after.warning == "Abort, abort. Oil pressure"


def test_a_takeoffs_warning_goes_with_it() -> None:
    """Once the rejected takeoff is over, its warning is not shown any more, though it is among what was said."""
    flight = rejected(17.0).bend("oil_pressure_psi", 14.0, 60.0, 5.0)
    over = seen(flight, 46.0)
    assert over.takeoff is None and over.warning is None
    assert "abort" in {said.id for said in over.said}


@pytest.mark.parametrize(
    ("psi", "state"),
    [(75.0, "green"), (40.0, "caution"), (100.0, "caution"), (20.0, "red"), (120.0, "red"), (55.0, "green")],
)
def test_a_gauge_stands_where_its_marks_say(psi: float, state: str) -> None:
    """Oil pressure of 55 to 95 green, 25 least, 115 most: inside, beside and beyond, at takeoff power."""
    oil = gauge(seen(takeoff(oil_pressure_psi=psi), 13.5), "oil_pressure_psi")
    assert (oil.value, oil.state) == (psi, state)
    assert (oil.green, oil.low, oil.high) == ((55.0, 95.0), 25.0, 115.0)


def test_under_the_green_at_idle_means_nothing() -> None:
    """Idle rpm below its green arc is no caution; with the throttle open it is."""
    assert gauge(seen(takeoff(), 9.0), "rpm").state == "unmarked"
    assert gauge(seen(takeoff(rpm=1900.0), 13.5), "rpm").state == "caution"


def test_a_gauge_without_marks_is_shown_when_supplied() -> None:
    """Manifold pressure has no marks in this profile: unmarked when it is sent, absent when it is not."""
    sent = seen(takeoff(manifold_pressure_inhg=28.0), 13.5)
    assert gauge(sent, "manifold_pressure_inhg").state == "unmarked"
    assert "manifold_pressure_inhg" not in {g.channel for g in seen(takeoff(), 13.5).gauges}


def test_what_was_said_is_told_from_what_was_silent() -> None:
    """Spoken words as spoken; a silent call by its name, marked as not spoken; phases and checks are left out."""
    said = {one.id: one for one in seen(takeoff(), 30.0).said}
    assert (said["rotate"].text, said["rotate"].spoken) == ("Rotate", True)
    assert (said["engine-green"].text, said["engine-green"].spoken) == ("engine green", False)
    assert "initial-climb" not in said


def test_looking_changes_nothing() -> None:
    """Taking a snapshot after every sample leaves the events as they are without."""
    looked, blind = Coach(FIXED, procedure()), Coach(FIXED, procedure())
    for sample in takeoff(5.0).samples():
        assert looked.feed(sample, ARRIVAL_S + at(sample)) == blind.feed(sample, ARRIVAL_S + at(sample))
        first = looked.snapshot()
        assert msgspec.json.encode(first) == msgspec.json.encode(looked.snapshot())
