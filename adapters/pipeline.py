"""From a packet's bytes to samples: a decoder and a mapper in one, with a short way for what usually comes.

The short way gives the very samples that the careful way gives, or leaves the packet to it.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import msgspec

from adapters.decoders.delimited import DelimitedDecoder
from adapters.description import DecodeSettings, FeedDescription
from adapters.feed import make_decoder, make_tally
from adapters.mapping import Mapper
from adapters.plan import Reading
from adapters.shortcut import Samples, Short, Ways, line_maker, object_maker, raw_type, sample_maker, tuple_type
from monitor.sample import Sample


class Pipeline:
    """Call it, or `samples`, with each packet of one sender. decoder and mapper share their count and their notices.

    samples: the way that is taken just now, as an attribute since a call of the object itself costs a tenth more.
    """

    def __init__(self, feed: FeedDescription) -> None:
        """A fresh decoder and mapper. Raises `SourceError` when the decoder cannot be had."""
        self.tally = make_tally(feed)
        self.decoder = make_decoder(feed, self.tally)
        self.mapper = Mapper(feed, self.tally)
        self.samples: Samples = self._carefully

    def __call__(self, payload: bytes, arrival_ns: int | None = None) -> list[Sample]:
        """The samples in the packet, in order. Never raises on any bytes."""
        return self.samples(payload, arrival_ns)

    def _carefully(self, payload: bytes, arrival_ns: int | None = None) -> list[Sample]:
        """By decoder and mapper; then look whether packets like this one may take a short way."""
        found = [self.mapper.sample(record, arrival_ns) for record in self.decoder.decode(payload)]
        self.samples = self._short_way(payload) or self._carefully
        return [sample for sample in found if sample is not None]

    def _short_way(self, payload: bytes) -> Samples | None:
        """The short way for packets like this one, if there is one."""
        del payload
        return None

    def _ways(self) -> Ways:
        return Ways(self._carefully, self.tally)

    @property
    def absent(self) -> frozenset[str]:
        """Channels that are mapped to fields which no record has had."""
        return self.mapper.absent

    def take_notices(self) -> list[str]:
        """What was wrong since the last call, one line each."""
        return [*self.decoder.take_notices(), *self.tally.take()]  # another package's decoder keeps its own


class _Delimited(Pipeline):
    """One plain line a datagram, its columns settled: split, and straight to numbers."""

    def __init__(self, feed: FeedDescription) -> None:
        super().__init__(feed)
        self._settings = feed.decode
        self._made: tuple[object, Samples | None] = (None, None)

    def _short_way(self, payload: bytes) -> Samples | None:
        decoder = self.decoder
        assert isinstance(decoder, DelimitedDecoder)
        if not decoder.settled or not decoder.lines.settled or self._settings.encoding.lower() not in _ASCII_LIKE:
            return None
        state = (decoder.keys, decoder.width, decoder.lines.always_ended)
        if self._made[0] != state:
            self._made = (state, self._build(decoder))
        return self._made[1]

    def _build(self, decoder: DelimitedDecoder) -> Samples | None:
        width = decoder.width
        plan = self.mapper.plan(decoder.keys or tuple(range(width)))
        if self.mapper.timed and not any(reading.channel == "time_s" for reading in plan):
            return None
        if all(reading.channel == "time_s" for reading in plan):
            return None
        places = [_place(reading, decoder.keys, width) for reading in plan]
        if len(set(places)) < len(places):  # one column for two channels, whose bounds would have to be joined: seldom
            return None
        by_cell = _cell_reader(self._settings, plan, places, width)
        ended = decoder.lines.always_ended
        return line_maker(self._ways(), (plan, places, width), self._settings, ended, by_cell)


_ASCII_LIKE = frozenset({"utf-8", "utf8", "ascii", "latin-1", "latin1", "iso-8859-1", "cp1252"})


def _place(reading: Reading, keys: tuple[str | int, ...], width: int) -> int:
    """The column of a reading."""
    return reading.key if isinstance(reading.key, int) else keys[:width].index(reading.key)


def _cell_reader(settings: DecodeSettings, plan: list[Reading], places: list[int], width: int) -> Short:
    """A line whose mapped cells are empty or numbers in any spelling; the others may be anything."""
    separator = None if settings.delimiter == "whitespace" else settings.delimiter
    mark, comma = settings.quote.encode(), settings.decimal == ","
    makers: dict[bytes, Callable[[list[float]], Sample] | None] = {}

    def by_cell(payload: bytes) -> Sample | None:
        if not payload.isascii() or b"_" in payload or (mark and mark in payload):
            return None
        text = payload.decode("ascii")
        cells = (text.replace(",", ".") if comma else text).split(separator)
        if len(cells) != width and not (len(cells) == width + 1 and not cells[-1].strip()):
            return None
        wanted = [cells[place].strip() for place in places]
        filled = bytes(map(bool, wanted))
        if filled not in makers and len(makers) < _PATTERNS:
            makers[filled] = _maker(plan, filled)
        make = makers.get(filled)
        try:
            return None if make is None else make([float(cell) for cell in wanted if cell])
        except (ValueError, msgspec.ValidationError):
            return None

    return by_cell


_PATTERNS = 32
"""Ways in which cells are filled and empty for which a short way is kept."""


def _maker(plan: list[Reading], filled: bytes) -> Callable[[list[float]], Sample] | None:
    """From the numbers in the filled cells to the sample; None when they make none (no time, or nothing but time)."""
    there = [reading for reading, full in zip(plan, filled, strict=True) if full]
    empty = {reading.channel for reading, full in zip(plan, filled, strict=True) if not full}
    if "time_s" in empty or all(reading.channel == "time_s" for reading in there):
        return None
    some, make = tuple_type([raw_type(reading) for reading in there]), sample_maker(there)
    return lambda numbers: make(msgspec.convert(numbers, some))


class _Mapping(Pipeline):
    """One flat object a packet: its values picked out by key."""

    def __init__(self, feed: FeedDescription) -> None:
        super().__init__(feed)
        self._json = feed.decode.format == "json"
        self._fields = [channel.field for channel in feed.channels]
        self._made: Samples | None = None
        plain = all(isinstance(field, str) and "." not in field for field in self._fields)
        self._looked = not plain or len(set(self._fields)) < len(self._fields)  # nothing to look for then

    def _short_way(self, payload: bytes) -> Samples | None:
        if self._looked:
            return self._made
        record = self._read(payload)
        if type(record) is not dict or not all(field in record for field in self._fields):
            return None
        self._looked = True
        plan = self.mapper.plan(tuple(record))
        if [reading.key for reading in plan] == self._fields and any(reading.channel != "time_s" for reading in plan):
            self._made = object_maker(self._ways(), plan, self._json)
        return self._made

    def _read(self, payload: bytes) -> Any:
        try:
            return msgspec.json.decode(payload) if self._json else msgspec.msgpack.decode(payload)
        except (msgspec.DecodeError, ValueError, TypeError, RecursionError, OverflowError):
            return None


def make_pipeline(feed: FeedDescription) -> Pipeline:
    """The way from bytes to samples for one sender of this feed. Raises `SourceError`."""
    if not feed.decode.merge and feed.decode.format == "delimited":
        return _Delimited(feed)
    if not feed.decode.merge and feed.decode.format in {"json", "msgpack"}:
        return _Mapping(feed)
    return Pipeline(feed)
