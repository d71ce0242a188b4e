"""A recorded stream of records as columns of numbers on an even clock, and what can be told of each column alone.

Nothing here knows what a channel is. A column is one field of the feed, whatever its name or number.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

import msgspec
import numpy as np
from numpy.typing import NDArray

from adapters.ports import Fields

Floats = NDArray[np.float64]
Field = str | int

GRID_HZ = 10.0
"""The even clock everything is compared on: fine enough for a hand on a control, coarse enough to be quick."""

MAX_ROWS = 200_000
"""Records kept of one stream: an hour at 50 a second. Later ones are left out and counted."""

MAX_FIELDS = 1_000
"""Different fields kept; a sender that makes up a new name in each packet cannot fill the memory."""

WILD = 1e15
"""A magnitude beyond this is no measurement of anything an aeroplane has: treated as not supplied."""


class Table(msgspec.Struct, frozen=True):
    """Columns by field: `t_s` (arrival, s, ascending) and an array of that length a field; NaN = not supplied."""

    t_s: Floats
    columns: dict[Field, Floats]
    left_out: int = 0


class Column(msgspec.Struct, frozen=True):
    """One field on the even clock: smoothed values without gaps, its range (less wild moments), noise (one sigma)."""

    field: Field
    values: Floats
    low: float
    high: float
    noise: float

    @property
    def span(self) -> float:
        """Highest less lowest, in the field's own unit."""
        return self.high - self.low

    @property
    def constant(self) -> bool:
        """Whether it never changes by more than its last digits."""
        return self.span <= 1e-9 * max(abs(self.low), abs(self.high))


class Grid(msgspec.Struct, frozen=True):
    """The even clock `t_s` (s, step 1 / GRID_HZ) and every usable column on it."""

    t_s: Floats
    columns: tuple[Column, ...]

    def between(self, from_s: float, to_s: float) -> slice:
        """The part of the clock from `from_s` to `to_s`, both inclusive; empty when outside the stream."""
        first, last = np.searchsorted(self.t_s, (from_s - 1e-9, to_s + 1e-9))
        return slice(int(first), int(last))


def number(value: object) -> float:
    """A raw value as a float; NaN for text, nothing, an infinity or a wild magnitude."""
    if isinstance(value, bool):
        return float(value)
    if isinstance(value, str):
        try:
            value = float(value)
        except ValueError:
            return math.nan
    if not isinstance(value, float | int) or not abs(value) < WILD:
        return math.nan
    return float(value)


def make_table(stream: Iterable[tuple[float, Fields]]) -> Table:
    """The table of a recorded stream of (arrival in s, record). Never raises; bounded by MAX_ROWS and MAX_FIELDS."""
    times: list[float] = []
    cells: dict[Field, list[tuple[int, float]]] = {}
    left_out = 0
    for at_s, record in stream:
        if len(times) >= MAX_ROWS:
            left_out += 1
            continue
        row = len(times)
        times.append(at_s)
        for field, raw in record.items():
            if field not in cells and len(cells) >= MAX_FIELDS:
                continue
            value = number(raw)
            if not math.isnan(value):
                cells.setdefault(field, []).append((row, value))
    columns = {field: _column(entries, len(times)) for field, entries in cells.items()}
    return Table(np.array(times, dtype=np.float64), drop_twins(columns), left_out)


def drop_twins(columns: dict[Field, Floats]) -> dict[Field, Floats]:
    """Without the second key of one and the same column: a decoder may give a field by its name and its number.

    The name is kept, since a column's number changes when the sender adds a field.
    """
    seen: dict[bytes, Field] = {}
    for field in sorted(columns, key=lambda key: isinstance(key, int)):
        fingerprint = columns[field].tobytes()
        first = seen.setdefault(fingerprint, field)
        if isinstance(field, int) and isinstance(first, int):
            seen[fingerprint + str(field).encode()] = field
    keep = set(seen.values()) | {f for f in columns if isinstance(f, str)}
    return {field: column for field, column in columns.items() if field in keep}


def _column(entries: Sequence[tuple[int, float]], rows: int) -> Floats:
    column = np.full(rows, np.nan)
    column[[row for row, _ in entries]] = [value for _, value in entries]
    return column


def make_grid(table: Table, smooth_s: float = 0.5) -> Grid:
    """The table on the even clock, each column averaged over `smooth_s`; columns with under 20 values are left out."""
    if len(table.t_s) < 2:
        return Grid(np.zeros(0), ())
    order = np.argsort(table.t_s, kind="stable")
    t_s = table.t_s[order]
    clock = np.arange(t_s[0], t_s[-1] + 0.5 / GRID_HZ, 1.0 / GRID_HZ)
    columns = (_on_clock(field, t_s, values[order], clock, smooth_s) for field, values in table.columns.items())
    return Grid(clock, tuple(column for column in columns if column is not None))


def _on_clock(field: Field, t_s: Floats, values: Floats, clock: Floats, smooth_s: float) -> Column | None:
    known = np.isfinite(values)
    if known.sum() < 20:
        return None
    x, at = _without_spikes(values[known]), t_s[known]
    even = np.interp(clock, at, unwrapped(x))
    low, high = np.percentile(x, (0.1, 99.9))
    noise = float(np.median(np.abs(x[2:] - 2 * x[1:-1] + x[:-2])) / 1.652)  # 1.652 = 0.6745 x sqrt(6), white noise
    return Column(field, box(even, smooth_s), float(low), float(high), noise)


def unwrapped(x: Floats) -> Floats:
    """A compass without its jump at north, when its jumps show it to be one (360 or 2 pi); anything else unchanged."""
    change = np.abs(np.diff(x))
    for turn in (360.0, 2 * math.pi):
        jumps = change > 0.9 * turn
        compass = jumps.any() and change.max() < 1.1 * turn and np.ptp(x) < 1.05 * turn
        if compass and change[~jumps].max(initial=0.0) < 0.2 * turn:
            return np.unwrap(x, period=turn)
    return x


def _without_spikes(x: Floats) -> Floats:
    """Single wild values replaced by the one before: a thousand times the usual size is a fault, not a flight."""
    usual = np.percentile(np.abs(x), 99)
    wild = np.abs(x) > 1000 * max(float(usual), 1e-12)
    if not wild.any() or usual == 0:
        return x
    result = x.copy()
    result[wild] = np.median(x[~wild])
    return result


def box(x: Floats, seconds: float) -> Floats:
    """The moving average of an even-clock series over `seconds`, the ends averaged over what there is."""
    width = max(1, round(seconds * GRID_HZ)) | 1
    if width == 1 or len(x) < width:
        return x
    total = np.cumsum(np.concatenate(([0.0], x - x[0])))
    half = width // 2
    index = np.arange(len(x))
    first, last = np.maximum(index - half, 0), np.minimum(index + half + 1, len(x))
    return np.asarray((total[last] - total[first]) / (last - first) + x[0])


def slope(x: Floats, seconds: float = 2.0) -> Floats:
    """The rate of change a second of an even-clock series, over `seconds`."""
    half = max(1, round(seconds * GRID_HZ / 2))
    padded = np.concatenate((np.full(half, x[0]), x, np.full(half, x[-1])))
    return np.asarray((padded[2 * half :] - padded[: -2 * half]) * GRID_HZ / (2 * half))
