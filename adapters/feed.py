"""A simulator's feed: its description, and what is made from it (source, decoder, pipeline).

Each source and decoder is one file behind a small protocol (`adapters.ports`), imported only when chosen.
"""

from __future__ import annotations

from typing import Any

from adapters import plugins
from adapters.description import ChannelMap, DecodeSettings, FeedDescription, SourceError, Transport
from adapters.feed_toml import load_feed
from adapters.ports import Decoder, Source
from adapters.tally import Tally

__all__ = [
    "ChannelMap",
    "DecodeSettings",
    "FeedDescription",
    "SourceError",
    "Transport",
    "load_feed",
    "make_decoder",
    "make_source",
    "make_tally",
    "source_name",
]


def source_name(feed: FeedDescription) -> str:
    """Where the feed comes from, in a few words: "udp 127.0.0.1:5501"; "" for a log."""
    transport = feed.transport
    if transport is None:
        return ""
    if transport.kind == "udp":
        host = transport.group or transport.bind or ""
        return f"udp [{host}]:{transport.port}" if ":" in host else f"udp {host}:{transport.port}"
    if transport.kind == "zeromq":
        return f"zeromq {transport.pattern} {transport.connect or transport.bind}"
    return transport.kind


def make_source(feed: FeedDescription) -> Source:
    """The open source. Raises `SourceError` with one clear line when it cannot be opened."""
    transport = feed.transport
    if transport is None:
        raise SourceError(f"{feed.where}: has no [transport], so nothing can arrive live; it describes a log")
    if transport.kind == "udp":
        from adapters.udp import UdpSource

        return UdpSource(transport)
    if transport.kind == "zeromq":
        from adapters.zeromq import ZeromqSource

        return ZeromqSource(transport)
    found: Source = _from_package(plugins.SOURCES, transport.kind, feed)
    return found


def make_tally(feed: FeedDescription) -> Tally:
    """The counted notices of one sender of this feed."""
    return Tally(feed.where, source_name(feed))


def make_decoder(feed: FeedDescription, tally: Tally | None = None) -> Decoder:
    """A fresh decoder for one sender."""
    tally = tally or make_tally(feed)
    match feed.decode.format:
        case "delimited":
            from adapters.decoders.delimited import DelimitedDecoder

            return DelimitedDecoder(feed, tally)
        case "key-value":
            from adapters.decoders.key_value import KeyValueDecoder

            return KeyValueDecoder(feed, tally)
        case "json":
            from adapters.decoders.json import JsonDecoder

            return JsonDecoder(feed, tally)
        case "msgpack":
            from adapters.decoders.msgpack import MsgpackDecoder

            return MsgpackDecoder(feed, tally)
        case "packed":
            from adapters.decoders.packed import PackedDecoder

            return PackedDecoder(feed, tally)
        case "nmea":
            from adapters.decoders.nmea import NmeaDecoder

            return NmeaDecoder(feed, tally)
        case "mavlink":
            from adapters.decoders.mavlink import MavlinkDecoder

            return MavlinkDecoder(feed, tally)
    return plugins.GuardedDecoder(_from_package(plugins.DECODERS, feed.decode.format, feed), tally)


def _from_package(group: str, name: str, feed: FeedDescription) -> Any:
    """What another package's entry point makes of the feed. Raises `SourceError`."""
    try:
        return plugins.load(group, name)(feed)
    except LookupError as error:
        raise SourceError(f"{feed.where}: {error}") from error
    except Exception as error:  # another package's code may fail in any way
        raise SourceError(f"{feed.where}: {name} could not be opened: {error}") from error
