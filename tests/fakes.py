"""Stand-ins that keep the protocols of the real parts: a small coach, a scripted source, an output that keeps all."""

from __future__ import annotations

from collections.abc import Iterable

from adapters.ports import Packet
from monitor.aircraft import Aircraft
from monitor.events import Event
from monitor.options import Options
from monitor.procedure import Procedure
from monitor.sample import Sample
from monitor.snapshot import Snapshot


class FakeCoach:
    """Calls "rotate" at 52 kt (less the voice's latency in kt/s), "clock" 1 s after the first sample, and the feed.

    Its deadlines run on arrival seconds, so what it says depends on ticks, arrival times and latency as well as on
    samples: enough to catch a recording that loses any of them.
    """

    def __init__(self, aircraft: Aircraft, procedure: Procedure, options: Options) -> None:
        """Nothing seen yet."""
        self.seen: list[tuple[str, float]] = []
        self._rotate_kt = 52.0
        self._first_s: float | None = None
        self._last_s = 0.0
        self._clock_said = self._rotated = self._lost = False
        self._time_s: float | None = None
        self._ias_kt: float | None = None

    def feed(self, sample: Sample, arrival_s: float) -> list[Event]:
        """One sample."""
        self.seen.append(("feed", arrival_s))
        events = [] if self._first_s is not None else [self._event("feed", "started")]
        if self._first_s is None:
            self._first_s = arrival_s
        else:
            events += self._due(arrival_s)
        if self._lost:
            self._lost = False
            events.append(self._event("feed", "back"))
        self._last_s, self._time_s, self._ias_kt = arrival_s, sample.time_s, sample.ias_kt
        if not self._rotated and (sample.ias_kt or 0.0) >= self._rotate_kt:
            self._rotated = True
            events.append(self._event("callout", "rotate", "Rotate"))
        return events

    def tick(self, arrival_s: float) -> list[Event]:
        """Time passes."""
        return self._due(arrival_s)

    def end(self, arrival_s: float) -> list[Event]:
        """The end."""
        return [*self._due(arrival_s), self._event("feed", "ended", more={"arrival": round(arrival_s, 6)})]

    def next_deadline(self) -> float | None:
        """When the clock call or the loss of the feed falls due."""
        if self._first_s is None:
            return None
        times = [] if self._lost else [self._last_s + 2.0]
        return min([*times, *([] if self._clock_said else [self._first_s + 1.0])], default=None)

    def set_voice_latency(self, latency_s: float) -> None:
        """Call earlier."""
        self._rotate_kt = 52.0 - 3.0 * latency_s

    def snapshot(self) -> Snapshot:
        """What little is known."""
        return Snapshot(t_s=self._time_s, ias_kt=self._ias_kt, feed="lost" if self._lost else "on")

    def _due(self, arrival_s: float) -> list[Event]:
        events: list[Event] = []
        assert self._first_s is not None
        if not self._clock_said and arrival_s >= self._first_s + 1.0:
            self._clock_said = True
            events.append(self._event("callout", "clock", "Clock"))
        if not self._lost and arrival_s >= self._last_s + 2.0:
            self._lost = True
            events.append(self._event("feed", "lost"))
        return events

    def _event(self, kind: str, id: str, say: str | None = None, more: dict[str, float] | None = None) -> Event:
        return Event(self._time_s, kind, id, say=say, ias_kt=self._ias_kt, more=more or {})


class Kept:
    """An output that keeps everything; `fail_on` makes it raise on an event of that id."""

    def __init__(self, fail_on: str | None = None) -> None:
        """Nothing kept yet."""
        self.events: list[Event] = []
        self.shown: list[Snapshot] = []
        self.notices: list[str] = []
        self.closed = 0
        self._fail_on = fail_on

    def start(self) -> str | None:
        """Say that it is there."""
        return "kept"

    def event(self, event: Event) -> None:
        """Keep, or fail as asked."""
        if event.id == self._fail_on:
            raise RuntimeError("as asked")
        self.events.append(event)

    def notice(self, text: str) -> None:
        """Keep a line."""
        self.notices.append(text)

    def show(self, snapshot: Snapshot) -> None:
        """Keep a snapshot."""
        self.shown.append(snapshot)

    def close(self) -> None:
        """Count."""
        self.closed += 1


class SetClock:
    """A clock that stands until it is set or slept on; starts at an odd number so that mixing two clocks shows."""

    def __init__(self, start_s: float = 12_345.678) -> None:
        """Stand at `start_s`."""
        self.now_s = start_s
        self.slept: list[float] = []

    def __call__(self) -> float:
        """Seconds."""
        return self.now_s

    def now_ns(self) -> int:
        """Nanoseconds."""
        return round(self.now_s * 1e9)

    def sleep(self, seconds: float) -> None:
        """Pass."""
        self.slept.append(seconds)
        self.now_s += seconds


class ScriptedSource:
    """Packets at set times on a `SetClock`; waiting moves the clock. Times are seconds after the clock's start."""

    def __init__(self, clock: SetClock, script: Iterable[tuple[float, str, bytes]]) -> None:
        """script: (time, origin, payload), in order."""
        self._clock = clock
        self._start_s = clock.now_s
        self._script = list(script)
        self.closed = False

    @property
    def done(self) -> bool:
        """Whether every packet was received."""
        return not self._script

    def receive(self, timeout_s: float) -> Packet | None:
        """The next packet when it comes within the timeout."""
        if self._script:
            at_s, origin, payload = self._script[0]
            if self._start_s + at_s <= self._clock.now_s + timeout_s:
                self._script.pop(0)
                self._clock.now_s = max(self._clock.now_s, self._start_s + at_s)
                return Packet(self._clock.now_ns(), origin, payload)
        self._clock.now_s += max(timeout_s, 0.001)
        return None

    def describe(self) -> str:
        """A name."""
        return "script"

    def close(self) -> None:
        """Note it."""
        self.closed = True


FEED = """
name = "test feed"
[transport]
kind = "udp"
port = 5501
[decode]
format = "delimited"
header = "optional"
columns = ["t", "v", "h"]
[channels]
time_s = { field = "t" }
ias_kt = { field = "v" }
height_ft = { field = "h" }
"""
"""A feed of three columns."""


def roll(rate_hz: float = 20.0, seconds: float = 10.0, start_s: float = 0.0) -> list[tuple[float, bytes]]:
    """(time, packet): a roll that gains 6 kt a second, as lines of `FEED`."""
    count = round(seconds * rate_hz)
    times = [start_s + n / rate_hz for n in range(count)]
    return [(t, f"{t:.3f},{6.0 * (t - start_s):.2f},0.0\n".encode()) for t in times]
