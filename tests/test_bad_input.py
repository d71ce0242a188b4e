"""Data as it should never be: nothing crashes, nothing false is said, what is wrong is counted, the calls still come.

Every case flies the built-in trainer's whole takeoff through the live path (packets, decoder, mapping, coach) with one
kind of damage, and checks besides that the inputs a recording keeps replay to the same bytes.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator

import pytest

from tests import trainer_packets
from tests.trainer_packets import Line, calls, warnings

Damaged = Iterator[tuple[float, bytes]]
ROUTINE = ["clock", "airspeed-alive", "power-set", "rotate", "climb-speed", "flaps-up", "turn"]
COLUMNS = trainer_packets.packets(seconds=1.0)[0][1].count(b",") + 1


def packets() -> tuple[tuple[float, bytes], ...]:
    """The trainer's flight to the call for the turn, at 20 Hz."""
    return trainer_packets.packets(seconds=62.0)


def _fly(flight: Damaged) -> Line:
    line = Line()
    for at_s, payload in flight:
        line.send(at_s, payload)
    line.end()
    return line


def _check_whole(line: Line, notices: bool = True) -> None:
    """Every routine call once, none false, and the damage told (when it is damage to the data)."""
    made = calls(line.events)
    for call in ROUTINE:
        assert made.count(call) == 1, (call, made)
    assert len(made) == len(set(made))
    assert warnings(line.events) == []
    assert bool(line.session.take_notices()) == notices


def _between(junk: Callable[[random.Random], bytes]) -> Damaged:
    chance = random.Random(7)
    for at_s, payload in packets():
        yield at_s, payload
        if chance.random() < 0.2:
            yield at_s + 0.001, junk(chance)


def _cells(payload: bytes) -> list[bytes]:
    return payload.rstrip(b"\n").split(b",")


def _with(payload: bytes, column: int, cell: bytes) -> bytes:
    cells = _cells(payload)
    cells[column] = cell
    return b",".join(cells) + b"\n"


def _jumping(jump_s: float, after_s: float) -> Damaged:
    for at_s, payload in packets():
        time_ms = float(_cells(payload)[0]) + 700_000 + (1000 * jump_s if at_s > after_s else 0)
        yield at_s, _with(payload, 0, b"%d" % round(time_ms))


def test_clean_flight_makes_every_call_and_no_notice() -> None:
    """The flight that the others damage is whole: each routine call once, no warning, nothing to notice."""
    _check_whole(_fly(iter(packets())), notices=False)


@pytest.mark.parametrize(
    "junk",
    [
        lambda chance: chance.randbytes(chance.randrange(1, 400)),
        lambda chance: b"",
        lambda chance: b"\n\n\r\n",
        lambda chance: bytes(1000),
        lambda chance: b"9" * 60_000,
        lambda chance: b"," * 5_000,
        lambda chance: "ÿ€ü".encode() * 10,
    ],
    ids=["random bytes", "empty", "line ends", "zeros", "long number", "commas", "letters"],
)
def test_junk_datagrams_between(junk: Callable[[random.Random], bytes]) -> None:
    """Datagrams of junk between good ones change no call and bring no warning."""
    line = _fly(_between(junk))
    line.session.take_notices()
    _check_whole(line, notices=False)


def test_truncated_lines() -> None:
    """Every seventh line cut off anywhere is skipped or used as far as it can be judged, and told."""
    chance = random.Random(3)
    cut = [(t, p if n % 7 else p[: chance.randrange(1, len(p) - 1)]) for n, (t, p) in enumerate(packets())]
    _check_whole(_fly(iter(cut)))


def test_too_many_columns() -> None:
    """Lines with more columns than described are skipped and told."""
    wide = [(t, p if n % 7 else p.rstrip(b"\n") + b",1,2,3\n") for n, (t, p) in enumerate(packets())]
    _check_whole(_fly(iter(wide)))


