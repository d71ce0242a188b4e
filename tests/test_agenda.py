"""Deadlines: a condition that lasts fires once, at the exact time, whenever it is looked at."""

from __future__ import annotations

from math import inf

import pytest

from monitor.agenda import Agenda, Hold


class Kept:
    """What fired, by name and time, and the order of it."""

    def __init__(self) -> None:
        """An agenda with nothing on it."""
        self.agenda = Agenda()
        self.fired: list[tuple[str, float]] = []

    def hold(self, name: str, hold_s: float) -> Hold:
        """A hold that notes its firing."""
        return Hold(self.agenda, hold_s, lambda t: self.fired.append((name, t)))


@pytest.mark.parametrize("looked_at_s", [12.0, 12.001, 30.0])
def test_it_fires_at_its_own_time_whenever_looked_at(looked_at_s: float) -> None:
    """Due at onset + hold: fired from then on, stamped then, whether looked at on the dot or long after."""
    kept = Kept()
    kept.hold("a", 2.0).begin(10.0)
    kept.agenda.run(11.999)
    assert kept.fired == []
    kept.agenda.run(looked_at_s)
    assert kept.fired == [("a", 12.0)]


def test_beginning_again_keeps_the_first_onset() -> None:
    """A condition that stays true counts from when it became true, however often it is told."""
    kept = Kept()
    hold = kept.hold("a", 1.5)
    for t in (10.0, 10.5, 11.0, 11.4):
        hold.update(True, t)
    kept.agenda.run(11.5)
    assert kept.fired == [("a", 11.5)]


def test_it_fires_once_until_it_was_false() -> None:
    """A lasting condition fires once; after it was false it may fire again, from its new onset."""
    kept = Kept()
    hold = kept.hold("a", 1.0)
    hold.update(True, 10.0)
    kept.agenda.run(20.0)
    hold.update(True, 20.0)
    kept.agenda.run(30.0)
    assert kept.fired == [("a", 11.0)]
    hold.update(False, 30.0)
    hold.update(True, 31.0)
    kept.agenda.run(40.0)
    assert kept.fired == [("a", 11.0), ("a", 32.0)]


def test_false_in_between_starts_the_hold_over() -> None:
    """A moment's relief before the hold is over means the whole hold again."""
    kept = Kept()
    hold = kept.hold("a", 2.0)
    hold.update(True, 10.0)
    hold.update(False, 11.9)
    hold.update(True, 12.0)
    kept.agenda.run(13.9)
    assert kept.fired == []
    kept.agenda.run(14.0)
    assert kept.fired == [("a", 14.0)]


def test_several_fire_in_the_order_of_their_times() -> None:
    """Looked at late, all that fell due comes in order of time, the one armed first of two at once."""
    kept = Kept()
    for name, hold_s in (("late", 3.0), ("first", 1.0), ("tied-1", 2.0), ("tied-2", 2.0)):
        kept.hold(name, hold_s).begin(5.0)
    kept.agenda.run(100.0)
    assert kept.fired == [("first", 6.0), ("tied-1", 7.0), ("tied-2", 7.0), ("late", 8.0)]


def test_the_next_deadline_is_always_known() -> None:
    """`next_due` is the earliest of what waits, infinity when nothing does."""
    kept = Kept()
    assert kept.agenda.next_due == inf
    soon, later = kept.hold("soon", 1.0), kept.hold("later", 5.0)
    later.begin(0.0)
    soon.begin(0.0)
    assert kept.agenda.next_due == 1.0
    soon.clear()
    assert kept.agenda.next_due == 5.0
    kept.agenda.run(5.0)
    assert kept.agenda.next_due == inf


def test_scheduling_anew_replaces_the_earlier_time() -> None:
    """A foreseen moment that moves is due at the new time only."""
    kept = Kept()
    hold = kept.hold("a", 0.0)
    hold.schedule(10.0)
    hold.schedule(12.0)
    kept.agenda.run(11.0)
    assert kept.fired == []
    kept.agenda.run(12.0)
    assert kept.fired == [("a", 12.0)]


def test_what_has_fired_is_not_scheduled_again() -> None:
    """After firing, a new schedule without a clear in between is not taken."""
    kept = Kept()
    hold = kept.hold("a", 0.0)
    hold.schedule(10.0)
    kept.agenda.run(10.0)
    hold.schedule(11.0)
    kept.agenda.run(50.0)
    assert kept.fired == [("a", 10.0)]


def test_clearing_the_agenda_calls_everything_off() -> None:
    """After a jump of the clock nothing that waited fires, and each may begin afresh."""
    kept = Kept()
    holds = [kept.hold(name, 1.0) for name in "abc"]
    for hold in holds:
        hold.begin(0.0)
    kept.agenda.clear()
    kept.agenda.run(100.0)
    assert kept.fired == []
    holds[1].begin(100.0)
    kept.agenda.run(101.0)
    assert kept.fired == [("b", 101.0)]


def test_one_that_fires_may_arm_another_in_the_same_look() -> None:
    """What a firing arms within the span looked at fires in the same look."""
    agenda, fired = Agenda(), list[tuple[str, float]]()
    second = Hold(agenda, 1.0, lambda t: fired.append(("second", t)))

    def both(t: float) -> None:
        fired.append(("first", t))
        second.begin(t)

    first = Hold(agenda, 1.0, both)
    first.begin(0.0)
    agenda.run(5.0)
    assert fired == [("first", 1.0), ("second", 2.0)]


@pytest.mark.parametrize(
    ("interval_s", "due_s"), [(0.05, 1.5), (1.0, 2.0), (2.0, 3.0), (2.5, 3.0), (5.0, 6.0), (9.0, 10.8)]
)
def test_a_second_sample_is_waited_for_as_long_as_it_takes(interval_s: float, due_s: float) -> None:
    """A hold of 1.5 s that one sample began waits two intervals more, 3 s at most, or until the next has had its time;
    once a second one agrees, no longer than its 1.5 s."""
    for agrees in (False, True):
        kept = Kept()
        hold = kept.hold("a", 1.5)
        hold.begin_agreed(10.0, 10.0, interval_s)
        if agrees:
            hold.begin_agreed(10.0, 10.05, 0.05)
        kept.agenda.run(30.0)
        assert kept.fired == [("a", pytest.approx(11.5 if agrees else 10.0 + due_s))]
