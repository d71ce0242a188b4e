"""What can be counted of arriving packets in bounded memory: rate, jitter, sizes, loss, and each field's course."""

from __future__ import annotations

import itertools
import math
from collections import deque
from statistics import median

from adapters.identify_table import number
from adapters.ports import Fields

INTERVALS_KEPT = 512
SECOND_NS = 1_000_000_000
RATE_OVER_NS = 5 * SECOND_NS
MOST_FIELDS = 400
TEXT_KEPT = 40
PAYLOADS_KEPT = 64
PAYLOAD_BYTES = 2048
"""Packets kept for guessing their format, and the length beyond which one is not kept."""


class FieldStats:
    """One field: its last value, range, how often it changes, and whether it runs like a counter or a clock."""

    def __init__(self) -> None:
        """Nothing seen yet."""
        self.seen = 0
        self.last: float | str | None = None
        self.low = math.inf
        self.high = -math.inf
        self.changes = 0
        self.bad = 0
        self.missed = 0
        self.again = 0
        self._ones = 0
        self._steps: deque[float] = deque(maxlen=64)

    def add(self, raw: object) -> None:
        """One more value; text is kept cut short, NaN and infinities are counted as bad."""
        value = number(raw)
        if math.isnan(value):
            self._text(raw)
            return
        if isinstance(self.last, float):
            self._follow(value, value - self.last)
        self.seen += 1
        self.last = value
        self.low, self.high = min(self.low, value), max(self.high, value)

    def _text(self, raw: object) -> None:
        text = None if raw is None else str(raw)[:TEXT_KEPT]
        self.seen += 1
        self.bad += raw is not None
        self.changes += text != self.last and self.last is not None
        self.last = text

    def _follow(self, value: float, step: float) -> None:
        self.changes += step != 0
        self._steps.append(step)
        if step == 1:
            self._ones += 1
        elif value == int(value) and 1 < step <= 1000:
            self.missed += int(step) - 1
        elif step == 0:
            self.again += 1

    @property
    def is_counter(self) -> bool:
        """Whether it goes up by one from packet to packet, nearly always."""
        return self.seen >= 30 and self._ones > 0.7 * (self.seen - 1) and self._ones > 20

    @property
    def usual_step(self) -> float:
        """The median of its latest steps; 0 before there are ten."""
        return median(self._steps) if len(self._steps) >= 10 else 0.0

    @property
    def constant(self) -> bool:
        """Whether it has never changed."""
        return self.changes == 0


class ClockStats:
    """Loss told by a time field: steps of two, three … usual intervals are packets that never came."""

    def __init__(self) -> None:
        """Nothing seen yet."""
        self.lost = 0
        self.seen = 0
        self.stands_since: int | None = None
        self._last: float | None = None
        self._steps: deque[float] = deque(maxlen=64)

    def add(self, time_s: float, arrival_ns: int) -> None:
        """One more time of the feed's own clock, s."""
        self.seen += 1
        if self._last is not None:
            self._step(time_s - self._last, arrival_ns)
        self._last = time_s

    def _step(self, step: float, arrival_ns: int) -> None:
        if step <= 0:
            self.stands_since = self.stands_since or arrival_ns
            return
        self.stands_since = None
        usual = median(self._steps) if len(self._steps) >= 10 else 0.0
        if usual and 1.6 * usual < step < 10.0:
            self.lost += round(step / usual) - 1
        self._steps.append(step)


