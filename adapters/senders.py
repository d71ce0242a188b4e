"""One sender of a feed: its decoding, and the packets kept of it while it is not heard."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Protocol

from monitor.sample import Sample

if TYPE_CHECKING:
    from adapters.feed import FeedDescription

FIRST_KEPT, LATEST_KEPT, KEPT_BYTES = 4, 64, 4096
"""Packets kept of a sender that is not heard: its first ones (a header line is there) and its latest; longer
packets than this are not kept."""


class PipelineLike(Protocol):
    """Turns packets into samples; `adapters.pipeline.Pipeline` is the real one."""

    def __call__(self, payload: bytes, arrival_ns: int | None = None) -> list[Sample]:
        """The valid samples in a packet."""
        ...

    def take_notices(self) -> list[str]:
        """What was wrong since the last call."""
        ...


MakeDecoding = Callable[["FeedDescription"], PipelineLike]


def real_decoding(feed: FeedDescription) -> PipelineLike:
    """The decoding and mapping a feed description asks for."""
    from adapters.pipeline import make_pipeline

    return make_pipeline(feed)


Kept = tuple[int, bytes]
"""A packet remembered: its arrival and payload."""


class Sender:
    """One origin: its decoding, how many of its packets came, and the ones kept while it is not heard.

    The decoding is made when it is first needed, from the packets kept: a flood of senders that are never heard costs
    none, and one that sent its header while another was heard is understood.
    """

    def __init__(self, make: Callable[[], PipelineLike], kept: Sequence[Kept] = ()) -> None:
        """make: a fresh decoding. kept: what came of it before."""
        self._make = make
        self._pipeline: PipelineLike | None = None
        self.packets = 0
        self.remember(kept)

    def remember(self, kept: Sequence[Kept]) -> None:
        """These packets came before, in this order."""
        self.first: list[Kept] = list(kept[:FIRST_KEPT])
        self.latest: deque[Kept] = deque(kept[FIRST_KEPT:], LATEST_KEPT)
        self._pipeline = None

    def samples(self, arrival_ns: int, payload: bytes) -> list[Sample]:
        """The valid samples in a packet."""
        if self._pipeline is None:
            self._pipeline = self._make()
            for then_ns, before in self.kept():
                self._pipeline(before, then_ns)
            self._pipeline.take_notices()
        return self._pipeline(payload, arrival_ns)

    def keep(self, arrival_ns: int, payload: bytes, decoded: bool) -> None:
        """Remember a packet for priming a decoder later. decoded: its samples were asked for already."""
        if len(payload) > KEPT_BYTES:
            return
        if len(self.first) < FIRST_KEPT:
            self.first.append((arrival_ns, payload))
        else:
            self.latest.append((arrival_ns, payload))
        if not decoded:
            self._pipeline = None

    def kept(self) -> list[Kept]:
        """The packets remembered, in the order they came."""
        return [*self.first, *self.latest]

    @property
    def absent(self) -> frozenset[str]:
        """Channels that are mapped to fields which no record of it has had."""
        return getattr(self._pipeline, "absent", frozenset())

    def take_notices(self) -> list[str]:
        """What was wrong since the last call."""
        return [] if self._pipeline is None else self._pipeline.take_notices()
