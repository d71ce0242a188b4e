"""Trends over the last takeoffs of a logbook, item by item: how many within the standard, the mean, the mean before."""

from __future__ import annotations

import statistics
from collections.abc import Sequence

import msgspec

from replay.items import Item
from replay.logbook import Line

FEW = 5
"""From fewer takeoffs than this no mean is told; common practice, no source."""
LESS: dict[str, str] = {
    "rotation-speed": "VR",
    "lift-off-speed": "the profile's",
    "ground-roll": "the profile's",
    "takeoff-rpm": "the least",
    "lowest-speed": "1.1 VS",
    "climb-speed": "VY",
    "flaps-up-speed": "VY",
    "obstacle-speed": "VX",
}
"""Items told as the difference to what was wanted, which is comparable from aeroplane to aeroplane."""


class Trend(msgspec.Struct, frozen=True):
    """One item over its last takeoffs that could be judged.

    less: what the values are told as the difference to, None when as they are. judged, within: how many. marks: "+"
    within, "x" outside, oldest first. mean, spread (sample standard deviation), before (mean of as many takeoffs
    before those): in `unit`; None from fewer than `FEW`.
    """

    item: str
    unit: str
    less: str | None
    judged: int
    within: int
    marks: str
    last: float
    mean: float | None
    spread: float | None
    before: float | None


def counted(lines: Sequence[Line], aircraft: str | None = None) -> list[Line]:
    """The takeoffs that count, of one aeroplane if named."""
    return [line for line in lines if not line.struck and aircraft in (None, line.aircraft)]


def trends(lines: Sequence[Line], last: int) -> list[Trend]:
    """The trend of every item that was ever judged, over its last `last` takeoffs; `lines` oldest first."""
    items: dict[str, list[Item]] = {}
    for line in lines:
        for item in line.items:
            if item.verdict in ("within", "outside") and item.actual is not None:
                items.setdefault(item.id, []).append(item)
    return [_trend(id_, found, last) for id_, found in items.items()]


def _trend(id_: str, found: Sequence[Item], last: int) -> Trend:
    now, before = found[-last:], found[-2 * last : -last]
    values = [told(item) for item in now]
    return Trend(
        item=id_,
        unit=found[-1].unit,
        less=LESS.get(id_),
        judged=len(now),
        within=sum(item.verdict == "within" for item in now),
        marks="".join("+" if item.verdict == "within" else "x" for item in now),
        last=round(values[-1], 2),
        mean=_mean(values),
        spread=round(statistics.stdev(values), 2) if len(values) >= FEW else None,
        before=_mean([told(item) for item in before]),
    )


def told(item: Item) -> float:
    """The item's figure, or its difference to what was wanted."""
    wanted = item.target if item.target is not None else item.low
    actual = item.actual or 0.0
    return actual - wanted if item.id in LESS and wanted is not None else actual


def _mean(values: Sequence[float]) -> float | None:
    return round(statistics.fmean(values), 2) if len(values) >= FEW else None
