"""Inputs to events: who is heard, what is kept for a recording, and that playing it back gives the same events."""

from __future__ import annotations

import random

import pytest

from adapters.feed import load_feed
from adapters.ports import Packet
from adapters.session import SENDERS_MAX, Input, Session, apply
from monitor.aircraft import Aircraft, Speeds
from monitor.events import Event, to_json
from monitor.options import Options
from monitor.procedure import Procedure
from tests.fakes import FEED, FakeCoach, roll

A, B = "127.0.0.1:40001", "127.0.0.1:40002"
AIRCRAFT = Aircraft("test", Speeds(52, 55, 72))
PROCEDURE = Procedure("test", None, {})  # type: ignore[arg-type]  # the fake coach asks for no setting
START_NS = 987_654_321_012_345


def make_session(text: str = FEED) -> Session:
    """A session of the fake coach."""
    return Session(load_feed(text, "feed test"), AIRCRAFT, PROCEDURE, Options(), make_coach=FakeCoach)


class Taped:
    """A session whose inputs and events are kept, as a recorder keeps them."""

    def __init__(self, text: str = FEED) -> None:
        """Start with nothing kept."""
        self.text = text
        self.session = make_session(text)
        self.inputs: list[Input] = []
        self.events: list[Event] = []

    def packet(self, at_s: float, payload: bytes, origin: str = A) -> list[Event]:
        """A packet at a time after the start."""
        return self.keep(self.session.packet(Packet(START_NS + round(at_s * 1e9), origin, payload)))

    def keep(self, events: list[Event]) -> list[Event]:
        """Keep what the last call accepted and made."""
        self.inputs += self.session.accepted
        self.events += events
        return events

    def tick(self, at_s: float) -> list[Event]:
        """A tick."""
        return self.keep(self.session.tick(START_NS + round(at_s * 1e9)))

    def end(self, at_s: float) -> None:
        """The end."""
        self.keep(self.session.end(START_NS + round(at_s * 1e9)))

    def replayed(self) -> list[Event]:
        """The events that the kept inputs make."""
        again = make_session(self.text)
        return [event for given in self.inputs for event in apply(again, given)]

    def check(self) -> None:
        """The promise: the kept inputs give the same bytes."""
        assert list(map(to_json, self.replayed())) == list(map(to_json, self.events))


def ids(events: list[Event]) -> list[str]:
    """The ids, in order."""
    return [event.id for event in events]


def test_coach_time_starts_at_the_first_valid_sample() -> None:
    """The coach is told seconds since the first valid sample, whatever the monotonic clock reads."""
    session = make_session()
    session.packet(Packet(START_NS - 5, A, b"junk"))
    session.packet(Packet(START_NS, A, b"0.0,0,0\n"))
    session.packet(Packet(START_NS + 50_000_000, A, b"0.05,1,0\n"))
    assert session._coach.seen == [("feed", 0.0), ("feed", 0.05)]  # type: ignore[attr-defined]


def test_the_first_sender_with_a_valid_sample_owns_the_feed() -> None:
    """Junk does not make an owner; a second sender is counted and told once, and nothing of it is kept."""
    taped = Taped()
    taped.packet(0.0, b"not telemetry", B)
    assert taped.inputs == []
    for at_s, line in roll(seconds=1.0):
        taped.packet(at_s, line, A)
        assert taped.packet(at_s, b"%.2f,60,0\n" % at_s, B) == []
        assert taped.session.accepted == ()
    assert taped.session.owner == A
    assert {given.origin for given in taped.inputs} == {A}
    assert taped.session.refused() == {B: 20}
    assert len([line for line in taped.session.take_notices() if "second sender" in line]) == 1
    assert "rotate" not in ids(taped.events)


def test_a_lost_owner_gives_way_and_the_recording_follows() -> None:
    """When the owner is lost the other sender takes over, and the kept inputs replay to the same events."""
    taped = Taped()
    for at_s, line in roll(seconds=3.0):
        taped.packet(at_s, line, A)
        taped.packet(at_s, b"%.2f,1,0\n" % at_s, B)
    assert ids(taped.tick(5.5)) == ["lost"]
    for at_s, line in roll(seconds=10.0, start_s=6.0):
        taped.packet(at_s, line, B)
    assert taped.session.owner == B
    assert ids(taped.events) == ["started", "clock", "lost", "back", "rotate"]
    taped.end(17.0)
    taped.check()


def test_a_header_seen_before_taking_over_is_remembered_and_recorded() -> None:
    """A sender that sent its header while another was heard is understood when it takes over, live and replayed."""
    named = FEED.replace('header = "optional"', 'header = "required"').replace('columns = ["t", "v", "h"]\n', "")
    taped = Taped(named)
    taped.packet(0.0, b"t,v,h\n", A)
    taped.packet(0.0, b"h,v,t\n", B)
    for at_s, line in roll(seconds=3.0):
        taped.packet(at_s, line, A)
        taped.packet(at_s, b"0,1,%.2f\n" % at_s, B)
    taped.tick(5.5)
    taped.packet(6.0, b"0.0,55,6.0\n", B)
    assert taped.session.owner == B
    assert taped.events[-1].id == "rotate"
    assert taped.events[-1].t_s == 6.0
    taped.end(6.5)
    taped.check()


