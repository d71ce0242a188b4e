"""How often we look, and how the stream is cut, cannot change an answer: the property that makes live equal replay."""

from __future__ import annotations

import random
from functools import lru_cache

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from adapters.ports import Packet
from monitor.events import to_json
from tests.trainer_packets import SENDER, START_NS, packets, session

FLIGHTS = (None, "rpm", "oil", "airspeed", "engine", "power", "swing")
RATES_HZ = (1.0, 5.0, 20.0, 60.0)
SECONDS = 62.0
FEW = settings(max_examples=5, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True)
MANY = settings(FEW, max_examples=150, derandomize=False)
STREAMS = given(
    rate_hz=st.sampled_from(RATES_HZ),
    fault=st.sampled_from(FLIGHTS),
    seed=st.integers(0, 10**6),
    speed=st.sampled_from((0.8, 1.0, 10.0)),  # slower still, and the wall clock would rightly call 1 Hz lost
)
CUTS = given(rate_hz=st.sampled_from(RATES_HZ), fault=st.sampled_from(FLIGHTS), part=st.floats(0.0, 1.0))


@lru_cache(maxsize=32)
def _plain(fault: str | None, rate_hz: float) -> tuple[bytes, ...]:
    """The events of a flight fed sample by sample, no tick at all."""
    line, lines = session(), list[bytes]()
    for at_s, payload in packets(rate_hz, SECONDS, fault):
        lines += map(to_json, line.packet(Packet(START_NS + round(at_s * 1e9), SENDER, payload)))
    return (*lines, *map(to_json, line.end(START_NS + round(SECONDS * 1e9))))


def _cut(fault: str | None, rate_hz: float, seed: int, speed: float) -> list[bytes]:
    """The same flight, with ticks at random moments, jittered arrivals, several lines a datagram, at another speed."""
    chance, line, lines = random.Random(seed), session(), list[bytes]()
    flight, n, now_ns = packets(rate_hz, SECONDS, fault), 0, 0
    together = 4 if rate_hz >= 5 else 1
    while n < len(flight):
        count = chance.randint(1, together)
        group = flight[n : n + count]
        n += count
        arrival_ns = round((group[-1][0] + chance.uniform(0.0, 0.2 / rate_hz)) / speed * 1e9)
        for _ in range(chance.choice((0, 0, 1, 3))):
            now_ns = max(now_ns, chance.randint(now_ns, max(arrival_ns, now_ns)))
            lines += map(to_json, line.tick(START_NS + now_ns))
        now_ns = max(now_ns, arrival_ns)
        lines += map(to_json, line.packet(Packet(START_NS + now_ns, SENDER, b"".join(p for _, p in group))))
    return [*lines, *map(to_json, line.end(START_NS + now_ns))]


def _check_changes_nothing(rate_hz: float, fault: str | None, seed: int, speed: float) -> None:
    assert _cut(fault, rate_hz, seed, speed) == list(_plain(fault, rate_hz))


def _check_beginning(rate_hz: float, fault: str | None, part: float) -> None:
    flight, whole = packets(rate_hz, SECONDS, fault), _plain(fault, rate_hz)
    line, lines = session(), list[bytes]()
    cut = flight[: 1 + round(part * (len(flight) - 1))]
    for at_s, payload in cut:
        lines += map(to_json, line.packet(Packet(START_NS + round(at_s * 1e9), SENDER, payload)))
    lines += map(to_json, line.end(START_NS + round(cut[-1][0] * 1e9) + 1))
    assert lines == list(whole[: len(lines)])


@FEW
@STREAMS
def test_ticks_datagrams_and_speed_change_nothing(rate_hz: float, fault: str | None, seed: int, speed: float) -> None:
    """Ticks at any moment up to the next arrival, datagrams of one to four lines, any speed: the same bytes."""
    _check_changes_nothing(rate_hz, fault, seed, speed)


@FEW
@CUTS
def test_a_flight_cut_off_holds_what_came_before(rate_hz: float, fault: str | None, part: float) -> None:
    """Cut off anywhere, the events are the beginning of the whole flight's, with everything due by then."""
    _check_beginning(rate_hz, fault, part)


@pytest.mark.long
@MANY
@STREAMS
def test_many_streams_cut_any_way(rate_hz: float, fault: str | None, seed: int, speed: float) -> None:
    """The same with many more examples, new ones each time."""
    _check_changes_nothing(rate_hz, fault, seed, speed)


@pytest.mark.long
@MANY
@CUTS
def test_many_flights_cut_off(rate_hz: float, fault: str | None, part: float) -> None:
    """The same with many more examples, new ones each time."""
    _check_beginning(rate_hz, fault, part)


def test_the_flights_are_worth_cutting() -> None:
    """The flights hold calls, warnings and phases, so that the properties above say something."""
    for fault in FLIGHTS:
        lines = b"\n".join(_plain(fault, 20.0))
        assert lines.count(b'"kind":"phase"') >= 3
        assert (b'"kind":"warning"' in lines) == (fault is not None), fault
