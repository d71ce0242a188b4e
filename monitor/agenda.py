"""Deadlines: conditions that must last, and moments foreseen, each falling due at an exact feed time.

A thing that is due is stamped when it fell due, whether noticed 0.01 or 2 s later, so that how often the coach is
asked cannot change an answer.
"""

from __future__ import annotations

from collections.abc import Callable
from math import inf

AGREED_WITHIN_S = 3.0  # so long, at most, a second sample is waited for,
AGREED_WITHIN_DTS = 1.2  # or of very slow data until it has had its time (common practice, no source)


class Hold:
    """A condition that must last `hold_s` seconds before it counts.

    `begin(onset)` when it becomes true (again and again is harmless), `clear()` when it is false. When it has lasted,
    `fire(due_s)` is called once; it can fire again only after `clear`.
    """

    __slots__ = ("_agenda", "due", "fire", "fired", "hold_s", "since")

    def __init__(self, agenda: Agenda, hold_s: float, fire: Callable[[float], None]) -> None:
        self._agenda = agenda
        self.hold_s = hold_s
        self.fire = fire
        self.since: float | None = None
        self.due = inf
        self.fired = False

    def begin(self, onset: float) -> None:
        """The condition became true at `onset`; nothing happens if it was true already."""
        if self.since is None:
            self.since = onset
            self.schedule(onset + self.hold_s)

    def schedule(self, due: float) -> None:
        """Let it fall due at `due` unless it has fired; an earlier arrangement is replaced."""
        if not self.fired:
            self.due = due
            self._agenda.add(self)

    def clear(self) -> None:
        """The condition is false: what was waiting is off, and it may fire again."""
        if self.since is not None or self.due != inf or self.fired:
            self.since = None
            self.due = inf
            self.fired = False
            self._agenda.remove(self)

    def again(self, due: float) -> None:
        """Let it fire at `due`, though it has fired already."""
        self.fired = False
        self.schedule(due)

    def at_least_until(self, moment: float) -> None:
        """While it waits: not due before `moment`, so that with slow data one more sample has its say."""
        if not self.fired and self.due < moment:
            self.schedule(moment)

    def begin_agreed(self, onset: float, now: float, interval_s: float) -> None:
        """The condition holds in the sample at `now`, true since `onset`: it counts once it has lasted and a second
        sample says so too, for one alone may be a damaged value; two intervals without any are enough as well.
        interval_s: since the sample before. A gap may make it long; that delays nothing that the next sample says too.
        """
        if self.since is None:
            self.begin(onset)
            most_s = max(AGREED_WITHIN_S, AGREED_WITHIN_DTS * interval_s)
            self.at_least_until(now + min(2.0 * interval_s, most_s))
        elif not self.fired:
            due = max(self.since + self.hold_s, now)
            if self.due > due:
                self.schedule(due)

    def update_agreed(self, true: bool, onset: float, now: float, interval_s: float) -> None:
        """`begin_agreed(onset, now, interval_s)` or `clear()`."""
        if true:
            self.begin_agreed(onset, now, interval_s)
        elif self.since is not None:
            self.clear()

    def update(self, true: bool, onset: float) -> None:
        """`begin(onset)` or `clear()`."""
        if true:
            self.begin(onset)
        elif self.since is not None:
            self.clear()


class Agenda:
    """The holds that wait, and when the next falls due."""

    __slots__ = ("_armed", "next_due")

    def __init__(self) -> None:
        self._armed: list[Hold] = []
        self.next_due = inf

    def add(self, hold: Hold) -> None:
        """Wait for `hold.due`."""
        if hold not in self._armed:
            self._armed.append(hold)
        self._refresh()

    def remove(self, hold: Hold) -> None:
        """Wait for it no longer."""
        if hold in self._armed:
            self._armed.remove(hold)
            self._refresh()

    def clear(self) -> None:
        """Call off what is armed, as after a jump of the clock; a hold that has fired, and waits no more, stays so."""
        for hold in list(self._armed):
            hold.clear()

    def shift(self, seconds: float) -> None:
        """Time stood still for so long: what waits falls due so much later."""
        for hold in self._armed:
            hold.due += seconds
            if hold.since is not None:
                hold.since += seconds
        self._refresh()

    def run(self, until: float) -> None:
        """Fire, in order of their times, all that fell due up to `until` (feed time, seconds)."""
        while self.next_due <= until:
            hold = min(self._armed, key=lambda armed: armed.due)  # the first armed wins a tie
            due = hold.due
            hold.due = inf
            hold.fired = True
            self._armed.remove(hold)
            self._refresh()
            hold.fire(due)

    def _refresh(self) -> None:
        self.next_due = min((hold.due for hold in self._armed), default=inf)