def test_owner_that_returns_is_heard_again() -> None:
    """An owner that was lost and comes back before anyone else needs no new header."""
    taped = Taped()
    taped.packet(0.0, b"0.0,10,0\n")
    assert ids(taped.tick(3.0)) == ["clock", "lost"]
    assert ids(taped.packet(4.0, b"4.0,11,0\n")) == ["back"]
    taped.end(4.1)
    taped.check()


def test_ticks_that_make_nothing_are_not_kept() -> None:
    """Only ticks that made an event are inputs of the recording."""
    taped = Taped()
    assert taped.tick(0.0) == []
    taped.packet(0.0, b"0.0,10,0\n")
    taped.tick(0.5)
    taped.tick(1.5)
    assert [given.kind for given in taped.inputs] == ["prime", "packet", "tick"]


def test_voice_latency_and_keys_are_inputs() -> None:
    """A measured latency changes later events, so it is kept in its place; so are keys."""
    taped = Taped()
    for at_s, line in roll(seconds=10.0):
        if round(at_s, 3) == 4.0:
            taped.session.voice_latency(START_NS + round(at_s * 1e9), 2.0)
            taped.keep([])
            taped.keep(taped.session.key(START_NS + round(at_s * 1e9), "space"))
        taped.packet(at_s, line)
    rotate = next(event for event in taped.events if event.id == "rotate")
    assert rotate.ias_kt == pytest.approx(46.2)
    assert [given.kind for given in taped.inputs if given.kind in ("voice", "key")] == ["voice", "key"]
    taped.end(10.0)
    taped.check()


def test_many_senders_are_forgotten_in_turn_but_never_the_owner() -> None:
    """A flood from many ports takes bounded memory and does not unseat the owner."""
    taped = Taped()
    taped.packet(0.0, b"0.0,10,0\n", A)
    taped.packet(0.01, b"0.01,10,0\n", A)
    for port in range(1000):
        taped.packet(0.01 + 0.001 * port, b"0.01,10,0\n", f"127.0.0.1:{port}")
    assert len(taped.session._senders) == SENDERS_MAX
    assert [line for line in taped.session.take_notices() if "more than 16 senders" in line]
    assert len(taped.session.refused()) < SENDERS_MAX
    assert taped.session.owner == A
    taped.packet(1.5, b"1.5,11,0\n", A)
    assert taped.events[-1].id == "clock"


NAMED = FEED.replace('header = "optional"', 'header = "required"').replace('columns = ["t", "v", "h"]\n', "")


def test_a_header_that_came_while_another_was_heard_is_understood_later() -> None:
    """A sender whose only header came while another was heard takes over when that one is lost, live and replayed."""
    taped = Taped(NAMED)
    taped.packet(0.0, b"t,v,h\n", A)
    taped.packet(0.05, b"0.05,1,0\n", A)
    taped.packet(0.1, b"h,v,t\n", B)
    taped.packet(0.1, b"0.1,2,0\n", A)
    taped.tick(5.0)
    taped.packet(6.0, b"0.0,55,6.0\n", B)
    assert taped.session.owner == B
    taped.end(6.5)
    taped.check()


@pytest.mark.parametrize(("text", "head"), [(FEED, []), (NAMED, [b"t,v,h\n"])], ids=["columns", "header"])
def test_a_sender_with_a_new_port_for_each_packet_is_heard(text: str, head: list[bytes]) -> None:
    """After eight packets from ports never seen before an address is one sender; its flight is heard and replays."""
    taped = Taped(text)
    lines = [(0.0, line) for line in head] + list(roll(seconds=10.0))
    for number, (at_s, line) in enumerate(lines):
        taped.packet(at_s, line, f"192.0.2.5:{50_000 + number}")
    assert taped.session.owner == "192.0.2.5:*"
    assert "rotate" in ids(taped.events)
    assert "lost" not in ids(taped.events)
    assert taped.session.samples >= len(lines) - 8
    assert taped.session.refused() == {}
    assert sum("opens a new socket for each packet" in line for line in taped.session.take_notices()) == 1
    taped.end(11.0)
    taped.check()


