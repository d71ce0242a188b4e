"""MAVLink 1 and 2 messages, checked and read by pymavlink (an optional extra). Fields: "VFR_HUD.airspeed".

Frame layout: MAVLink guide, "Packet Serialization". Messages of one datagram are one record until a kind comes again.
A value that the message set defines as "unknown" is not supplied: NaN, and the marks in `_UNKNOWN`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Any

from adapters.decoders.flatten import MOST_FIELDS
from adapters.description import FeedDescription, SourceError
from adapters.ports import Fields, Value
from adapters.tally import Tally

_V1, _V2 = 0xFE, 0xFD
_V1_HEAD, _V2_HEAD, _CRC, _SIGNATURE = 6, 10, 2, 13
_SIGNED = 0x01
MOST_MESSAGES = 1000
# The message set's own marks for "unknown": common.xml and its standard.xml, field descriptions.
_UNKNOWN: dict[str, float] = {
    "GLOBAL_POSITION_INT.hdg": 65535.0,
    "EFI_STATUS.ignition_voltage": 0.0,
    "EFI_STATUS.fuel_pressure": 0.0,
}


class MavlinkDecoder:
    """Decodes the messages of one sender's datagrams; a message never spans two of them."""

    def __init__(self, feed: FeedDescription, tally: Tally) -> None:
        """Raises `SourceError` when pymavlink is not installed."""
        try:
            from pymavlink.dialects.v20 import common
        except ImportError as error:
            text = f'{feed.where}: format "mavlink" needs the package pymavlink: pip install "climbout[mavlink]"'
            raise SourceError(text) from error
        self._tally = tally
        self._reader: Any = common.MAVLink(None)

    def decode(self, payload: bytes) -> Sequence[Fields]:
        """The records in the datagram."""
        self._tally.packets += 1
        records: list[dict[str | int, Value]] = [{}]
        seen: set[str] = set()
        for frame in self._frames(payload):
            kind, fields = self._message(frame)
            if not fields:
                continue
            if kind in seen:
                records.append({})
                seen.clear()
            seen.add(kind)
            records[-1].update(fields)
        return [record for record in records if record]

    def _frames(self, payload: bytes) -> Iterator[bytes]:
        """The whole frames; bytes that begin none are passed over and counted once a datagram."""
        place = junk = count = 0
        while place < len(payload) and count < MOST_MESSAGES:
            size = frame_size(payload, place)
            if size and place + size <= len(payload):
                count += 1
                yield payload[place : place + size]
                place += size
            else:
                junk += 1
                place += 1
        if junk:
            self._tally.note("junk", f"got {junk} bytes that are no whole MAVLink frame", "bytes skipped")

    def _message(self, frame: bytes) -> tuple[str, dict[str | int, Value]]:
        try:
            message = self._reader.decode(bytearray(frame))
        except Exception as error:  # MAVError for a bad checksum or an unknown message; struct.error and more for junk
            text = " ".join(str(error).split())[:80]
            self._tally.note("frame", f"got a frame that does not hold: {text}", "message skipped")
            return "", {}
        kind = str(message.get_type())
        if kind == "BAD_DATA" or kind.startswith("UNKNOWN"):
            return "", {}
        return kind, _fields(kind, message)

    def take_notices(self) -> list[str]:
        """What was wrong since the last call."""
        return self._tally.take()


def frame_size(payload: bytes, place: int) -> int:
    """The bytes of the frame that begins at `place`, by its header; 0 when none begins there."""
    left = len(payload) - place
    if left >= _V1_HEAD + _CRC and payload[place] == _V1:
        return _V1_HEAD + payload[place + 1] + _CRC
    if left >= _V2_HEAD + _CRC and payload[place] == _V2:
        return _V2_HEAD + payload[place + 1] + _CRC + (_SIGNATURE if payload[place + 2] & _SIGNED else 0)
    return 0


def _fields(kind: str, message: Any) -> dict[str | int, Value]:
    found: dict[str | int, Value] = {}
    for name in message.fieldnames:
        value = getattr(message, name)
        if isinstance(value, int | float):
            key = f"{kind}.{name}"
            number = float(value)
            found[key] = None if math.isnan(number) or _UNKNOWN.get(key) == number else number
        elif isinstance(value, list | tuple):
            found |= {f"{kind}.{name}.{i}": float(v) for i, v in enumerate(value) if isinstance(v, int | float)}
        if len(found) > MOST_FIELDS:
            break
    return found
