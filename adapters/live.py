"""The loop of a live flight: packets and time in, events out, everything that must be kept handed to a recorder."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence

from adapters.outputs import Outputs
from adapters.ports import Source
from adapters.session import Input, Session
from monitor.events import Event

WAIT_S = 0.1
"""Longest wait for a packet, so that an interrupt or a key ends it soon on every system."""
SHOW_S = 1 / 30
"""Least time between two snapshots shown."""

Record = Callable[[Sequence[Input], Sequence[Event]], None]


def no_record(_inputs: Sequence[Input], _events: Sequence[Event]) -> None:
    """For a flight that is not recorded."""


class Live:
    """One live flight. `stop` is asked once a turn; `now_ns` is the clock that stamped the packets."""

    def __init__(
        self,
        source: Source,
        session: Session,
        outputs: Outputs,
        *,
        record: Record = no_record,
        notice: Callable[[str], None] = lambda _line: None,
        latency_s: Callable[[], float | None] = lambda: None,
        keys: Callable[[], list[str]] = list,
        now_ns: Callable[[], int] = time.monotonic_ns,
    ) -> None:
        """Put the parts together; nothing is received yet.

        latency_s: the voice's measured latency, None before it is known. keys: names of the keys pressed since the
        last call; "q" ends the flight.
        """
        self._source = source
        self._session = session
        self._outputs = outputs
        self._record = record
        self._notice = notice
        self._latency_s = latency_s
        self._keys = keys
        self._now_ns = now_ns
        self._last_latency_s: float | None = None
        self._shown_ns: int | None = None
        self._ticked_ns = 0
        self.quit = False

    def run(self, stop: Callable[[], bool]) -> None:
        """Turn until `stop` or the key q, then end the session."""
        while not stop() and not self.quit:
            self.turn()
        self._done(self._session.end(self._now_ns()))
        self._outputs.show(self._session.snapshot())

    def turn(self) -> None:
        """One wait for a packet, and what follows from it."""
        session = self._session
        packet = self._source.receive(self._wait_s())
        if packet is not None:
            self._done(session.packet(packet))
        if packet is None or not session.accepted:
            self._ticked_ns = self._now_ns()
            self._done(session.tick(self._ticked_ns))
        self._latency()
        for key in self._keys():
            self._key(key)
        for line in session.take_notices():
            self._notice(line)
        self._show()

    def _wait_s(self) -> float:
        deadline_ns = self._session.next_deadline_ns()
        if deadline_ns is None or deadline_ns <= self._ticked_ns:
            return WAIT_S  # what a tick did not settle waits for a packet
        return min(WAIT_S, max(0.0, (deadline_ns - self._now_ns()) / 1e9))

    def _done(self, events: list[Event]) -> None:
        """Speak first, then record: the recorder only queues, but a word is worth more."""
        for event in events:
            self._outputs.event(event)
        if self._session.accepted or events:
            self._record(self._session.accepted, events)

    def _latency(self) -> None:
        latency_s = self._latency_s()
        if latency_s is not None and latency_s != self._last_latency_s:
            self._last_latency_s = latency_s
            self._session.voice_latency(self._now_ns(), latency_s)
            self._done([])

    def _key(self, key: str) -> None:
        if key == "q":
            self.quit = True
        self._done(self._session.key(self._now_ns(), key))

    def _show(self) -> None:
        now_ns = self._now_ns()
        if self._shown_ns is None or now_ns - self._shown_ns >= SHOW_S * 1e9:
            self._shown_ns = now_ns
            if not self._outputs.showing:
                return
            self._outputs.show(self._session.snapshot())