class SenderStats:
    """One sender's packets. All memory is bounded, whatever it sends."""

    def __init__(self, origin: str, arrival_ns: int) -> None:
        """Begin with its first packet's arrival."""
        self.origin = origin
        self.packets = self.bytes = self.repeated = self.decoded = self.tried = self.too_long = 0
        self.samples = 0
        self.first_ns = self.last_ns = arrival_ns
        self.smallest, self.largest = 1 << 62, 0
        self.last_payload = b""
        self.payloads: deque[bytes] = deque(maxlen=PAYLOADS_KEPT)
        self.fields: dict[str | int, FieldStats] = {}
        self.fields_left_out = 0
        self.clock = ClockStats()
        self.longest_gap_ns = 0
        self._arrivals: deque[int] = deque(maxlen=INTERVALS_KEPT)
        self._seconds: deque[tuple[int, int]] = deque(maxlen=8)

    def packet(self, arrival_ns: int, payload: bytes) -> None:
        """One more packet; cheap, done for every packet there is."""
        if self.packets:
            self.longest_gap_ns = max(self.longest_gap_ns, arrival_ns - self.last_ns)
        self.packets += 1
        self.bytes += len(payload)
        self.last_ns = arrival_ns
        self._arrivals.append(arrival_ns)
        second = arrival_ns // SECOND_NS
        before = self._seconds.pop()[1] if self._seconds and self._seconds[-1][0] == second else 0
        self._seconds.append((second, before + 1))
        self.smallest, self.largest = min(self.smallest, len(payload)), max(self.largest, len(payload))
        self.repeated += payload == self.last_payload and self.packets > 1
        self.last_payload = payload if len(payload) <= PAYLOAD_BYTES else payload[:PAYLOAD_BYTES]
        if len(payload) <= PAYLOAD_BYTES:
            self.payloads.append(payload)
        else:
            self.too_long += 1

    def record(self, record: Fields) -> None:
        """One decoded record."""
        for field, raw in record.items():
            stats = self.fields.get(field)
            if stats is None:
                if len(self.fields) >= MOST_FIELDS:
                    self.fields_left_out += 1
                    continue
                stats = self.fields[field] = FieldStats()
            stats.add(raw)

    def forget_fields(self) -> None:
        """Start the fields anew, when they are decoded in another way from now on."""
        self.fields = {}
        self.fields_left_out = self.decoded = self.tried = 0

    def rate_hz(self, now_ns: int) -> float:
        """Packets a second: by the latest while they are few, by whole seconds when they are many; 0 when silent."""
        recent = [at for at in self._arrivals if now_ns - at <= RATE_OVER_NS]
        if len(recent) < 2:
            return 0.0
        if len(recent) == INTERVALS_KEPT:
            return self._counted(now_ns)
        until = now_ns if now_ns - recent[-1] > 3 * (recent[-1] - recent[0]) / (len(recent) - 1) else recent[-1]
        return (len(recent) - 1) / max(1e-9, (until - recent[0]) / 1e9)

    def _counted(self, now_ns: int) -> float:
        """By the counts of the last whole seconds, the running one left out unless it is the only one."""
        second = now_ns // SECOND_NS
        whole = [count for at, count in self._seconds if second - 6 < at < second]
        if whole:
            return sum(whole) / len(whole)
        return sum(count for _, count in self._seconds) / max(0.1, (now_ns - self.first_ns) / 1e9)

    def interval_and_jitter_ms(self) -> tuple[float, float]:
        """The median interval, and how far intervals are from it: the 95th percentile of the difference. Both in ms."""
        times = list(self._arrivals)
        gaps = [(b - a) / 1e6 for a, b in itertools.pairwise(times)]
        if len(gaps) < 3:
            return 0.0, 0.0
        usual = median(gaps)
        off = sorted(abs(gap - usual) for gap in gaps)
        return usual, off[min(len(off) - 1, int(0.95 * len(off)))]

    def loss(self) -> tuple[int, str]:
        """How many packets never came, and how that is known; (0, "") when nothing in them can tell."""
        counters = {field: stats for field, stats in self.fields.items() if stats.is_counter}
        if counters:
            field, stats = min(counters.items(), key=lambda item: item[1].missed)
            return stats.missed, f"by the count in field {field}"
        if self.clock.seen >= 30:
            return self.clock.lost, "by the steps of its time"
        return 0, ""
