"""What was heard of each takeoff's calls, and when: the voice's log against the flight.

"Heard" is the moment the first sample of a call left the device's buffer, as far as the device tells; what lies behind
it (a wireless headset) is not in it. It becomes feed time by the packets' arrival times, see `replay.feed_clock`.
"""

from __future__ import annotations

from collections.abc import Sequence

import msgspec

from adapters.speech.spoken import Spoken
from monitor.events import Event
from replay.feed_clock import FeedClock
from replay.figures import INSTANT_S, Measures
from replay.judged import Judged
from replay.series import NotMeasured

NEAR_NS = 5_000_000_000
"""A call was handed to the voice within this time of being noticed; common practice, no source."""
AS_TEXT = "as text"
SAID, CUT, DROPPED, TEXT, UNFINISHED = "said", "cut", "dropped", "shown as text", "unfinished"


class Heard(msgspec.Struct, frozen=True):
    """One call. outcome: "said", "cut", "dropped", "shown as text" or "unfinished"; why: the reason, else empty.

    due_s: what it is measured against, in feed time, named by `against`: "VR" for "rotate" (its crossing as measured),
    "due" for the others (when the call fell due). heard_s: its first sample; None when nothing of it sounded. after_s:
    heard less due; negative is early. why also tells which of these is missing for want of data.
    """

    id: str
    say: str
    outcome: str
    against: str
    due_s: float | None = None
    heard_s: float | None = None
    after_s: float | None = None
    why: str = ""


class Call(msgspec.Struct):
    """A call's lines of the log as one. event: the coach's own, None when it does not make that call any more."""

    text: str
    id: str
    queued_ns: int
    started: Spoken | None = None
    end: Spoken | None = None
    event: Event | None = None
    takeoff: int | None = None


class SpokenLog:
    """The voice's log of a flight, each call beside the event that made it."""

    def __init__(
        self, spoken: Sequence[Spoken], events: Sequence[Event], noticed_ns: Sequence[int], clock: FeedClock
    ) -> None:
        """events, noticed_ns: what the coach noticed, and the arrival times at which it did."""
        self.clock = clock
        self.calls = gathered(spoken)
        _match(self.calls, events, noticed_ns)

    @classmethod
    def of_flight(cls, spoken: Sequence[Spoken] | str, judged: Judged) -> SpokenLog | str:
        """The log of a flight that was gone through; or, as it was told, why there is none."""
        if isinstance(spoken, str):
            return spoken
        return cls(spoken, judged.events, judged.noticed_ns, judged.clock)

    def of(self, takeoff: int) -> list[Call]:
        """The calls of a takeoff, in the order they were made."""
        return [call for call in self.calls if call.takeoff == takeoff]


def gathered(spoken: Sequence[Spoken]) -> list[Call]:
    """One entry for each call, in the order queued."""
    calls: list[Call] = []
    running: list[Call] = []
    for line in spoken:
        call = next((c for c in running if (c.text, c.id) == (line.text, line.id)), None)
        if line.what == "queued" or call is None:
            call = Call(line.text, line.id, line.at_ns)
            calls.append(call)
            running.append(call)
        if line.what == "started":
            call.started = line
        elif line.what != "queued":
            call.end = line
            running.remove(call)
    return calls


def _match(calls: Sequence[Call], events: Sequence[Event], noticed_ns: Sequence[int]) -> None:
    """Find each call's event; the takeoff is the event's, or for a call without one that of the last roll before it."""
    left = [(event, at_ns) for event, at_ns in zip(events, noticed_ns, strict=True) if event.say]
    for call in calls:
        for index, (event, at_ns) in enumerate(left):
            same = (event.id, event.say) == (call.id, call.text)
            if same and abs(call.queued_ns - at_ns) <= NEAR_NS:
                call.event, call.takeoff = event, event.takeoff
                del left[index]
                break
        else:
            rolls = zip(events, noticed_ns, strict=True)
            before = (
                e.takeoff for e, at in rolls if (e.kind, e.id) == ("phase", "takeoff-roll") and at <= call.queued_ns
            )
            call.takeoff = max((number for number in before if number is not None), default=None)


def heard_of(measures: Measures, log: SpokenLog) -> list[Heard]:
    """What was heard of one takeoff's calls."""
    return [_heard(call, measures, log.clock) for call in log.of(measures.takeoff.number)]


def _heard(call: Call, measures: Measures, clock: FeedClock) -> Heard:
    against = "VR" if call.id == "rotate" else "due"
    outcome, why = _outcome(call)
    due_s, missing = _due(call, measures)
    heard_s = _sounded_s(call, clock)
    after_s = None if heard_s is None or due_s is None else round(heard_s - due_s, 3) + 0.0
    whys = [why] if why else []
    whys += [missing] if missing else []
    return Heard(call.id, call.text, outcome, against, _rounded(due_s), _rounded(heard_s), after_s, "; ".join(whys))


def _outcome(call: Call) -> tuple[str, str]:
    """How the call ended, and why."""
    started, end = call.started, call.end
    if started is not None and started.reason.startswith(AS_TEXT):
        return TEXT, started.reason.removeprefix(AS_TEXT).removeprefix(": ")
    if end is None:
        return UNFINISHED, "the log ends before the call"
    if end.what == "finished":
        return SAID, ""
    return (CUT if end.what == "cut" and started is not None else DROPPED), end.reason


def _sounded_s(call: Call, clock: FeedClock) -> float | None:
    started = call.started
    if started is None or started.reason.startswith(AS_TEXT):
        return None
    return clock.feed_s(started.at_ns + round(started.depth_s * 1e9))


def _due(call: Call, measures: Measures) -> tuple[float | None, str]:
    """What the call is measured against, or None and why."""
    if call.id == "rotate":
        try:
            return _vr_s(measures), ""
        except NotMeasured as reason:
            return None, reason.why
    if call.event is None:
        return None, "the coach does not make this call with these options"
    return call.event.t_s, ""


def _vr_s(measures: Measures) -> float:
    """When the airspeed first reached the rotation speed."""
    takeoff, rotate = measures.takeoff, measures.aircraft.speeds_kias.rotate
    found = measures.series.column("ias_kt").crossing(rotate, takeoff.roll_start_s, takeoff.end_s, INSTANT_S)
    if found is None:
        raise NotMeasured("VR was not reached")
    return found


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 3) + 0.0


def in_words(call: Heard) -> str:
    """ "0.28 s before VR", "0.06 s after it fell due", "not said: too old"."""
    if call.heard_s is None:
        return f"{'not said' if call.outcome == DROPPED else call.outcome}{f': {call.why}' if call.why else ''}"
    what = "VR" if call.against == "VR" else "it fell due"
    when = "heard"
    if call.after_s is not None:
        when = f"{abs(call.after_s):.2f} s {'before' if call.after_s < 0 else 'after'} {what}"
    if call.outcome != SAID:
        return f"{when}, {call.outcome}{f' ({call.why})' if call.why else ''}"
    return f"{when} ({call.why})" if call.why else when
