"""What is arriving right now, and what is wrong with it: pure statistics over packets, and a view of them.

Nothing here waits, prints or reads a clock; times are arguments in integer nanoseconds. Every packet is counted; the
work of decoding is kept within a budget, so that a flood cannot make the screen stand still, and the share that was
decoded is told.
"""

from __future__ import annotations

from collections.abc import Sequence

import msgspec

from adapters.description import FeedDescription, Transport
from adapters.feed import make_decoder, make_tally
from adapters.fresh_ports import FreshPorts, address_of
from adapters.identify_format import FormatGuess, guess_formats
from adapters.mapping import Mapper
from adapters.ports import Decoder, Fields, Packet
from adapters.watch_stats import SenderStats
from adapters.watch_troubles import troubles
from adapters.watch_view import ChannelView, FieldView, SenderView, WatchView
from monitor.sample import CHANNELS

MOST_SENDERS = 12
DECODE_BUDGET = 400
"""Packets decoded in each second at most; above that a part is decoded, evenly."""
GUESS_EVERY_NS = 3_000_000_000
LOST_NS = 2_000_000_000
"""A sender silent for this long no longer owns the feed."""
NOTICES_KEPT = 20


class _Way:
    """How one sender's packets are decoded: by the feed description, or by the best guess."""

    def __init__(self, feed: FeedDescription | None, guess: FormatGuess | None) -> None:
        self.words = feed.decode.format if feed else guess.words if guess else ""
        self.mapper: Mapper | None = None
        self.decoder: Decoder | None = None
        if feed is not None:
            tally = make_tally(feed)
            self.decoder, self.mapper = make_decoder(feed, tally), Mapper(feed, tally)
        elif guess is not None:
            self.decoder = guess.decoder()

    def records(self, payload: bytes) -> Sequence[Fields]:
        return self.decoder.decode(payload) if self.decoder else ()

    def notices(self) -> list[str]:
        return self.decoder.take_notices() if self.decoder else []


