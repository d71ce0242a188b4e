"""A flight's samples as columns of numbers: values at a time, stretches between two times, crossings of a level.

Whatever cannot be measured raises `NotMeasured` with the reason in words; nothing is carried over a gap that is too
long for the figure at hand.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from monitor.sample import Sample

Row = tuple[float, Sample]
"""Feed time in seconds, and the sample."""
Array = NDArray[np.float64]

CIRCULAR = ("heading_deg", "track_deg", "longitude_deg")


class NotMeasured(Exception):
    """A figure cannot be had; `why` says which channel was missing or too slow, or what did not happen."""

    def __init__(self, why: str) -> None:
        """Keep the reason."""
        super().__init__(why)
        self.why = why


class Column:
    """One quantity over time. t: seconds, rising. v: values in `unit`; angles are unwrapped (they pass 360)."""

    def __init__(self, name: str, t: Array, v: Array, note: str = "") -> None:
        """`name` is how reasons call it, the channel's name as a rule; `note` is added where it has no value."""
        self.name = name
        self.note = note
        self.t = t
        self.v = v

    def at(self, t: float, gap_s: float) -> float:
        """The value at `t`, on the straight line between its neighbours, which may lie `gap_s` apart at most."""
        if not len(self.t) or not self.t[0] <= t <= self.t[-1]:
            raise NotMeasured(f"{self.name} has no value at {t:.1f} s{self.note}")
        after = int(np.searchsorted(self.t, t))
        if self.t[after] != t:
            self._close_enough(self.t[after] - self.t[after - 1], gap_s)
        return float(np.interp(t, self.t, self.v))

    def between(self, start: float, end: float, gap_s: float) -> tuple[Array, Array]:
        """Times and values from `start` to `end`, the values at both ends interpolated."""
        first, last = self.at(start, gap_s), self.at(end, gap_s)
        inside = (self.t > start) & (self.t < end)
        t = np.concatenate(([start], self.t[inside], [end]))
        if len(t) > 1:
            self._close_enough(float(np.max(np.diff(t))), gap_s)
        return t, np.concatenate(([first], self.v[inside], [last]))

    def crossing(self, level: float, start: float, end: float, gap_s: float, down: bool = False) -> float | None:
        """The first time from `start` to `end` at which the value reaches `level` going up (or down); None if never."""
        inside = np.flatnonzero((self.t >= start) & (self.t <= end))
        beyond = self.v[inside] <= level if down else self.v[inside] >= level
        if not beyond.any():
            return None
        here = int(inside[np.argmax(beyond)])
        if here == 0 or (self.v[here - 1] <= level if down else self.v[here - 1] >= level):
            return float(max(start, self.t[here - 1])) if here else float(self.t[here])
        self._close_enough(self.t[here] - self.t[here - 1], gap_s)
        part = (level - self.v[here - 1]) / (self.v[here] - self.v[here - 1])
        return max(start, float(self.t[here - 1] + part * (self.t[here] - self.t[here - 1])))

    def _close_enough(self, gap: float, most: float) -> None:
        if gap > most * 1.05:  # clocks jitter
            slow = f"{self.name} is too slow: {gap:.1f} s between values, wanted {most:g} s or less"
            raise NotMeasured(slow if not self.note else f"{self.name} is missing for {gap:.1f} s{self.note}")


class Doubt(NamedTuple):
    """A channel that is not believed between two times, and why."""

    channel: str
    start: float
    end: float
    why: str


class Series:
    """The samples of one stretch of feed time, in order, as columns made when first asked for."""

    def __init__(self, rows: Sequence[Row], doubts: Sequence[Doubt] = ()) -> None:
        """`rows` have rising times; what lies in `doubts` counts as not supplied."""
        self._rows = rows
        self._doubts = doubts
        self._columns: dict[str, Column] = {}

    @property
    def start_s(self) -> float:
        """The time of the first sample."""
        return self._rows[0][0]

    @property
    def end_s(self) -> float:
        """The time of the last sample."""
        return self._rows[-1][0]

    def has(self, channel: str) -> bool:
        """Whether the channel was supplied at all."""
        return len(self._column(channel).t) > 0

    def column(self, channel: str) -> Column:
        """The column of a channel; raises `NotMeasured` when it was never supplied, or never believed."""
        if self.has(channel):
            return self._column(channel)
        note = self._note(channel)
        raise NotMeasured(f"{channel} was not believed{note}" if note else f"{channel} was not supplied")

    def _column(self, channel: str) -> Column:
        if channel not in self._columns:
            doubts = [doubt for doubt in self._doubts if doubt.channel == channel]
            found = [
                (t, value)
                for t, sample in self._rows
                if (value := getattr(sample, channel)) is not None and not any(d.start <= t < d.end for d in doubts)
            ]
            table = np.array(found, dtype=np.float64).reshape(-1, 2)
            values = np.unwrap(table[:, 1], period=360.0) if channel in CIRCULAR and found else table[:, 1]
            self._columns[channel] = Column(channel, table[:, 0], values, self._note(channel))
        return self._columns[channel]

    def _note(self, channel: str) -> str:
        whys = dict.fromkeys(doubt.why for doubt in self._doubts if doubt.channel == channel)
        return f" ({'; '.join(whys)})" if whys else ""


def mean_of(t: Array, v: Array) -> float:
    """The mean over time of the straight lines through the points."""
    if t[-1] <= t[0]:
        raise NotMeasured("there was no time to measure it in")
    return float(np.trapezoid(v, t) / (t[-1] - t[0]))


def deviation_of(t: Array, v: Array) -> float:
    """The standard deviation over time of the straight lines through the points (the integral is exact)."""
    d = v - mean_of(t, v)
    squares = np.diff(t) * (d[:-1] ** 2 + d[:-1] * d[1:] + d[1:] ** 2) / 3.0
    return float(np.sqrt(np.sum(squares) / (t[-1] - t[0])))


def share_inside(t: Array, v: Array, low: float, high: float) -> float:
    """The part of the time, 0 to 1, that the straight lines through the points lie from low to high."""
    fine = np.linspace(t[0], t[-1], max(2, round((t[-1] - t[0]) / 0.02)))
    values = np.interp(fine, t, v)
    return float(np.mean((values >= low) & (values <= high)))