def test_two_simulators_on_one_machine_stay_apart() -> None:
    """Beside a sender with new ports, one with a port of its own is another sender, whichever came first."""
    for steady_first in (True, False):
        taped = Taped()
        for number, (at_s, line) in enumerate(roll(seconds=10.0)):
            steady = (at_s, b"%.2f,3,0\n" % at_s, A)
            fresh = (at_s, line, f"127.0.0.1:{50_000 + number}")
            if steady_first:
                taped.packet(*steady)
                taped.packet(*fresh)
            else:
                taped.packet(*fresh)
                if number >= 20:
                    taped.packet(*steady)
        assert taped.session.owner == (A if steady_first else "127.0.0.1:*")
        assert ("rotate" in ids(taped.events)) != steady_first
        assert sum(given.data.endswith(b",3,0\n") for given in taped.inputs) == (
            taped.session.samples if steady_first else 1
        )
        assert sum(taped.session.refused().values()) > 10  # of the latest senders
        taped.end(11.0)
        taped.check()


@pytest.mark.parametrize("address", ["127.0.0.1", "192.0.2.66"])
def test_junk_from_ever_new_ports_changes_nothing(address: str) -> None:
    """Fifty packets of junk from new ports before each of a good feed leave inputs and events as they were."""
    alone, beside = Taped(), Taped()
    chance = random.Random(3)
    for at_s, line in roll(seconds=5.0):
        for _ in range(50):
            beside.packet(at_s, chance.randbytes(30), f"{address}:{chance.randrange(1024, 65536)}")
        alone.packet(at_s, line)
        beside.packet(at_s, line)
    assert beside.session.owner == A
    assert beside.inputs[1:] == alone.inputs[1:]  # the first says what came before
    assert list(map(to_json, beside.events)) == list(map(to_json, alone.events))
    beside.check()


@pytest.mark.parametrize("seed", range(20))
def test_any_mix_of_ports_replays_to_the_same_bytes(seed: int) -> None:
    """Senders with new ports and with their own, junk, gaps and ticks: the kept inputs give the same events."""
    chance, taped, at_s = random.Random(seed), Taped(), 0.0
    kind = 0
    for number in range(600):
        at_s += 2.5 if chance.random() < 0.02 else 0.05
        kind = chance.randrange(4) if chance.random() < 0.03 else kind
        origin = (A, B, f"127.0.0.1:{50_000 + number}", f"192.0.2.5:{chance.randrange(3000, 3100)}")[kind]
        line = b"%.3f,%.2f,0\n" % (at_s, chance.uniform(0, 55))
        taped.packet(at_s, line if chance.random() < 0.95 else chance.randbytes(20), origin)
        if chance.random() < 0.1:
            taped.tick(at_s + 0.01)
    taped.end(at_s + 1.0)
    taped.check()


@pytest.mark.parametrize("seed", range(20))
def test_any_mix_of_inputs_replays_to_the_same_bytes(seed: int) -> None:
    """Packets of two senders, junk, ticks at odd moments, latencies and gaps: the kept inputs give the same events."""
    chance, taped, at_s = random.Random(seed), Taped(), 0.0
    for _ in range(400):
        at_s += chance.choice((0.0, 0.01, 0.05, 0.05, 0.3, 2.5 if chance.random() < 0.05 else 0.05))
        line = b"%.3f,%.2f,0\n" % (at_s, chance.uniform(0, 55))
        draw = chance.random()
        if draw < 0.5:
            taped.packet(at_s, line, A if chance.random() < 0.7 else B)
        elif draw < 0.6:
            taped.packet(at_s, chance.randbytes(chance.randrange(40)), chance.choice((A, B, "127.0.0.1:9")))
        elif draw < 0.62:
            taped.session.voice_latency(START_NS + round(at_s * 1e9), chance.random())
            taped.keep([])
        else:
            taped.tick(at_s)
    taped.end(at_s + 1.0)
    assert len(taped.events) > 3
    taped.check()


def test_unknown_input_kind_is_refused() -> None:
    """An input that this version does not know is an error, not a silent gap."""
    with pytest.raises(ValueError, match="not known"):
        apply(make_session(), Input("future", 0))


@pytest.mark.parametrize(("header", "off"), [("t,v,h,p", ["bank", "flaps seen"]), ("t,v,h,p,b,f", [])])
def test_the_checks_that_an_absent_field_switches_off_are_told_once(header: str, off: list[str]) -> None:
    """Two mapped fields are in no record: what is off for want of them is told once, with the first sample; with all
    fields there nothing is told."""
    channels = 'bank_deg = { field = "b" }\nflaps_deg = { field = "f" }\npitch_deg = { field = "p" }\n'
    session = make_session(FEED.replace('columns = ["t", "v", "h"]\n', "") + channels)
    row = ",1" * header.count(",")
    told: list[list[str]] = []
    for n, line in enumerate((header, f"0{row}", f"1{row}", header, f"2{row}")):
        session.packet(Packet(START_NS + n * 10**9, A, f"{line}\n".encode()))
        lines = [line for line in session.take_notices() if line.startswith("off: ")]
        told.append([line.removeprefix("off: ").split(" (")[0] for line in lines])
    assert told == [[], off, [], [], []]
