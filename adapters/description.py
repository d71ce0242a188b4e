"""What a feed description holds once it has been read and checked: frozen types, nothing left as TOML."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import msgspec


class Curve(msgspec.Struct, frozen=True):
    """CURVE encryption of a ZeroMQ feed. Keys are 40 characters (Z85), as `climbout feed keys` makes them.

    secret_key_file: the file with our own pair, read when the source is opened (the description's text goes into
    recordings, so a secret had better not be in it); else secret_key and public_key. server_key: the sender's public
    key, when we connect. allowed: the public keys of those who may send, when we bind (empty: any).
    """

    public_key: str = ""
    secret_key: str = ""
    secret_key_file: str | None = None
    server_key: str | None = None
    allowed: tuple[str, ...] = ()


class Transport(msgspec.Struct, frozen=True):
    """Where packets come from. kind: "udp", "zeromq", or a source that another package brings.

    UDP: bind and port, group (multicast) with interface, only_from (IP addresses; empty: anyone).
    ZeroMQ: connect or bind (an endpoint), pattern "sub" or "pull", topic, queue (messages held, the newest kept).
    settings: the keys of another package's source, as the file has them.
    """

    kind: str
    bind: str | None = None
    port: int = 0
    group: str | None = None
    interface: str | None = None
    only_from: tuple[str, ...] = ()
    connect: str | None = None
    pattern: str = "sub"
    topic: str = ""
    queue: int = 10_000
    curve: Curve | None = None
    settings: Mapping[str, Any] = {}


class Part(msgspec.Struct, frozen=True):
    """One field of a packed record. code: a `struct` letter; name: None for bytes passed over (code "8x")."""

    name: str | None
    code: str


class Kind(msgspec.Struct, frozen=True):
    """One kind of packed record: the tag it begins with, the name before its fields' names, and its parts."""

    tag: int
    name: str
    parts: tuple[Part, ...]


class Layout(msgspec.Struct, frozen=True):
    """The bytes of a packed datagram.

    start: bytes it must begin with; skip: bytes passed over after them; tail: bytes passed over at the end. Then one
    of: parts (a fixed record, repeated while it fits), index + values (records of an index and n values of type
    `value`), or kinds (records that begin with a tag, and a length of the body if `length` is given).
    """

    order: str = "<"
    start: bytes = b""
    skip: int = 0
    tail: int = 0
    parts: tuple[Part, ...] = ()
    index: str | None = None
    value: str = "f"
    values: int = 0
    tag: str | None = None
    length: str | None = None
    kinds: tuple[Kind, ...] = ()


class DecodeSettings(msgspec.Struct, frozen=True):
    """How bytes become named values. format: one of ours, or a decoder that another package brings.

    merge: channels come in different records at different rates and are put together into one sample. pace: the
    channel whose arrival makes a sample then; max_age_s: how long a value is carried on. settings: the keys of
    another package's decoder, as the file has them.
    """

    format: str
    delimiter: str = ","
    header: str = "optional"
    columns: tuple[str, ...] = ()
    quote: str = '"'
    decimal: str = "."
    encoding: str = "utf-8"
    assign: str = "="
    layout: Layout | None = None
    merge: bool = False
    pace: str | None = None
    max_age_s: float = 2.0
    settings: Mapping[str, Any] = {}


class ChannelMap(msgspec.Struct, frozen=True):
    """Where a channel comes from: `channel = field * factor + offset`, or 1 when the field is above `above`, else 0.

    unit: what the file says the field is in (None: the label may say, else the channel's own unit). scale and shift
    are the file's `factor` and `offset`, in the field's own unit; factor and offset have the unit worked in.
    declination_deg: east positive, taken from a true heading to make it magnetic.
    """

    channel: str
    field: str | int
    unit: str | None = None
    scale: float = 1.0
    shift: float = 0.0
    factor: float = 1.0
    offset: float = 0.0
    above: float | None = None
    declination_deg: float = 0.0
    density_kg_per_l: float | None = None


class FeedDescription(msgspec.Struct, frozen=True):
    """A simulator's feed. where: how messages name it ("feed bay1.toml"); text: the file, as recordings keep it."""

    name: str
    transport: Transport | None
    decode: DecodeSettings
    channels: tuple[ChannelMap, ...]
    text: str
    where: str = "feed"


class SourceError(OSError):
    """A source or decoder cannot be opened; the text is one clear line for a person."""
