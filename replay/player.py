"""Plays inputs back through a session, paced by a clock that is handed in, or as fast as it goes."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable

import msgspec

from adapters.outputs import Outputs
from adapters.session import Input, Session, apply
from monitor.events import Event
from monitor.sample import Sample

SLICE_S = 0.1
"""Longest sleep at once, so that an interrupt ends it soon."""
SHOW_S = 1 / 30
"""Least time between two snapshots shown, on the pacing clock."""
LATE_S = 1.0
"""Later than this, a flight goes on from where it stands and does not rush after its clock."""

Step = Input | tuple[int, Sample]
"""An input of a recording, or a log's sample with its arrival in nanoseconds."""


class Pacer:
    """Waits until an arrival time is due. speed: flight seconds a second, None = no waiting."""

    def __init__(
        self,
        speed: float | None,
        now_s: Callable[[], float] = time.monotonic,
        sleep_s: Callable[[float], None] = time.sleep,
    ) -> None:
        """The first arrival waited for is due at once."""
        self.speed = speed
        self.now_s = now_s
        self._sleep_s = sleep_s
        self._start: tuple[float, int] | None = None
        self.paused = False
        """Set from outside (a key): waiting stands still until it is unset."""

    def wait(self, arrival_ns: int, stop: Callable[[], bool], idle: Callable[[], None]) -> None:
        """Sleep in slices until `arrival_ns` is due or `stop` says so; `idle` is called between slices."""
        if self.speed is None:
            return
        if self._start is None:
            self._start = (self.now_s(), arrival_ns)
        start_s, start_ns = self._start
        due_s = start_s + (arrival_ns - start_ns) / 1e9 / self.speed
        late_s = self.now_s() - due_s
        if late_s > LATE_S:  # the program or the machine was asleep
            due_s, self._start = due_s + late_s, (start_s + late_s, start_ns)
        while ((left_s := due_s - self.now_s()) > 0 or self.paused) and not stop():
            before_s = self.now_s()
            self._sleep_s(min(left_s, SLICE_S) if not self.paused else SLICE_S)
            if self.paused:
                stood_s = self.now_s() - before_s
                due_s, self._start = due_s + stood_s, (self._start[0] + stood_s, start_ns)
            idle()

    def arrival_ns(self, at_ns: int) -> int:
        """The arrival time that is due at a moment of the pacing clock, in nanoseconds; the moment itself when unpaced.

        What happened in the world (a word was heard) is so told in the flight's own time.
        """
        if self._start is None or self.speed is None:
            return at_ns
        start_s, start_ns = self._start
        return start_ns + round((at_ns - round(start_s * 1e9)) * self.speed)


class Played(msgspec.Struct):
    """How a replay went: steps played, events made, and whether it came to the end of the flight."""

    steps: int = 0
    events: int = 0
    whole: bool = False


class Player:
    """One replay: steps through a session into outputs."""

    def __init__(self, session: Session, outputs: Outputs, pacer: Pacer, stop: Callable[[], bool]) -> None:
        """`stop` is asked before each step and between slices of a wait."""
        self._session = session
        self._outputs = outputs
        self._pacer = pacer
        self._stop = stop
        self._shown_s: float | None = None
        self.played = Played()

    def play(self, steps: Iterable[Step]) -> Played:
        """Play to the end, or to `stop`. A recording without an end (killed) ends at its last arrival."""
        last_ns, ended = 0, False
        for step in steps:
            arrival_ns = step.arrival_ns if isinstance(step, Input) else step[0]
            self._wait(arrival_ns, ticking=not isinstance(step, Input))
            if self._stop():
                return self.played
            self._step(step)
            last_ns = max(last_ns, arrival_ns)
            ended = isinstance(step, Input) and step.kind == "end"
        if not ended:
            self._out(self._session.end(last_ns))
        self._outputs.show(self._session.snapshot())
        self.played.whole = True
        return self.played

    def _step(self, step: Step) -> None:
        self.played.steps += 1
        if isinstance(step, Input):
            self._out(apply(self._session, step))
        else:
            self._out(self._session.sample(step[1], step[0]))
        self._show()

    def _wait(self, arrival_ns: int, ticking: bool) -> None:
        """Wait for a step; between a log's samples a deadline is noticed when it falls due, as in a live flight."""
        if self._pacer.speed is None:
            return
        deadline_ns = self._session.next_deadline_ns() if ticking else None
        if deadline_ns is not None and deadline_ns < arrival_ns:
            self._pacer.wait(deadline_ns, self._stop, self._show)
            self._out(self._session.tick(deadline_ns))
        self._pacer.wait(arrival_ns, self._stop, self._show)

    def _out(self, events: list[Event]) -> None:
        self.played.events += len(events)
        for event in events:
            self._outputs.event(event)

    def _show(self) -> None:
        if self._pacer.speed is None:
            return
        now_s = self._pacer.now_s()
        if self._shown_s is None or now_s - self._shown_s >= SHOW_S:
            self._shown_s = now_s
            self._outputs.show(self._session.snapshot())
