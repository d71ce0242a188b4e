"""The order of speaking: urgency, age, repeats, cuts."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.speech.order import WAITING_MAX, Call, Waiting, call_of, cuts
from monitor.events import Event

S = 1_000_000_000


def _call(kind: str, identity: str, say: str = "", asked_s: float = 0.0, takeoff: int = 1) -> Call:
    call = call_of(Event(0.0, kind, identity, takeoff, say=say or identity), int(asked_s * S))
    assert call is not None
    return call


def _fill(*calls: Call) -> Waiting:
    waiting = Waiting()
    for call in calls:
        assert waiting.add(call, None, call.asked_ns) == []
    return waiting


def test_warning_before_caution_before_callout_before_advisory() -> None:
    """Whatever order they come in, they are said by urgency; the alerts' order is that of 14 CFR 25.1322(b)."""
    kinds = ["advisory", "callout", "warning", "caution"]
    waiting = _fill(*(_call(kind, kind) for kind in kinds))
    assert waiting.texts() == ["warning", "caution", "callout", "advisory"]


def test_rotate_goes_before_other_callouts() -> None:
    """Among callouts the one that must be heard at the rotation speed is first."""
    assert _fill(_call("callout", "clock"), _call("callout", "rotate")).texts() == ["rotate", "clock"]


def test_equals_keep_their_order() -> None:
    """Two of the same urgency are said as they came."""
    assert _fill(_call("caution", "a", asked_s=1), _call("caution", "b", asked_s=2)).texts() == ["a", "b"]


@pytest.mark.parametrize(
    ("new", "running", "remaining_s", "cut"),
    [
        (("warning", "abort"), ("advisory", "heading"), 0.9, True),
        (("warning", "abort"), ("callout", "rotate"), 0.3, True),
        (("warning", "abort"), ("drill", "armed"), 0.9, True),
        (("warning", "abort"), ("drill", "cue"), 0.9, True),
        (("warning", "oil"), ("warning", "abort"), 0.9, False),
        (("caution", "sink"), ("callout", "turn"), 0.9, True),
        (("caution", "sink"), ("callout", "turn"), 0.3, False),
        (("callout", "rotate"), ("advisory", "heading"), 0.2, True),
        (("callout", "rotate"), ("callout", "airspeed-alive"), 0.5, True),
        (("callout", "rotate"), ("caution", "airspeed"), 0.5, False),
        (("callout", "clock"), ("callout", "turn"), 2.0, False),
        (("advisory", "bank"), ("callout", "turn"), 2.0, False),
    ],
)
def test_who_cuts_whom(new: tuple[str, str], running: tuple[str, str], remaining_s: float, cut: bool) -> None:
    """A warning and "Rotate" do not wait for what is less urgent; a caution waits half a second; equals wait."""
    assert cuts(_call(*new), _call(*running), remaining_s) is cut


def test_nothing_is_cut_at_its_end() -> None:
    """What has ended is not cut."""
    assert not cuts(_call("warning", "abort"), _call("advisory", "heading"), 0.0)


def test_abort_empties_the_queue() -> None:
    """After "abort" nothing of the takeoff is said; what was waiting is given back with the reason."""
    waiting = _fill(_call("callout", "rotate"), _call("advisory", "heading"))
    dropped = waiting.add(_call("warning", "abort"), None, 0)
    assert [(item.call.id, item.reason) for item in dropped] == [("rotate", "abort"), ("heading", "abort")]
    assert waiting.texts() == ["abort"]


def test_too_old_is_dropped_with_its_age() -> None:
    """ "Rotate" a second late is of no use: it is dropped, and says how late it was."""
    waiting = _fill(_call("callout", "rotate", asked_s=1.0), _call("warning", "oil", asked_s=1.0))
    assert waiting.expire(int(1.9 * S)) == []
    dropped = waiting.expire(int(2.1 * S))
    assert [(item.call.id, item.reason) for item in dropped] == [("rotate", "too late: 1.1 s after it was due")]
    assert waiting.texts() == ["oil"]


def test_the_same_call_is_not_said_twice() -> None:
    """The same event again within 5 s of being said is a repeat; later, or of the next takeoff, it is not."""
    call = _call("warning", "abort")
    waiting = _fill(call)
    waiting.take(call, 0)
    again = [_call("warning", "abort", asked_s=at) for at in (1.0, 6.0)]
    assert [item.reason for item in waiting.add(again[0], None, S)] == ["said already"]
    assert waiting.add(_call("warning", "abort", takeoff=2), None, S) == []
    assert _fill(call).add(again[1], None, 6 * S)[0].reason == "said already"  # it still waits
    waiting.clear("test")
    assert waiting.add(again[1], None, 6 * S) == []


def test_a_dropped_call_may_come_again() -> None:
    """Only what was said makes a repeat: a call that was dropped unsaid is taken when it comes again."""
    waiting = _fill(_call("callout", "rotate"))
    waiting.expire(5 * S)
    assert waiting.add(_call("callout", "rotate", asked_s=5.0), None, 5 * S) == []


def test_late_rotate_is_no_repeat_of_rotate() -> None:
    """A pilot who has not rotated hears the word again: another event with the same words, once the first was said."""
    rotate = _call("callout", "rotate", "Rotate")
    waiting = _fill(rotate)
    waiting.take(rotate, 0)
    assert waiting.add(_call("advisory", "late-rotate", "Rotate", asked_s=2.0), None, 2 * S) == []


def test_silent_events_ask_for_nothing() -> None:
    """An event without words, or with blank ones, is no call."""
    assert call_of(Event(0.0, "phase", "climb"), 0) is None
    assert call_of(Event(0.0, "callout", "clock", say="  "), 0) is None


@given(st.lists(st.sampled_from(["warning", "caution", "callout", "advisory", "check", "drill", "feed"]), max_size=60))
def test_whatever_comes_the_queue_is_bounded_and_nothing_vanishes(kinds: list[str]) -> None:
    """However many calls come, at most `WAITING_MAX` wait, and every other one was given back with a reason."""
    waiting, dropped = Waiting(), 0
    for number, kind in enumerate(kinds):
        dropped += len(waiting.add(_call(kind, f"{kind} {number}", asked_s=number / 100), None, number))
    assert len(waiting) <= WAITING_MAX
    assert len(waiting) + dropped == len(kinds)
    ranks = [call.rule.rank for call in waiting.calls()]
    assert ranks == sorted(ranks)
