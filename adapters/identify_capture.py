"""A recorded stream to identify: a capture, or a text log, a line being a packet, whose own clock is looked for."""

from __future__ import annotations

import itertools
import math
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from statistics import median

from adapters.capture import is_capture, read_capture
from adapters.fresh_ports import FRESH_IN_A_ROW, address_of, whole_name
from adapters.ports import Packet
from monitor.toml_check import Faults

USUAL_HZ = 20.0
"""Assumed for a text log without a clock of its own."""
MOST_BYTES = 512 * 1024 * 1024
LONGEST_LINE = 200_000


def read_stream(path: Path, rate_hz: float | None = None) -> list[Packet]:
    """The packets of a capture or a text log. rate_hz: lines a second of a log, when known.

    Raises `Faults` with a clear line when the file is neither or cannot be read.
    """
    try:
        if path.stat().st_size > MOST_BYTES:
            raise Faults([f"stream {path}: is larger than {MOST_BYTES // 2**20} MB; cut it"])
        if is_capture(path):
            return list(read_capture(path))
        data = path.read_bytes()
    except OSError as error:
        raise Faults([f"stream {path}: cannot be read: {error.strerror or error}"]) from None
    lines = [line for line in data.splitlines(keepends=True) if line.strip()]
    if not lines:
        raise Faults([f"stream {path}: the file is empty"])
    if b"\x00" in data[:4096]:
        raise Faults([f"stream {path}: neither a recording, a capture nor a text log"])
    return _log(lines, rate_hz)


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
    if not 0.005 <= usual <= longest_s:
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


def by_sender(packets: Sequence[Packet]) -> dict[str, list[Packet]]:
    """The packets of each sender, who sent most first.

    An address from which most packets came from ports used once only is one sender, "ADDRESS:*".
    """
    times = Counter(packet.origin for packet in packets)
    once = Counter(address_of(origin) for origin, count in times.items() if count == 1)
    every = Counter(address_of(packet.origin) for packet in packets)
    whole = {name for name, count in once.items() if count >= FRESH_IN_A_ROW and 2 * count > every[name]}
    found: dict[str, list[Packet]] = {}
    for packet in packets:
        address = address_of(packet.origin)
        single = address in whole and times[packet.origin] <= 2  # a port picked at random may come again
        found.setdefault(whole_name(address) if single else packet.origin, []).append(packet)
    return dict(sorted(found.items(), key=lambda item: -len(item[1])))
