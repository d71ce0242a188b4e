"""Packed binary: a fixed record, repeated records of an index and n values, or several kinds of record, each tagged.

A datagram whose size does not fit the layout gives nothing: what is cut off cannot be told from what is not.
"""

from __future__ import annotations

import struct
from collections.abc import Sequence

from adapters.description import FeedDescription, Kind, Layout, Part
from adapters.ports import Fields, Value
from adapters.tally import Tally

MOST_FIELDS = 4000


class _Record:
    """One fixed run of parts, ready to unpack."""

    def __init__(self, order: str, parts: Sequence[Part], prefix: str = "") -> None:
        self.struct = struct.Struct(order + "".join(part.code for part in parts))
        self.names = [prefix + part.name for part in parts if part.name is not None]
        self.size = self.struct.size

    def fields(self, data: bytes, place: int) -> dict[str | int, Value]:
        return {
            name: float(value) for name, value in zip(self.names, self.struct.unpack_from(data, place), strict=True)
        }


class PackedDecoder:
    """Decodes datagrams of one layout; keeps nothing from one to the next."""

    def __init__(self, feed: FeedDescription, tally: Tally) -> None:
        """Work out the sizes once."""
        self._tally = tally
        layout = feed.decode.layout or Layout()
        self._layout = layout
        self._head = len(layout.start) + layout.skip
        self._fixed = _Record(layout.order, layout.parts) if layout.parts else None
        self._indexed = (
            struct.Struct(f"{layout.order}{layout.index}{layout.values}{layout.value}") if layout.index else None
        )
        self._tag = struct.Struct(layout.order + (layout.tag or "B"))
        self._length = struct.Struct(layout.order + layout.length) if layout.length else None
        self._kinds = {kind.tag: _kind_record(layout.order, kind) for kind in layout.kinds}

    def decode(self, payload: bytes) -> Sequence[Fields]:
        """The records in the datagram."""
        self._tally.packets += 1
        layout = self._layout
        if not payload.startswith(layout.start):
            got = payload[: len(layout.start)].hex(" ") or "nothing"
            self._tally.note("start", f"got {got} at the start, wanted {layout.start.hex(' ')}", "packet skipped")
            return []
        body = payload[self._head : len(payload) - layout.tail]
        if len(payload) < self._head + layout.tail or not body:
            return self._wrong_size(len(payload), "more")
        if self._fixed is not None:
            return self._repeated(body, self._fixed, len(payload))
        if self._indexed is not None:
            return self._by_index(body, self._indexed, len(payload))
        return self._tagged(body)

    def _wrong_size(self, got: int, wanted: str) -> list[Fields]:
        self._tally.note("size", f"got {got} bytes, wanted {wanted}", "packet skipped")
        return []

    def _repeated(self, body: bytes, record: _Record, got: int) -> Sequence[Fields]:
        if len(body) % record.size:
            return self._wrong_size(got, f"{self._head + self._layout.tail} and a multiple of {record.size}")
        count = min(len(body) // record.size, MOST_FIELDS)
        return [record.fields(body, number * record.size) for number in range(count)]

    def _by_index(self, body: bytes, indexed: struct.Struct, got: int) -> Sequence[Fields]:
        """Fields are named "INDEX.POSITION"; an index that comes again begins another record."""
        if len(body) % indexed.size:
            return self._wrong_size(got, f"{self._head + self._layout.tail} and a multiple of {indexed.size}")
        records: list[dict[str | int, Value]] = [{}]
        for index, *values in indexed.iter_unpack(body[: indexed.size * MOST_FIELDS]):
            if f"{index}.0" in records[-1]:
                records.append({})
            records[-1].update({f"{index}.{place}": float(value) for place, value in enumerate(values)})
        return records

    def _tagged(self, body: bytes) -> Sequence[Fields]:
        """Fields are named "KIND.FIELD"; a kind that comes again begins another record."""
        records: list[dict[str | int, Value]] = [{}]
        seen: set[int] = set()
        place = 0
        while place < len(body):
            found = self._next(body, place)
            if found is None:
                return []
            tag, start, place = found
            record = self._kinds.get(tag)
            if record is None:
                if self._length is None:
                    text = f"got a record of kind {tag} at byte {start}, which is not in the layout"
                    self._tally.note("kind", text, "rest of packet skipped")
                    break
                continue
            if tag in seen:
                records.append({})
                seen.clear()
            seen.add(tag)
            records[-1].update(record.fields(body, start))
        return [record for record in records if record]

    def _next(self, body: bytes, place: int) -> tuple[int, int, int] | None:
        """Tag, start of the body and place after it, of the record at `place`; None when it is cut off."""
        head = self._tag.size + (self._length.size if self._length else 0)
        start = place + head
        if start <= len(body):
            tag = int(self._tag.unpack_from(body, place)[0])
            record = self._kinds.get(tag)
            size = record.size if record else 0
            if self._length is not None:
                length = int(self._length.unpack_from(body, place + self._tag.size)[0])
                fits = length >= size
                size = length
            else:
                fits = True
            if fits and start + size <= len(body):
                return tag, start, start + size
        self._tally.note("cut off", f"got a record cut off at byte {place} after the head", "packet skipped")
        return None

    def take_notices(self) -> list[str]:
        """What was wrong since the last call."""
        return self._tally.take()


def _kind_record(order: str, kind: Kind) -> _Record:
    return _Record(order, kind.parts, f"{kind.name}.")
