"""How views travel to the painter's process and its reports travel back: length-prefixed MessagePack, JSON lines."""

from __future__ import annotations

from typing import BinaryIO

import msgspec

from monitor.screen_parts import View

MOST_BYTES = 1_000_000
"""More than any view holds; a longer message means the stream is out of step."""


class Frame(msgspec.Struct, frozen=True):
    """One view to paint, and the markers it is the first to show."""

    view: View
    markers: tuple[str, ...] = ()


class Report(msgspec.Struct, frozen=True, omit_defaults=True):
    """What the painter tells: that it is ready, or the monotonic time of the flush that first showed a marker."""

    ready: bool = False
    marker: str = ""
    shown_ns: int = 0


_ENCODER = msgspec.msgpack.Encoder()
_DECODER = msgspec.msgpack.Decoder(Frame)
_REPORTS = msgspec.json.Decoder(Report)


def encode(frame: Frame) -> bytes:
    """The frame as one message: four bytes of length, most significant first, then MessagePack."""
    body = _ENCODER.encode(frame)
    return len(body).to_bytes(4, "big") + body


def read(stream: BinaryIO) -> Frame | None:
    """The next frame, or None at the stream's end, also when it ends inside a message (the sender was killed)."""
    head = stream.read(4)
    size = int.from_bytes(head, "big")
    if len(head) < 4 or size > MOST_BYTES:
        return None
    body = stream.read(size)
    return _DECODER.decode(body) if len(body) == size else None


def encode_report(report: Report) -> str:
    """The report as one line."""
    return msgspec.json.encode(report).decode() + "\n"


def read_report(line: bytes) -> Report | None:
    """The report in the line, or None when the line is none (a message of a painter that failed)."""
    try:
        return _REPORTS.decode(line)
    except (msgspec.DecodeError, UnicodeDecodeError):
        return None
