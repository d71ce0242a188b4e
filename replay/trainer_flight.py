"""A trainer's flight as the inputs of a session, one moment at a time, by a pilot who hears the coach.

The next moment is made only when it is asked for, after the events of the one before were heard: so "abort" closes
this pilot's throttle, in real time and at full speed alike, and the same scenario gives the same flight.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

from adapters.session import Input
from monitor.aircraft import Aircraft
from monitor.events import Event
from monitor.snapshot import Snapshot
from replay.scenarios.kinds import Scenario
from replay.trainer import RATE_HZ, Trainer
from replay.trainer_feed import ORIGIN, encode

START_NS = 7_919_000_000_000
"""Arrival time of the trainer's time 0: an odd start, so that a mix-up of clocks shows at once."""
_STEP_NS = round(1e9 / RATE_HZ)


class TrainerFlight:
    """One flight. Iterate `inputs()`; tell it what the coach said with `hear`."""

    def __init__(self, aircraft: Aircraft, scenario: Scenario, start_ns: int = START_NS) -> None:
        """Standing on the runway. start_ns: arrival time of the first moment's beginning."""
        self.trainer = Trainer(aircraft, scenario)
        self.values: dict[str, float] = {}
        self.paused = False
        self._arrival_ns = start_ns

    def inputs(self, done: Callable[[], bool] = lambda: False) -> Iterator[Input]:
        """The flight's packets at 20 Hz, to its end or until `done`. While paused, time stands still in them."""
        while not self.trainer.finished and not done():
            if not (self.paused and self.values):
                self.values = self.trainer.step(1.0 / RATE_HZ)
            self._arrival_ns += _STEP_NS
            yield Input("packet", self._arrival_ns, ORIGIN, encode(self.values))

    def hear(self, event: Event) -> None:
        """What the pilot does about a word: after "abort", or a failed engine in the air, the throttle is closed.

        The reaction counts from the event's own time, so that when it was noticed cannot change the flight.
        """
        if event.kind != "warning" or event.t_s is None:
            return
        if event.id in ("abort", "engine-failure"):
            due_s = event.t_s + self.trainer.scenario.reaction_s
            self.trainer.close_throttle(max(0.0, due_s - self.trainer.t_s))


class Listener:
    """An output that is the trainer's ear."""

    def __init__(self, flight: TrainerFlight) -> None:
        """Listen for `flight`."""
        self._flight = flight

    def start(self) -> str | None:
        """Nothing to say."""
        return None

    def event(self, event: Event) -> None:
        """Pass the word on."""
        self._flight.hear(event)

    def show(self, snapshot: Snapshot) -> None:
        """The pilot looks at the gauges, not at the coach's screen."""

    def close(self) -> None:
        """Nothing to close."""
