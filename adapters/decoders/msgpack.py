"""MessagePack: a map (or an array of values) is a record; several objects on end are several. Decoding is msgspec's."""

from __future__ import annotations

from collections.abc import Sequence

import msgspec

from adapters.decoders.flatten import records_of
from adapters.description import FeedDescription
from adapters.ports import Fields
from adapters.tally import Tally

MOST_OBJECTS = 1000

# Type byte -> bytes that follow it, for the types of a fixed size (MessagePack specification, "Formats").
_FIXED = {0xC0: 0, 0xC1: 0, 0xC2: 0, 0xC3: 0, 0xCA: 4, 0xCB: 8, 0xCC: 1, 0xCD: 2, 0xCE: 4, 0xCF: 8}
_FIXED |= {0xD0: 1, 0xD1: 2, 0xD2: 4, 0xD3: 8, 0xD4: 2, 0xD5: 3, 0xD6: 5, 0xD7: 9, 0xD8: 17}
# Type byte -> (bytes of the length, bytes besides what the length counts): bin, ext, str.
_SIZED = {0xC4: (1, 0), 0xC5: (2, 0), 0xC6: (4, 0), 0xC7: (1, 1), 0xC8: (2, 1), 0xC9: (4, 1)}
_SIZED |= {0xD9: (1, 0), 0xDA: (2, 0), 0xDB: (4, 0)}
# Type byte -> (bytes of the count, objects for each counted): array, map.
_COUNTED = {0xDC: (2, 1), 0xDD: (4, 1), 0xDE: (2, 2), 0xDF: (4, 2)}


class MsgpackDecoder:
    """Decodes MessagePack datagrams; keeps nothing from one to the next."""

    def __init__(self, feed: FeedDescription, tally: Tally) -> None:
        """Ready at once."""
        del feed
        self._tally = tally

    def decode(self, payload: bytes) -> Sequence[Fields]:
        """The records in the datagram, up to the first object that cannot be read."""
        self._tally.packets += 1
        records: list[Fields] = []
        place = 0
        for _ in range(MOST_OBJECTS):
            end = _object_end(payload, place)
            if end is None:
                break
            try:
                records.extend(records_of(msgspec.msgpack.decode(payload[place:end])))
            except (msgspec.DecodeError, ValueError, TypeError, RecursionError, OverflowError):
                break
            place = end
        if place < len(payload):
            what = f"{len(payload) - place} bytes at byte {place} that are no whole MessagePack object"
            self._tally.note("msgpack", f"got {what}", "rest of packet skipped")
        elif not records:
            self._tally.note("no object", "got no map, wanted a map of names and values", "packet skipped")
        return records

    def take_notices(self) -> list[str]:
        """What was wrong since the last call."""
        return self._tally.take()


def _object_end(data: bytes, place: int) -> int | None:
    """The index after the object that begins at `place`; None when there is none or it is cut off."""
    wanted = 1
    while wanted:
        if place >= len(data):
            return None
        wanted -= 1
        size, more = _one(data, place)
        place += size
        wanted += more
        if wanted > len(data):  # each object takes a byte or more
            return None
    return place if place <= len(data) else None


def _one(data: bytes, place: int) -> tuple[int, int]:
    """The bytes that the item at `place` takes without what it holds, and the number of objects it holds."""
    kind = data[place]
    if kind <= 0x7F or kind >= 0xE0:
        return 1, 0
    if kind <= 0x8F:
        return 1, 2 * (kind & 0x0F)
    if kind <= 0x9F:
        return 1, kind & 0x0F
    if kind <= 0xBF:
        return 1 + (kind & 0x1F), 0
    if kind in _FIXED:
        return 1 + _FIXED[kind], 0
    width, extra = _SIZED.get(kind) or _COUNTED[kind]
    count = int.from_bytes(data[place + 1 : place + 1 + width], "big")
    if kind in _SIZED:
        return 1 + width + extra + count, 0
    return 1 + width, extra * count
