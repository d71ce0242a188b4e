"""Flights of the built-in trainer as the packets of a feed, at any rate, for tests that need a whole takeoff."""

from __future__ import annotations

import socket
from functools import lru_cache

from adapters.feed import load_feed
from adapters.library import open_aircraft, open_procedure
from adapters.ports import Packet
from adapters.session import Input, Session, apply
from monitor.events import Event, to_json
from monitor.options import Options
from replay.scenarios.kinds import Fault, Scenario
from replay.trainer import Trainer
from replay.trainer_feed import encode, feed_text

AIRCRAFT_NAME = "sedge"
SENDER = "127.0.0.1:40001"
START_NS = 31_415_926_535_897


@lru_cache(maxsize=8)
def packets(rate_hz: float = 20.0, seconds: float = 100.0, fault: str | None = None, at_kt: float = 25.0) -> tuple[
    tuple[float, bytes], ...
]:  # fmt: skip
    """(time, payload) of a flight whose pilot hears nothing; `fault` begins at `at_kt` on the roll."""
    scenario = Scenario(fault=None if fault is None else Fault(fault, at_kt=at_kt))
    trainer, found = Trainer(open_aircraft(AIRCRAFT_NAME), scenario), []
    while trainer.t_s < seconds and not trainer.finished:
        values = trainer.step(1.0 / rate_hz)
        found.append((values["time_s"], encode(values)))
    return tuple(found)


def session(options: Options | None = None) -> Session:
    """A session of the real coach for the trainer's feed."""
    feed, procedure = load_feed(feed_text(), "feed trainer"), open_procedure("normal")
    return Session(feed, open_aircraft(AIRCRAFT_NAME), procedure, options or Options())


class Line:
    """A session fed packet by packet, with what a recording would keep."""

    def __init__(self) -> None:
        """Nothing yet."""
        self.session = session()
        self.inputs: list[Input] = []
        self.events: list[Event] = []
        self.now_ns = START_NS

    def send(self, at_s: float, payload: bytes, origin: str = SENDER) -> None:
        """A packet that arrives `at_s` after the start; a tick before it when 0.1 s or more passed, as live."""
        arrival_ns = START_NS + round(at_s * 1e9)
        while arrival_ns - self.now_ns > 100_000_000:
            self.now_ns += 100_000_000
            self._keep(self.session.tick(self.now_ns))
        self.now_ns = max(self.now_ns, arrival_ns)
        self._keep(self.session.packet(Packet(self.now_ns, origin, payload)))

    def end(self) -> list[Event]:
        """End, check that the kept inputs replay to the same bytes, and give the events."""
        self._keep(self.session.end(self.now_ns + 1))
        again = session()
        replayed = [to_json(event) for given in self.inputs for event in apply(again, given)]
        assert replayed == [to_json(event) for event in self.events]
        return self.events

    def _keep(self, events: list[Event]) -> None:
        self.inputs += self.session.accepted
        self.events += events


def free_port() -> int:
    """A UDP port that is free now."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


def calls(events: list[Event]) -> list[str]:
    """Ids of routine calls, in order."""
    return [event.id for event in events if event.kind == "callout"]


def warnings(events: list[Event]) -> list[tuple[str, str | None]]:
    """(id, reason) of warnings, in order."""
    return [(event.id, event.reason) for event in events if event.kind == "warning"]
