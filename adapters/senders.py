"""One sender of a feed: its decoder, its mapper, and the packets kept of it while it is not heard."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from typing import TYPE_CHECKING, Protocol

from adapters.ports import Decoder, Fields
from monitor.sample import Sample

if TYPE_CHECKING:
    from adapters.feed import FeedDescription

FIRST_KEPT, LATEST_KEPT, KEPT_BYTES = 4, 64, 4096
"""Packets kept of a sender that is not heard: its first ones (a header line is there) and its latest; longer
packets than this are not kept."""


class MapperLike(Protocol):
    """Turns a record into a sample; `adapters.mapping.Mapper` is the real one."""

    def sample(self, record: Fields, arrival_ns: int | None = None) -> Sample | None:
        """The sample, or None when nothing in the record can be used."""
        ...

    def take_notices(self) -> list[str]:
        """What was wrong since the last call."""
        ...


MakeDecoding = Callable[["FeedDescription"], tuple[Decoder, MapperLike]]


def real_decoding(feed: FeedDescription) -> tuple[Decoder, MapperLike]:
    """The decoder and mapper a feed description asks for."""
    from adapters.feed import make_decoder, make_tally
    from adapters.mapping import Mapper

    tally = make_tally(feed)
    return make_decoder(feed, tally), Mapper(feed, tally)


Kept = tuple[int, bytes]
"""A packet remembered: its arrival and payload."""


class Sender:
    """One origin: its decoder and mapper, how many of its packets came, and the ones kept while it is not heard."""

    def __init__(self, decoder: Decoder, mapper: MapperLike) -> None:
        """Nothing received yet."""
        self.decoder = decoder
        self.mapper = mapper
        self.packets = 0
        self.first: list[Kept] = []
        self.latest: deque[Kept] = deque(maxlen=LATEST_KEPT)

    def samples(self, arrival_ns: int, payload: bytes) -> list[Sample]:
        """The valid samples in a packet."""
        found = (self.mapper.sample(record, arrival_ns) for record in self.decoder.decode(payload))
        return [sample for sample in found if sample is not None]

    def keep(self, arrival_ns: int, payload: bytes) -> None:
        """Remember a packet for priming a decoder later."""
        if len(payload) > KEPT_BYTES:
            return
        if len(self.first) < FIRST_KEPT:
            self.first.append((arrival_ns, payload))
        else:
            self.latest.append((arrival_ns, payload))

    def kept(self) -> list[Kept]:
        """The packets remembered, in the order they came."""
        return [*self.first, *self.latest]

    def take_notices(self) -> list[str]:
        """The decoder's and the mapper's notices."""
        return [*self.decoder.take_notices(), *self.mapper.take_notices()]
