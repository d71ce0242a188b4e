"""From inputs to events: one code for a live flight, a replay and a test. No socket, file, thread or clock in here.

Everything that can change what the coach says comes in as a call with an arrival time (monotonic, integer
nanoseconds), and after each call `accepted` holds the inputs that a recording must keep. Handing exactly those to
another session, in order, with `apply`, gives exactly the same events.

Who is heard: the first sender whose packet gives a valid sample owns the feed until the coach calls it lost; then
the first to give one again. Others are counted and shown, never recorded. A sender that opens a new socket for each
packet is known by its address (`adapters.fresh_ports`). Decoders keep state (a header line), so
each sender has its own, and of one who is not heard we remember the first and the latest packets: when it takes
over, a fresh decoder is primed with those, and they go into the recording as one "prime" input.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Iterable, Sequence
from typing import TYPE_CHECKING, Protocol

import msgspec

from adapters.checks_off import ChecksOff
from adapters.fresh_ports import FreshPorts, address_of
from adapters.ports import Packet
from adapters.senders import Kept, MakeDecoding, PipelineLike, Sender, real_decoding
from monitor.aircraft import Aircraft
from monitor.events import Event
from monitor.options import Options
from monitor.procedure import Procedure
from monitor.sample import Sample
from monitor.snapshot import Snapshot

if TYPE_CHECKING:
    from adapters.feed import FeedDescription

SENDERS_MAX = 16
"""Senders remembered at once; one more makes us forget the one silent longest (never the one heard)."""
NOTICES_MAX = 200
"""Notices waiting to be taken; beyond that they are only counted."""


_DROPPED = {
    "late": "older than one before",
    "repeat": "with the time of the one before",
    "jump": "with a time out of line",
    "no_time": "without a time",
}


class Input(msgspec.Struct, frozen=True):
    """One thing that came in. kind: "packet", "prime", "tick", "key", "voice" or "end".

    arrival_ns: monotonic nanoseconds. origin: the sender of a packet, else "". data: a packet's payload, a key's
    name in UTF-8, the voice's latency in seconds as text, or a prime's packets as a MessagePack list.
    """

    kind: str
    arrival_ns: int
    origin: str = ""
    data: bytes = b""


class CoachLike(Protocol):
    """What a session needs of a coach; `monitor.coach.Coach` is the real one."""

    def feed(self, sample: Sample, arrival_s: float) -> list[Event]:
        """Judge one sample."""
        ...

    def tick(self, arrival_s: float) -> list[Event]:
        """Let time pass without a sample."""
        ...

    def end(self, arrival_s: float) -> list[Event]:
        """The stream ends here."""
        ...

    def next_deadline(self) -> float | None:
        """Arrival seconds at which a tick is worth making."""
        ...

    def set_voice_latency(self, latency_s: float) -> None:
        """Call to first sound, in seconds."""
        ...

    def snapshot(self) -> Snapshot:
        """What the screens show."""
        ...


MakeCoach = Callable[[Aircraft, Procedure, Options], CoachLike]


def real_coach(aircraft: Aircraft, procedure: Procedure, options: Options) -> CoachLike:
    """The coach itself."""
    from monitor.coach import Coach

    return Coach(aircraft, procedure, options)


class Session:
    """Inputs in, events out. `accepted`: what the last call adds to a recording (empty: nothing)."""

    def __init__(
        self,
        feed: FeedDescription,
        aircraft: Aircraft,
        procedure: Procedure,
        options: Options,
        *,
        make_coach: MakeCoach = real_coach,
        make_decoding: MakeDecoding = real_decoding,
    ) -> None:
        """Start with no sender and no time known."""
        self.accepted: tuple[Input, ...] = ()
        self.samples = 0
        self._feed = feed
        self._checks_off = ChecksOff(feed, aircraft, procedure, options)
        self._make_decoding = make_decoding
        self._coach = make_coach(aircraft, procedure, options)
        self._senders: OrderedDict[str, Sender] = OrderedDict()
        self._owner: str | None = None
        self._held = False
        self._first_ns: int | None = None
        self._notices: list[str] = []
        self._notices_lost = 0
        self._refused: dict[str, int] = {}
        self._primed: str | None = None
        self._many_told = False
        self._ports = FreshPorts(self._is_feed)

    @property
    def owner(self) -> str | None:
        """The origin that is heard, or was heard last; None before the first valid sample."""
        return self._owner

    @property
    def first_ns(self) -> int | None:
        """The arrival time at which coach seconds are 0; None before the first input that counts."""
        return self._first_ns

    def packet(self, packet: Packet) -> list[Event]:
        """One packet as it arrived. Events in the order noticed."""
        if packet.origin != self._owner:
            origin = self._ports.sender_of(packet, self._may_be_whole)
            if origin != packet.origin:
                packet = Packet(packet.arrival_ns, origin, packet.payload)
        return self.settled(packet)

    def settled(self, packet: Packet) -> list[Event]:
        """The same for one whose origin names the sender already, as a recording's does."""
        self.accepted = ()
        sender = self._sender(packet.origin)
        sender.packets += 1
        if packet.origin != self._owner:
            primed = self._take_over(packet, sender)
            if primed is None:
                return []
            sender, prime = primed
            self.accepted = (prime,)
        samples = sender.samples(packet.arrival_ns, packet.payload)
        self.accepted += (Input("packet", packet.arrival_ns, packet.origin, packet.payload),)
        notices = sender.take_notices()
        if notices or len(self.accepted) > 1:  # one that takes over may have shown before what it lacks
            self._note([*notices, *self._checks_off.more_lines(sender.absent)])
        return self._judge(samples, packet.arrival_ns)

    def tick(self, arrival_ns: int) -> list[Event]:
        """Let time pass. Before the first valid sample there is nothing that could fall due."""
        self.accepted = ()
        if self._first_ns is None:
            return []
        events = self._seen(self._coach.tick(self._seconds(arrival_ns)))
        if events:
            self.accepted = (Input("tick", arrival_ns),)
        return events

    def end(self, arrival_ns: int) -> list[Event]:
        """The session ends here."""
        self.accepted = (Input("end", arrival_ns),)
        return self._seen(self._coach.end(self._seconds(arrival_ns)))

    def key(self, arrival_ns: int, key: str) -> list[Event]:
        """A key was pressed that may matter to the coach. One that has no ear for keys makes nothing of it."""
        self.accepted = (Input("key", arrival_ns, "", key.encode()),)
        handler = getattr(self._coach, "key", None)
        return [] if handler is None else self._seen(handler(key, self._seconds(arrival_ns)))

    def voice_latency(self, arrival_ns: int, latency_s: float) -> None:
        """The voice measured anew how long a word takes from the call to the first sound."""
        self._seconds(arrival_ns)
        self.accepted = (Input("voice", arrival_ns, "", repr(latency_s).encode()),)
        self._coach.set_voice_latency(latency_s)

    def sample(self, sample: Sample, arrival_ns: int) -> list[Event]:
        """A sample that is already decoded (a text log). Not for a recording: `accepted` stays empty."""
        self.accepted = ()
        return self._judge([sample], arrival_ns)

    def prime(self, origin: str, kept: Sequence[Kept]) -> None:
        """What a recording kept of a sender before it took over; the packet that does so comes next."""
        self.accepted = ()
        self._sender(origin).remember(kept)
        self._primed = origin

    def next_deadline_ns(self) -> int | None:
        """The arrival time at which a tick is worth making, or None."""
        deadline = None if self._first_ns is None else self._coach.next_deadline()
        return None if deadline is None or self._first_ns is None else self._first_ns + round(deadline * 1e9)

    def snapshot(self) -> Snapshot:
        """What the screens show."""
        return self._coach.snapshot()

    def refused(self) -> dict[str, int]:
        """Packets of senders that were not heard while another was, by origin (at most the latest origins)."""
        return dict(self._refused)

    def counts(self) -> dict[str, int]:
        """What the coach's time line dropped, by reason, where it dropped any: late, repeated, out of line, no time."""
        timeline = getattr(self._coach, "timeline", None)
        found = {text: getattr(timeline, f"dropped_{name}", 0) for name, text in _DROPPED.items()}
        return {text: count for text, count in found.items() if count}

    def take_notices(self) -> list[str]:
        """What was wrong with the data since the last call, for a person; bounded."""
        notices, self._notices = self._notices, []
        if self._notices_lost:
            notices.append(f"and {self._notices_lost} more notices about the data, not shown")
            self._notices_lost = 0
        return notices

    def _sender(self, origin: str) -> Sender:
        sender = self._senders.get(origin)
        if sender is None:
            sender = self._senders[origin] = Sender(self._decoding, self._ports.run_of(origin))
            if len(self._senders) > SENDERS_MAX:
                self._forget(origin)
        self._senders.move_to_end(origin)
        return sender

    def _forget(self, newest: str) -> None:
        oldest = next(name for name in self._senders if name not in (newest, self._owner))
        del self._senders[oldest]
        if not self._many_told:
            self._many_told = True
            self._note([f"more than {SENDERS_MAX} senders: those silent longest are forgotten"])
        self._refused.pop(oldest, None)

    def _decoding(self) -> PipelineLike:
        return self._make_decoding(self._feed)

    def _is_feed(self, packets: Sequence[Kept]) -> bool:
        """Whether these packets, as one sender's, are of the feed; two may be without a sample, such as a header."""
        sender = Sender(self._decoding)
        return sum(bool(sender.samples(*packet)) for packet in packets) >= len(packets) - 2

    def _may_be_whole(self, address: str) -> bool:
        """Nobody is heard, or a port of that address which sent one packet and no more."""
        return not self._held or self._of_address(address)

    def _of_address(self, address: str) -> bool:
        owner = self._owner or ""
        return address_of(owner) == address and self._senders[owner].packets == 1

    def _take_over(self, packet: Packet, sender: Sender) -> tuple[Sender, Input] | None:
        """The sender that owns the feed from this packet on, or None when it does not: one is heard, or no sample."""
        kept = sender.kept()
        primed, self._primed = self._primed == packet.origin, None
        whole = packet.origin.endswith(":*")
        held = self._held and not (whole and self._of_address(address_of(packet.origin)))
        if not primed and (held or not sender.samples(packet.arrival_ns, packet.payload)):
            sender.keep(packet.arrival_ns, packet.payload, decoded=not held)
            self._refuse(packet.origin, sender)
            return None
        fresh = Sender(self._decoding, kept)
        fresh.packets = sender.packets
        self._senders[packet.origin] = fresh
        if whole:
            self._one_sender(address_of(packet.origin))
        elif self._owner is not None:
            self._note([f"the feed now comes from {packet.origin}; {self._owner} was lost"])
        self._owner = packet.origin
        return fresh, Input("prime", packet.arrival_ns, packet.origin, msgspec.msgpack.encode(kept))

    def _one_sender(self, address: str) -> None:
        """Tell that an address is one sender from now on, and no more of its ports that were heard of once."""
        self._note([f"{address} opens a new socket for each packet: the feed is all that comes from there"])
        for origin in [o for o, s in self._senders.items() if address_of(o) == address and s.packets == 1]:
            if not origin.endswith(":*"):
                del self._senders[origin]
                self._refused.pop(origin, None)

    def _refuse(self, origin: str, sender: Sender) -> None:
        notices = sender.take_notices()
        if not self._held:
            self._note(notices)
            return
        count = self._refused[origin] = self._refused.get(origin, 0) + 1
        if count == 2 or (count >= 1000 and str(count).strip("0") == "1"):
            self._note([f"a second sender, {origin}, is not heard ({count} packets); the feed is {self._owner}'s"])

    def _judge(self, samples: Iterable[Sample], arrival_ns: int) -> list[Event]:
        events: list[Event] = []
        for sample in samples:
            self.samples += 1
            self._held = True
            events += self._seen(self._coach.feed(sample, self._seconds(arrival_ns)))
        return events

    def _seen(self, events: list[Event]) -> list[Event]:
        """Let the owner go when the coach calls the feed lost (a later "back" in the same breath holds it again)."""
        for event in events:
            if event.kind == "feed" and event.id in ("lost", "back"):
                self._held = event.id == "back"
        return events

    def _seconds(self, arrival_ns: int) -> float:
        """Coach seconds: 0 at the first input that counts, the same live and in a replay."""
        if self._first_ns is None:
            self._first_ns = arrival_ns
        return (arrival_ns - self._first_ns) / 1e9

    def _note(self, notices: Iterable[str]) -> None:
        for notice in notices:
            if len(self._notices) < NOTICES_MAX:
                self._notices.append(notice)
            else:
                self._notices_lost += 1


def apply(session: Session, given: Input) -> list[Event]:
    """Hand one recorded input to a session. Raises ValueError on a kind that this version does not know."""
    if given.kind == "packet":
        return session.settled(Packet(given.arrival_ns, given.origin, given.data))
    if given.kind == "tick":
        return session.tick(given.arrival_ns)
    if given.kind == "prime":
        session.prime(given.origin, msgspec.msgpack.decode(given.data, type=list[Kept]))
        return []
    if given.kind == "key":
        return session.key(given.arrival_ns, given.data.decode())
    if given.kind == "voice":
        session.voice_latency(given.arrival_ns, float(given.data))
        return []
    if given.kind == "end":
        return session.end(given.arrival_ns)
    raise ValueError(f"an input of the kind {given.kind!r} is not known to this version")