@pytest.mark.parametrize("bad", [b"nan", b"-9e99", b"abc"])
def test_wild_values_in_every_column(bad: bytes) -> None:
    """A wild value or a text, walking through every column in turn, every fifth packet: told, and nothing false."""

    def flight() -> Damaged:
        for n, (at_s, payload) in enumerate(packets()):
            if n % 5 == 4:
                yield at_s, _with(payload, n // 5 % COLUMNS, bad)
            else:
                yield at_s, payload

    _check_whole(_fly(flight()))


@pytest.mark.parametrize("bad", [b"inf", b"9e99"])
def test_wild_values_in_all_columns_at_once(bad: bytes) -> None:
    """Packets of the right width that hold nothing but wild values are passed over."""
    row = b",".join([bad] * COLUMNS) + b"\n"
    line = _fly(_between(lambda chance: row))
    _check_whole(line)


def test_time_that_stands_still() -> None:
    """Time that stands for 5 s while packets arrive: paused, resumed, nothing due meanwhile, then the calls go on."""

    def flight() -> Damaged:
        shift_s = 0.0
        for at_s, payload in packets():
            yield at_s + shift_s, payload
            if round(at_s, 3) == 15.0:  # in the middle of the roll
                for n in range(1, 101):
                    yield at_s + n * 0.05, payload
                shift_s = 5.0

    line = _fly(flight())
    feed = [event.id for event in line.events if event.kind == "feed"]
    assert feed == ["started", "paused", "resumed"]
    _check_whole(line, notices=False)


@pytest.mark.parametrize("jump_s", [-600.0, -5.0, 600.0])
def test_time_that_jumps(jump_s: float) -> None:
    """A clock that jumps while the aeroplane stands: restarted, nothing fires in the gap, the takeoff is called."""

    def flight() -> Damaged:
        for at_s, payload in packets():
            yield (
                at_s,
                _with(
                    payload,
                    0,
                    b"%d" % round(float(_cells(payload)[0]) + 700_000 + (1000 * jump_s if at_s > 5.0 else 0)),
                ),
            )

    line = _fly(flight())
    feed = [event.id for event in line.events if event.kind == "feed"]
    assert feed == ["started", "restarted"]
    _check_whole(line, notices=False)


@pytest.mark.parametrize("at_s", [15.0, 21.0, 50.0])
@pytest.mark.parametrize("jump_s", [-600.0, 600.0])
def test_time_that_jumps_in_the_takeoff_brings_nothing_false(at_s: float, jump_s: float) -> None:
    """A clock that jumps in the roll or the climb brings no warning, and no call twice in one takeoff."""

    def flight() -> Damaged:
        for now_s, payload in packets():
            yield (
                now_s,
                _with(
                    payload,
                    0,
                    b"%d" % round(float(_cells(payload)[0]) + 700_000 + (1000 * jump_s if now_s > at_s else 0)),
                ),
            )

    line = _fly(flight())
    assert warnings(line.events) == []
    made = [(event.takeoff, event.id) for event in line.events if event.kind == "callout"]
    assert len(made) == len(set(made))


@pytest.mark.parametrize("from_s", [3.0, 11.0, 16.0, 40.0])
def test_feed_that_stops_for_five_seconds(from_s: float) -> None:
    """A hole of 5 s anywhere: lost and back, no warning, no call twice, and none of those due after it missing."""
    line = _fly((t, p) for t, p in packets() if not from_s < t < from_s + 5.0)
    feed = [event.id for event in line.events if event.kind == "feed"]
    assert feed == ["started", "lost", "back"]
    assert warnings(line.events) == []
    made = calls(line.events)
    assert len(made) == len(set(made))
    assert "turn" in made
    if from_s + 5.0 < 16.0:
        assert "rotate" in made


@pytest.mark.parametrize("seed", range(2))
def test_a_fifth_of_the_packets_lost(seed: int) -> None:
    """With 20 % of the packets lost at random every call still comes, once, and none false."""
    chance = random.Random(seed)
    _check_whole(_fly((t, p) for t, p in packets() if chance.random() > 0.2), notices=False)


def test_every_packet_twice() -> None:
    """Duplicates change nothing, and are counted."""

    def flight() -> Damaged:
        for at_s, payload in packets():
            yield at_s, payload
            yield at_s + 0.0004, payload

    line = _fly(flight())
    assert line.session.counts() == {"with the time of the one before": len(packets())}
    _check_whole(line, notices=False)


@pytest.mark.parametrize("seed", range(1))
def test_swapped_neighbours(seed: int) -> None:
    """Packets that overtake one another: the late one is dropped and counted, the calls still come."""
    chance, flight = random.Random(seed), list(packets())
    for n in range(0, len(flight) - 1, 2):
        if chance.random() < 0.3:
            (t1, p1), (t2, p2) = flight[n], flight[n + 1]
            flight[n], flight[n + 1] = (t1, p2), (t2, p1)
    line = _fly(iter(flight))
    assert line.session.counts()["older than one before"] > 100
    _check_whole(line, notices=False)


def test_a_second_sender_is_never_heard() -> None:
    """Another sender in the middle of its own takeoff, from the start: counted, told, and without any effect."""
    line, other = Line(), trainer_packets.packets(seconds=40.0)
    for n, (at_s, payload) in enumerate(packets()):
        line.send(at_s, payload)
        line.send(at_s + 0.01, other[(n + 400) % len(other)][1], "127.0.0.1:40002")
    line.end()
    alone = _fly(iter(packets()))
    assert line.events == alone.events
    assert line.session.refused() == {"127.0.0.1:40002": len(packets())}
    assert any("second sender" in notice for notice in line.session.take_notices())


def test_all_at_once() -> None:
    """Loss, duplicates, junk and wild values together: nothing false, and the calls still come."""
    chance = random.Random(11)

    def flight() -> Damaged:
        for at_s, payload in packets():
            draw = chance.random()
            if draw < 0.15:
                continue
            bad = chance.choice([b"nan", b"9e99", b"x", b""])
            yield at_s, _with(payload, chance.randrange(COLUMNS), bad) if draw < 0.25 else payload
            if draw > 0.9:
                yield at_s + 0.001, chance.choice([payload, chance.randbytes(50)])

    _check_whole(_fly(flight()))
