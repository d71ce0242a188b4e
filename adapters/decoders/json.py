"""JSON: an object (or an array of values) is a record; an array of objects, or several objects on end, are several.

Nested keys are joined by dots ("engine.0.rpm"); decoding is msgspec's.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from typing import Any

import msgspec

from adapters.decoders.flatten import records_of
from adapters.description import FeedDescription
from adapters.ports import Fields
from adapters.tally import Tally, shown

MOST_OBJECTS = 1000


class JsonDecoder:
    """Decodes JSON datagrams; keeps nothing from one to the next."""

    def __init__(self, feed: FeedDescription, tally: Tally) -> None:
        """Ready at once."""
        del feed
        self._tally = tally

    def decode(self, payload: bytes) -> Sequence[Fields]:
        """The records in the datagram; what cannot be read gives none."""
        self._tally.packets += 1
        try:
            return self._records(msgspec.json.decode(payload))
        except (msgspec.DecodeError, ValueError, RecursionError):
            return self._several(payload)

    def _records(self, value: Any) -> list[Fields]:
        records = records_of(value)
        if not records:
            self._tally.note("no object", f"got {shown(str(value))}, wanted a JSON object", "packet skipped")
        return records

    def _several(self, payload: bytes) -> list[Fields]:
        """The whole objects of a datagram that holds several, up to the first that cannot be read."""
        try:
            text = payload.decode()
        except UnicodeError:
            self._tally.note("encoding", "got bytes that are no UTF-8 text", "packet skipped")
            return []
        found: list[Fields] = []
        told = dict(self._tally.counts)
        for value in self._objects(text):
            found.extend(records_of(value))
        if not found and self._tally.counts == told:  # "1,2,3" is several numbers, and no object
            self._tally.note("no object", f"got {shown(text)}, wanted a JSON object", "packet skipped")
        return found

    def _objects(self, text: str) -> Iterator[Any]:
        reader = json.JSONDecoder(parse_constant=_no_constant)
        place = 0
        for _ in range(MOST_OBJECTS):
            while place < len(text) and text[place] in " \t\r\n,\x1e\x00":
                place += 1
            if place >= len(text):
                return
            try:
                value, place = reader.raw_decode(text, place)
            except (ValueError, RecursionError):
                self._tally.note("json", f"got {shown(text[place:])}, wanted a JSON object", "rest of packet skipped")
                return
            yield value

    def take_notices(self) -> list[str]:
        """What was wrong since the last call."""
        return self._tally.take()


def _no_constant(name: str) -> str:
    """NaN and Infinity are no JSON; some senders print them all the same: kept as text, so that a notice shows it."""
    return name
