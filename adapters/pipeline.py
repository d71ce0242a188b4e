"""From a packet's bytes to samples: a decoder and a mapper in one, with a short way for what usually comes.

The short way gives the very samples that the careful way gives, or leaves the packet to it.
"""

from __future__ import annotations

from collections.abc import Callable
from operator import itemgetter
from typing import Any

import msgspec

from adapters.decoders.delimited import DelimitedDecoder
from adapters.decoders.flatten import MOST_FIELDS
from adapters.description import DecodeSettings, FeedDescription
from adapters.feed import make_decoder, make_tally
from adapters.mapping import Mapper
from adapters.plan import Reading, make_fast
from monitor.sample import Sample

Short = Callable[[bytes], Sample | None]
"""The one sample in a packet, or None: "look more closely"."""


class Pipeline:
    """Call it with each packet of one sender. decoder and mapper share their count of packets and their notices."""

    def __init__(self, feed: FeedDescription) -> None:
        """A fresh decoder and mapper. Raises `SourceError` when the decoder cannot be had."""
        self.tally = make_tally(feed)
        self.decoder = make_decoder(feed, self.tally)
        self.mapper = Mapper(feed, self.tally)
        self._short: Short | None = None

    def __call__(self, payload: bytes, arrival_ns: int | None = None) -> list[Sample]:
        """The samples in the packet, in order. Never raises on any bytes."""
        if self._short is not None:
            sample = self._short(payload)
            if sample is not None:
                self.tally.packets += 1
                return [sample]
        found = [self.mapper.sample(record, arrival_ns) for record in self.decoder.decode(payload)]
        self._short = self._make_short(payload)
        return [sample for sample in found if sample is not None]

    def _make_short(self, payload: bytes) -> Short | None:
        """The short way for packets like this one, if there is one."""
        del payload
        return None

    def take_notices(self) -> list[str]:
        """What was wrong since the last call, one line each."""
        return self.tally.take()


class _Delimited(Pipeline):
    """One plain line a datagram, its columns settled: split, and straight to numbers."""

    def __init__(self, feed: FeedDescription) -> None:
        super().__init__(feed)
        self._settings = feed.decode
        self._channels = len(feed.channels)
        self._made: tuple[object, Short | None] = (None, None)

    def _make_short(self, payload: bytes) -> Short | None:
        decoder = self.decoder
        assert isinstance(decoder, DelimitedDecoder)
        if not decoder.settled or not decoder.lines.settled or self._settings.encoding.lower() not in _ASCII_LIKE:
            return None
        state = (decoder.keys, decoder.width, decoder.lines.always_ended)
        if self._made[0] != state:
            self._made = (state, self._build(decoder))
        return self._made[1]

    def _build(self, decoder: DelimitedDecoder) -> Short | None:
        width = decoder.width
        plan = self.mapper.plan(decoder.keys or tuple(range(width)))
        places = [_place(reading, decoder.keys, width) for reading in plan]
        build = make_fast(plan)
        if build is None or (self.mapper.timed and plan[0].channel != "time_s"):
            return None
        return _line_reader(self._settings, width, itemgetter(*places), build, decoder.lines.always_ended)


_ASCII_LIKE = frozenset({"utf-8", "utf8", "ascii", "latin-1", "latin1", "iso-8859-1", "cp1252"})


def _place(reading: Reading, keys: tuple[str | int, ...], width: int) -> int:
    """The column of a reading."""
    return reading.key if isinstance(reading.key, int) else keys[:width].index(reading.key)


def _line_reader(
    settings: DecodeSettings,
    width: int,
    take: Callable[[list[bytes]], tuple[bytes, ...]],
    build: Callable[[Any], Sample | None],
    ended: bool,
) -> Short:
    separator = None if settings.delimiter == "whitespace" else settings.delimiter.encode()
    mark = settings.quote.encode()
    comma = settings.decimal == ","

    def short(payload: bytes) -> Sample | None:
        if payload.find(b"\n") != (len(payload) - 1 if ended else -1) or not payload.isascii():
            return None
        if b"_" in payload or (mark and mark in payload) or payload.find(b"\r") not in (-1, len(payload) - 2):
            return None
        cells = (payload.replace(b",", b".") if comma else payload).split(separator)
        if len(cells) != width and not (len(cells) == width + 1 and not cells[-1].strip()):
            return None
        try:
            return build(map(float, take(cells)))
        except ValueError:
            return None

    return short


class _Mapping(Pipeline):
    """One flat object a packet: its values picked out by key."""

    def __init__(self, feed: FeedDescription, decode: Callable[[bytes], Any]) -> None:
        super().__init__(feed)
        self._decode = decode
        self._fields = [channel.field for channel in feed.channels]
        self._made = False

    def _make_short(self, payload: bytes) -> Short | None:
        if self._made or self._short is not None:
            return self._short
        try:
            record = self._decode(payload)
        except (msgspec.DecodeError, ValueError, TypeError, RecursionError, OverflowError):
            return None
        if type(record) is not dict or not all(field in record for field in self._fields):
            return None
        self._made = True
        plan = self.mapper.plan(tuple(record))
        build = make_fast(plan)
        if build is None or [reading.key for reading in plan] != self._fields:
            return None
        return _object_reader(self._decode, itemgetter(*self._fields), build)


def _object_reader(
    decode: Callable[[bytes], Any], take: Callable[[Any], tuple[Any, ...]], build: Callable[[Any], Sample | None]
) -> Short:
    def short(payload: bytes) -> Sample | None:
        try:
            record = decode(payload)
            if type(record) is not dict or len(record) > MOST_FIELDS:
                return None
            return build(take(record))
        except (msgspec.DecodeError, LookupError, ValueError, TypeError, RecursionError, OverflowError):
            return None

    return short


def make_pipeline(feed: FeedDescription) -> Pipeline:
    """The way from bytes to samples for one sender of this feed. Raises `SourceError`."""
    if not feed.decode.merge and feed.decode.format == "delimited":
        return _Delimited(feed)
    if not feed.decode.merge and feed.decode.format == "json":
        return _Mapping(feed, msgspec.json.decode)
    if not feed.decode.merge and feed.decode.format == "msgpack":
        return _Mapping(feed, msgspec.msgpack.decode)
    return Pipeline(feed)
