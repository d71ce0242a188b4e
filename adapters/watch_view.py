"""What `feed watch` shows at one moment: plain frozen types, nothing of how it is painted."""

from __future__ import annotations

import msgspec


class Trouble(msgspec.Struct, frozen=True):
    """What is wrong, and what to try, most likely first."""

    what: str
    tries: tuple[str, ...] = ()


class SenderView(msgspec.Struct, frozen=True):
    """One sender as shown.

    lost_how is empty when loss cannot be told. looked_share: of its packets, how many were decoded at all (less than 1
    in a flood); decoded_share: of those, how many gave a record. owns: this one's samples would be used.
    """

    origin: str
    packets: int
    rate_hz: float
    interval_ms: float
    jitter_ms: float
    longest_gap_s: float
    silent_s: float
    smallest: int
    largest: int
    lost: int
    lost_how: str
    repeated: int
    looked_share: float
    decoded_share: float
    owns: bool


class FieldView(msgspec.Struct, frozen=True):
    """One field as shown: last value, range (None for text), changes a packet (0 to 1), who uses it."""

    field: str | int
    last: float | str | None
    low: float | None
    high: float | None
    change_share: float
    channels: tuple[str, ...]


class ChannelView(msgspec.Struct, frozen=True):
    """One mapped channel: its latest value in its own unit, and how old that is. None: no value ever came."""

    channel: str
    unit: str
    field: str | int
    value: float | None
    age_s: float | None


class WatchView(msgspec.Struct, frozen=True):
    """Everything there is to show.

    refused: packets dropped because their sender is not let in; forgotten: senders no longer kept. raw: the latest
    packet (its first 2,048 bytes), size: the largest. decoded_as: how; ways: every way that fits, the best first.
    """

    source: str
    listening_s: float
    packets: int
    refused: int
    forgotten: int
    senders: tuple[SenderView, ...]
    size: int
    raw: bytes
    decoded_as: str
    ways: tuple[str, ...]
    fields: tuple[FieldView, ...]
    channels: tuple[ChannelView, ...]
    notices: tuple[str, ...]
    troubles: tuple[Trouble, ...] = ()
