"""A recorded stream on disk: one JSON object a line, {"t": seconds, "from": sender, "text" or "base64": payload}.

Text logs are read too, a line being a packet; they hold no arrival times, so their own clock is looked for.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from statistics import median

import msgspec

from adapters.ports import Packet
from monitor.toml_check import Faults

USUAL_HZ = 20.0
"""Assumed for a text log without a clock of its own."""
MOST_BYTES = 512 * 1024 * 1024
LONGEST_LINE = 200_000


class Line(msgspec.Struct, rename={"sender": "from"}, omit_defaults=True):
    """One line of a capture: exactly one of text and base64 holds the payload."""

    t: float
    sender: str = ""
    text: str | None = None
    base64: bytes | None = None

    def packet(self) -> Packet:
        """The packet. Raises ValueError when there is no payload."""
        payload = self.base64 if self.text is None else self.text.encode()
        if payload is None or not math.isfinite(self.t):
            raise ValueError("wanted text or base64, and a finite t")
        return Packet(round(self.t * 1e9), self.sender, payload)


def to_line(packet: Packet, start_ns: int = 0) -> bytes:
    """A packet as a line of a capture, its time in seconds after `start_ns`."""
    t = round((packet.arrival_ns - start_ns) / 1e9, 6)
    try:
        line = Line(t, packet.origin, text=packet.payload.decode())
    except UnicodeDecodeError:
        line = Line(t, packet.origin, base64=packet.payload)
    return msgspec.json.encode(line) + b"\n"


def read_capture(path: Path, rate_hz: float | None = None) -> list[Packet]:
    """The packets of a capture or a text log. Raises `Faults` with a line when it is neither or unreadable."""
    try:
        if path.stat().st_size > MOST_BYTES:
            raise Faults([f"stream {path}: is larger than {MOST_BYTES // 2**20} MB; cut it"])
        data = path.read_bytes()
    except OSError as error:
        raise Faults([f"stream {path}: cannot be read: {error.strerror or error}"]) from None
    lines = [line for line in data.splitlines(keepends=True) if line.strip()]
    if not lines:
        raise Faults([f"stream {path}: the file is empty"])
    if lines[0].lstrip().startswith(b'{"t":'):
        return list(_captured(lines, path))
    if b"\x00" in data[:4096]:
        raise Faults([f"stream {path}: neither a capture nor a text log"])
    return _log(lines, rate_hz)


def _captured(lines: Sequence[bytes], path: Path) -> Iterator[Packet]:
    decoder = msgspec.json.Decoder(Line)
    for number, line in enumerate(lines, 1):
        try:
            yield decoder.decode(line).packet()
        except (msgspec.MsgspecError, ValueError) as error:
            if number == len(lines):
                return  # cut off by a kill: what is whole is used
            raise Faults([f"stream {path}: line {number}: {error}"]) from None


def _log(lines: Sequence[bytes], rate_hz: float | None) -> list[Packet]:
    times = own_clock(lines) if rate_hz is None else None
    step = 1.0 / (rate_hz or USUAL_HZ)
    return [
        Packet(round((times[i] if times else i * step) * 1e9), "log", line[:LONGEST_LINE])
        for i, line in enumerate(lines)
    ]


def own_clock(lines: Sequence[bytes]) -> list[float] | None:
    """Seconds of each line by the first column that runs as a clock does: evenly, forward, 1 to 200 times a second."""
    rows = [_numbers(line) for line in lines]
    width = min(max(map(len, rows), default=0), 2000)
    columns = [[row[at] if at < len(row) else math.nan for row in rows] for at in range(width)]
    for column in columns:
        if (clock := _as_clock(column, 0.99)) is not None:
            return clock
    return _as_clock(columns[0], 1.01) if columns else None  # whole seconds, or a mere count: believed in front only


def _numbers(line: bytes) -> list[float]:
    text = line.decode("utf-8", "replace")
    separator = max(",;\t|", key=text.count)
    cells = text.split(separator if separator in text else None)
    return [_number(cell.replace(",", ".")) for cell in cells]


def _number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        return math.nan


def _as_clock(values: Sequence[float], longest_s: float) -> list[float] | None:
    known = [value for value in values if math.isfinite(value)]
    if len(known) < 20 or len(known) < 0.9 * len(values):
        return None
    steps = [b - a for a, b in itertools.pairwise(known)]
    usual = median(steps)
    if (
        not 0.005 <= usual <= 1.0
        or usual == 1.0
        and known[0] == int(known[0])
        and len(set(steps)) == 1
        and known[0] <= 1
    ):
        return None
    even = sum(0.2 * usual <= step <= 5 * usual for step in steps)
    if even < 0.95 * len(steps):
        return None
    return list(_carried(values, known[0]))


def _carried(values: Iterable[float], first: float) -> Iterator[float]:
    """The values from nought on, a missing one as the one before, none going back."""
    latest = 0.0
    for value in values:
        if math.isfinite(value):
            latest = max(latest, value - first)
        yield latest


def seconds(packets: Sequence[Packet]) -> list[tuple[float, bytes]]:
    """(arrival in s, payload) of each packet."""
    return [(packet.arrival_ns / 1e9, packet.payload) for packet in packets]


def busiest_sender(packets: Sequence[Packet]) -> str:
    """The sender of the most packets; "" when there is none."""
    counts: dict[str, int] = {}
    for packet in packets:
        counts[packet.origin] = counts.get(packet.origin, 0) + 1
    return max(counts, key=lambda origin: counts[origin], default="")
