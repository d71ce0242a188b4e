"""A flight gone through by the coach, with everything a debrief needs: the samples it judged, and what it said."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import msgspec

from adapters.common import Setup
from adapters.session import CoachLike, Input, Session, apply, real_coach
from monitor.aircraft import Aircraft
from monitor.events import Event
from monitor.options import Options
from monitor.plausibility import Plausibility
from monitor.procedure import Procedure
from monitor.sample import Sample
from monitor.snapshot import Snapshot
from monitor.timeline import JUMP_S, Timeline
from replay.feed_clock import FeedClock
from replay.player import Step
from replay.series import Row


class Judged(msgspec.Struct, frozen=True):
    """stretches: samples with feed times, cut where feed time was restarted; events: in the order noticed.

    clock: which feed time each arrival was. noticed_ns: the arrival time at which each event was noticed.
    """

    stretches: list[list[Row]]
    events: list[Event]
    clock: FeedClock
    noticed_ns: list[int]


class ListenedCoach:
    """A coach whose samples are kept too, timed and cleaned by the same rules that it goes by."""

    def __init__(self, coach: CoachLike, stretches: list[list[Row]], clock: FeedClock | None = None) -> None:
        """Keep the samples in `stretches`, and in `clock` when they came."""
        self._coach = coach
        self._stretches = stretches
        self._clock = FeedClock() if clock is None else clock
        stretches.append([])
        self._timeline = Timeline(lambda _id, _t: None, self._restart, lambda _seconds: None, every=True)
        self._plausibility = Plausibility(lambda _id, _channel, _why, _t: None)

    def _restart(self, t: float) -> None:
        last = self._stretches[-1]
        # Time ran on: the aeroplane was put elsewhere, and the sample before is the first one there.
        there = [last.pop()] if last and 0.0 < t - last[-1][0] <= JUMP_S else []
        self._stretches.append(there)
        self._plausibility.restart()

    def feed(self, sample: Sample, arrival_s: float) -> list[Event]:
        """Judge one sample and keep what the timeline lets through, without what is not believed."""
        for t, admitted in self._timeline.offer(sample, arrival_s):
            clean = self._plausibility.clean(t, admitted, self._timeline.interval_s)
            self._stretches[-1].append((t, clean))
            self._clock.add(arrival_s, t, len(self._stretches))
        return self._coach.feed(sample, arrival_s)

    def tick(self, arrival_s: float) -> list[Event]:
        """Let time pass without a sample."""
        self._timeline.check_lost(arrival_s)
        return self._coach.tick(arrival_s)

    def end(self, arrival_s: float) -> list[Event]:
        """The stream ends here."""
        return self._coach.end(arrival_s)

    def next_deadline(self) -> float | None:
        """Arrival seconds at which a tick is worth making."""
        return self._coach.next_deadline()

    def set_voice_latency(self, latency_s: float) -> None:
        """Call to first sound, in seconds."""
        self._coach.set_voice_latency(latency_s)

    def snapshot(self) -> Snapshot:
        """What the screens show."""
        return self._coach.snapshot()

    def __getattr__(self, name: str) -> Any:
        """What else a session may ask a coach for, such as an ear for keys."""
        return getattr(self._coach, name)


def judge_flight(setup: Setup, steps: Iterable[Step]) -> Judged:
    """Go through a flight's inputs (or a log's samples) without waiting. Raises `Faults` when a log holds nothing."""
    stretches: list[list[Row]] = []
    clock = FeedClock()

    def listened(aircraft: Aircraft, procedure: Procedure, options: Options) -> CoachLike:
        return ListenedCoach(real_coach(aircraft, procedure, options), stretches, clock)

    session = Session(setup.feed, setup.aircraft, setup.procedure, setup.options, make_coach=listened)
    events: list[Event] = []
    noticed_ns: list[int] = []
    last_ns, ended = 0, False
    for step in steps:
        if isinstance(step, Input):
            events += apply(session, step)
            last_ns, ended = step.arrival_ns, step.kind == "end"
        else:
            last_ns = step[0]
            events += session.sample(step[1], last_ns)
        noticed_ns += [last_ns] * (len(events) - len(noticed_ns))
        session.take_notices()
    if not ended:
        events += session.end(last_ns)
        noticed_ns += [last_ns] * (len(events) - len(noticed_ns))
    clock.first_ns = session.first_ns or 0
    return Judged(stretches, events, clock, noticed_ns)
