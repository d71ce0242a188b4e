"""What is said next: calls waiting, by urgency and age. Pure; times are arguments, integer nanoseconds.

Warnings come before cautions before callouts before advisories (14 CFR 25.1322(b) gives that order for alerts; the
place of the callouts in it is our own). A call too old to be worth saying is dropped; the same call is not said
twice; "abort" empties the queue. A more urgent call cuts a running one when it cannot wait for its end: a warning
never waits, nor does "Rotate", which must be heard at the rotation speed.
"""

from __future__ import annotations

from collections import deque

import msgspec

from monitor.callouts import urgency, worth_saying_s
from monitor.events import Event

S = 1_000_000_000
REPEAT_S = 5.0  # the same event again within this is the same call (common practice, no source)
WAITING_MAX = 32


class Rule(msgspec.Struct, frozen=True):
    """rank: 0 is the most urgent. ttl_s: how long it is worth saying. patience_s: how long it waits before it cuts."""

    rank: int
    ttl_s: float
    patience_s: float


_PATIENCE_S = {"warning": 0.0, "caution": 0.5, "callout": 0.7, "drill": 0.7, "check": 4.0, "feed": 4.0, "advisory": 4.0}
_AT_ONCE = {("callout", "rotate"): 0.0, ("advisory", "late-rotate"): 0.0, ("drill", "cue"): 0.1}
"""How long a kind, and single events, wait for the end of what is being said (common practice, no source)."""


def rule_for(event: Event) -> Rule:
    """Urgency and lifetime as the coach has them for the event, and our own patience."""
    patience_s = _AT_ONCE.get((event.kind, event.id), _PATIENCE_S.get(event.kind, 4.0))
    return Rule(urgency(event), worth_saying_s(event), patience_s)


class Call(msgspec.Struct, frozen=True):
    """One call to say: its words, whose it is, its rule, and when it was asked for."""

    text: str
    id: str
    key: tuple[str, str, int | None, str]
    rule: Rule
    asked_ns: int

    @property
    def empties_queue(self) -> bool:
        """True for "abort": nothing of the takeoff is worth saying after it."""
        return self.key[:2] == ("warning", "abort")

    def age_s(self, now_ns: int) -> float:
        """Seconds since it was asked for."""
        return (now_ns - self.asked_ns) / S


def call_of(event: Event, asked_ns: int) -> Call | None:
    """The call an event asks for, or None when it is silent."""
    if not event.say or not event.say.strip():
        return None
    text = event.say.strip()
    return Call(text, event.id, (event.kind, event.id, event.takeoff, text), rule_for(event), asked_ns)


class Dropped(msgspec.Struct, frozen=True):
    """A call that will not be said, and why."""

    call: Call
    reason: str


class Waiting:
    """The calls not yet said. Bounded; every call that leaves unsaid is given back with the reason."""

    def __init__(self) -> None:
        """Nothing waits, nothing was said."""
        self._calls: list[Call] = []
        self._said: deque[tuple[Call, int]] = deque(maxlen=64)

    def __len__(self) -> int:
        """How many calls wait."""
        return len(self._calls)

    def add(self, call: Call, current: Call | None, now_ns: int) -> list[Dropped]:
        """Take a call in. Returns what is dropped for it: itself when it is a repeat, others when it is "abort"."""
        if self._repeats(call, current, now_ns):
            return [Dropped(call, "said already")]
        dropped: list[Dropped] = []
        if call.empties_queue:
            dropped = [Dropped(other, "abort") for other in self._calls]
            self._calls = []
        self._calls.append(call)
        self._calls.sort(key=lambda item: (item.rule.rank, item.rule.patience_s > 0, item.asked_ns))
        if len(self._calls) > WAITING_MAX:
            dropped.append(Dropped(self._calls.pop(), "too many calls waiting"))
        return dropped

    def _repeats(self, call: Call, current: Call | None, now_ns: int) -> bool:
        """The same event within `REPEAT_S`, or the same words waiting or being said."""
        others = [*self._calls, *([current] if current else [])]
        if any(other.text == call.text and other.rule.rank <= call.rule.rank for other in others):
            return True
        return any(other.key == call.key and now_ns - at < REPEAT_S * S for other, at in self._said)

    def expire(self, now_ns: int) -> list[Dropped]:
        """Remove the calls too old to be worth saying."""
        stale = [call for call in self._calls if call.age_s(now_ns) > call.rule.ttl_s]
        self._calls = [call for call in self._calls if call not in stale]
        return [Dropped(call, f"too late: {call.age_s(now_ns):.1f} s after it was due") for call in stale]

    def clear(self, reason: str) -> list[Dropped]:
        """Remove all."""
        dropped, self._calls = [Dropped(call, reason) for call in self._calls], []
        return dropped

    def texts(self) -> list[str]:
        """The words that wait, most urgent first."""
        return [call.text for call in self._calls]

    def calls(self) -> list[Call]:
        """The calls that wait, most urgent first."""
        return list(self._calls)

    def take(self, call: Call, now_ns: int) -> None:
        """`call` is being said now; only this makes a later one a repeat, so that a dropped call may come again."""
        self._calls.remove(call)
        self._said.append((call, now_ns))


def cuts(call: Call, current: Call, remaining_s: float) -> bool:
    """Whether `call` cuts `current`, which would sound for `remaining_s` more."""
    if call.rule.rank > current.rule.rank or remaining_s <= 0.0:
        return False
    if call.rule.rank == current.rule.rank:
        return call.rule.patience_s == 0.0 and current.rule.patience_s > 0.0 and remaining_s > 0.1
    return remaining_s > call.rule.patience_s
