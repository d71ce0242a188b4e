"""The small protocols that a source of packets and a decoder keep, so that each is one file, chosen by name."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Protocol

import msgspec

Value = float | str | None
Fields = Mapping[str | int, Value]
"""One record as the decoder read it: field name (dotted when nested) and column number from 0, to its raw value."""


class Packet(msgspec.Struct, frozen=True, gc=False):
    """One datagram or message as it arrived.

    arrival_ns: monotonic clock, integer nanoseconds. origin: who sent it ("127.0.0.1:40112", or the endpoint for
    ZeroMQ). payload: the bytes; a multipart message's last frame.
    """

    arrival_ns: int
    origin: str
    payload: bytes


class Source(Protocol):
    """Where packets come from."""

    def receive(self, timeout_s: float) -> Packet | None:
        """The next packet, or None after `timeout_s` (0.1 s at most, so that an interrupt ends the wait)."""
        ...

    def describe(self) -> str:
        """Where it listens, in a few words for a person: "udp 127.0.0.1:5501"."""
        ...

    def close(self) -> None:
        """Let go of the socket. Safe to call twice."""
        ...


class Decoder(Protocol):
    """Bytes to records. Keeps what it has learned of one sender (a header line); never raises on any bytes."""

    def decode(self, payload: bytes) -> Sequence[Fields]:
        """The records in the packet, in order; empty for a header or for junk."""
        ...

    def take_notices(self) -> list[str]:
        """What was wrong since the last call, one clear line each, for a person; bounded in number."""
        ...