class Watch:
    """Counts what arrives. Give it every packet; ask for a `view` as often as it is painted."""

    def __init__(
        self, source: str, start_ns: int, feed: FeedDescription | None = None, transport: Transport | None = None
    ) -> None:
        """source: where it listens, for a person. Without a feed description the format is guessed."""
        self.transport = transport or (feed.transport if feed else None)
        self.source = source
        self.start_ns = start_ns
        self.feed = feed
        self.packets = self.forgotten = 0
        self.owner: str | None = None
        self.guesses: dict[str, list[FormatGuess]] = {}
        self._senders: dict[str, SenderStats] = {}
        self._ways: dict[str, _Way] = {}
        self._values: dict[str, tuple[float, int]] = {}
        self._notices: list[str] = []
        self._second, self._used, self._skip = 0, 0, 1
        self._arrived_now = 0
        self._guessed_ns: dict[str, int] = {}
        self._ports = FreshPorts(bool)

    def packet(self, packet: Packet) -> None:
        """One more packet. Bounded work and memory, whatever is in it."""
        self.packets += 1
        if packet.origin != self.owner:
            packet = self._named(packet)
        sender = self._senders.get(packet.origin) or self._new_sender(packet)
        sender.packet(packet.arrival_ns, packet.payload)
        if self._may_decode(packet.arrival_ns):
            self._decode(sender, packet)

    def _named(self, packet: Packet) -> Packet:
        """The packet with the name of its sender, which may be an address as a whole (`adapters.fresh_ports`)."""
        name = self._ports.sender_of(packet, self._may_be_whole)
        if name == packet.origin:
            return packet
        if name not in self._senders:
            address = address_of(name)
            once = [o for o, one in self._senders.items() if address_of(o) == address and one.packets == 1]
            for origin in once:
                self._forget(origin)
            if self.owner in once:
                self.owner = name
        return Packet(packet.arrival_ns, name, packet.payload)

    def _may_be_whole(self, address: str) -> bool:
        owner = self._senders.get(self.owner or "")
        return owner is None or (address_of(owner.origin) == address and owner.packets == 1)

    def _new_sender(self, packet: Packet) -> SenderStats:
        if len(self._senders) >= MOST_SENDERS:
            idle = [name for name in self._senders if name != self.owner]
            oldest = min(idle, key=lambda name: self._senders[name].last_ns)
            self._forget(oldest)
            self.forgotten += 1
        sender = self._senders[packet.origin] = SenderStats(packet.origin, packet.arrival_ns)
        return sender

    def _forget(self, origin: str) -> None:
        self._senders.pop(origin, None)
        self._ways.pop(origin, None)
        self.guesses.pop(origin, None)
        self._guessed_ns.pop(origin, None)

    def _may_decode(self, arrival_ns: int) -> bool:
        """Whether the budget of this second allows one more; in a flood every n-th, n from the second before."""
        second = arrival_ns // 1_000_000_000
        if second != self._second:
            self._skip = max(1, -(-self._arrived_now // DECODE_BUDGET))
            self._second, self._used, self._arrived_now = second, 0, 0
        self._arrived_now += 1
        if self._used >= DECODE_BUDGET or self._arrived_now % self._skip:
            return False
        self._used += 1
        return True

    def _decode(self, sender: SenderStats, packet: Packet) -> None:
        way = self._ways.get(sender.origin)
        if way is None:
            if self.feed is None:
                return
            way = self._ways[sender.origin] = _Way(self.feed, None)
        sender.tried += 1
        records = way.records(packet.payload)
        sender.decoded += bool(records)
        for record in records[:50]:
            sender.record(record)
            if way.mapper is not None:
                self._map(way.mapper, record, sender, packet.arrival_ns)
        self._note(way.notices())

    def _map(self, mapper: Mapper, record: Fields, sender: SenderStats, arrival_ns: int) -> None:
        values = mapper.values(record)
        timeless = mapper.timed and "time_s" not in (values or ()) and not (self.feed and self.feed.decode.merge)
        if timeless or not values or values.keys() == {"time_s"}:
            return
        self._own(sender, arrival_ns)
        if "time_s" in values:
            sender.clock.add(values["time_s"], arrival_ns)
        if sender.origin == self.owner:
            self._values.update({name: (value, arrival_ns) for name, value in values.items()})

    def _own(self, sender: SenderStats, arrival_ns: int) -> None:
        """The first to give a valid sample owns the feed until it falls silent."""
        sender.samples += 1
        owner = self._senders.get(self.owner or "")
        if owner is None or arrival_ns - owner.last_ns > LOST_NS:
            self.owner = sender.origin

    def _note(self, lines: Sequence[str]) -> None:
        self._notices = (self._notices + list(lines))[-NOTICES_KEPT:]

    def guess(self, now_ns: int) -> None:
        """Look how one sender's packets may be decoded, when that is due: at most every 3 s, on 64 short packets."""
        due = [sender for sender in self._senders.values() if self._guess_is_due(sender, now_ns)]
        if not due:
            return
        sender = min(due, key=lambda one: self._guessed_ns.get(one.origin, 0))
        self._guessed_ns[sender.origin] = now_ns
        before = self.guesses.get(sender.origin, [])
        found = self.guesses[sender.origin] = guess_formats(list(sender.payloads))
        best = next((guess for guess in found if guess.usable), None)
        if self.feed is None and best is not None and (not before or before[0].lines != found[0].lines):
            self._decode_anew(sender, best)

    def _decode_anew(self, sender: SenderStats, guess: FormatGuess) -> None:
        """From now on by this guess, beginning with the packets that are kept."""
        sender.forget_fields()
        way = self._ways[sender.origin] = _Way(None, guess)
        for payload in sender.payloads:
            records = way.records(payload)
            sender.tried += 1
            sender.decoded += bool(records)
            for record in records[:50]:
                sender.record(record)

    def _guess_is_due(self, sender: SenderStats, now_ns: int) -> bool:
        """Not once a guess from many packets holds; a sender of junk is looked at less and less often."""
        if len(sender.payloads) < 5:
            return False
        last = self._guessed_ns.get(sender.origin)
        if last is None:
            return True
        holds = bool(self.guesses.get(sender.origin)) and sender.decoded >= 0.5 * sender.tried > 0
        if holds and sender.packets > 10 * len(sender.payloads):
            return False
        return now_ns - last >= max(GUESS_EVERY_NS, (last - sender.first_ns) // 2)

    def shown_sender(self) -> SenderStats | None:
        """The sender whose packets are shown: the owner, else one that can be decoded, else the one that sends most."""
        if self.owner in self._senders:
            return self._senders[self.owner or ""]
        return next(iter(self._ranked()), None)

    def _ranked(self) -> list[SenderStats]:
        return sorted(
            self._senders.values(),
            key=lambda one: (one.origin != self.owner, not self.guesses.get(one.origin), -one.packets),
        )

    def view(self, now_ns: int, refused: int = 0) -> WatchView:
        """What there is to show now. refused: datagrams dropped because their sender is not let in."""
        sender = self.shown_sender()
        way = self._ways.get(sender.origin) if sender else None
        view = WatchView(
            source=self.source,
            listening_s=(now_ns - self.start_ns) / 1e9,
            packets=self.packets,
            refused=refused,
            forgotten=self.forgotten,
            senders=tuple(self._sender_view(one, now_ns) for one in self._ranked()),
            size=sender.largest if sender else 0,
            raw=sender.last_payload if sender else b"",
            decoded_as=way.words if way else "",
            ways=tuple(guess.words for guess in self.guesses.get(sender.origin, [])) if sender else (),
            fields=self._field_views(sender) if sender else (),
            channels=self._channel_views(now_ns),
            notices=tuple(self._notices),
        )
        return msgspec.structs.replace(view, troubles=troubles(view, self.feed, self.transport))

    def _sender_view(self, sender: SenderStats, now_ns: int) -> SenderView:
        interval_ms, jitter_ms = sender.interval_and_jitter_ms()
        lost, how = sender.loss() if sender.tried >= 0.99 * sender.packets else (0, "")
        return SenderView(
            sender.origin,
            sender.packets,
            sender.rate_hz(now_ns),
            interval_ms,
            jitter_ms,
            sender.longest_gap_ns / 1e9,
            (now_ns - sender.last_ns) / 1e9,
            sender.smallest,
            sender.largest,
            lost,
            how,
            sender.repeated,
            min(1.0, sender.tried / sender.packets),
            sender.decoded / sender.tried if sender.tried else 0.0,
            sender.origin == self.owner,
        )

    def _field_views(self, sender: SenderStats) -> tuple[FieldView, ...]:
        users: dict[str | int, list[str]] = {}
        for channel in self.feed.channels if self.feed else ():
            users.setdefault(channel.field, []).append(channel.channel)
        return tuple(
            FieldView(
                field,
                stats.last,
                stats.low if stats.low <= stats.high else None,
                stats.high if stats.low <= stats.high else None,
                stats.changes / max(1, stats.seen - 1),
                tuple(users.get(field, ())),
            )
            for field, stats in sender.fields.items()
        )

    def _channel_views(self, now_ns: int) -> tuple[ChannelView, ...]:
        views = []
        for channel in self.feed.channels if self.feed else ():
            value, at_ns = self._values.get(channel.channel, (None, None))
            age_s = None if at_ns is None else (now_ns - at_ns) / 1e9
            views.append(ChannelView(channel.channel, CHANNELS[channel.channel].unit, channel.field, value, age_s))
        return tuple(views)
