"""Which takeoffs a flight holds: the moments that the coach named, and the samples that belong to each."""

from __future__ import annotations

import math
from collections.abc import Sequence

import msgspec
import numpy as np

from monitor.events import Event
from monitor.heights import CLEAR_FT, TERRAIN_FT, TERRAIN_S
from monitor.options import Options
from replay.series import Array, Column, Doubt, NotMeasured, Row, Series

WHEELS_OFFSET_FT = (1.5, 15.0)
"""A height between these on the wheels is the reference point's own height and is taken off, as the coach does."""
DEAD = "airspeed-not-alive"
HELD_S = 5.0
"""A warning this soon after lift-off was held from the roll; common practice, no source."""
SILENT = "no longer supplied"
SLOW_KT = 25.0
"""Below this indicated altitude is not yet disturbed by the roll; common practice, no source."""
SETS_IN_KT = 10.0
"""Rolling faster than this at the first sample, the roll began before the data; common practice, no source."""
SAME_FIELD_FT = 60.0
"""A later takeoff's reading this near the first one's is of the same field; common practice, no source."""


class Takeoff(msgspec.Struct, frozen=True):
    """One takeoff: its number, the samples of its stretch of feed time, its moments in seconds, and its events.

    phases: (time, id) of every phase from the roll on. end_s: the next roll, or the last sample.
    """

    number: int
    series: Series
    events: tuple[Event, ...]
    phases: tuple[tuple[float, str], ...]
    roll_start_s: float
    end_s: float
    lined_up_s: float | None = None
    runway_heading_deg: float | None = None

    def begin_of(self, phase: str) -> float | None:
        """When a phase of this takeoff began first; None when it never did."""
        return next((t for t, name in self.phases if name == phase), None)

    @property
    def liftoff_s(self) -> float | None:
        """When the wheels left the ground for good."""
        return self.begin_of("initial-climb")

    @property
    def touchdown_s(self) -> float | None:
        """When the flight after this takeoff ended on the wheels."""
        return self.begin_of("landing-roll")

    @property
    def aloft_until_s(self) -> float:
        """The end of what was flown after this takeoff."""
        return self.end_s if self.touchdown_s is None else self.touchdown_s

    @property
    def outcome(self) -> str:
        """climbed, rejected, landed-ahead, or incomplete when the stream ended before it was any of these."""
        if self.liftoff_s is not None:
            if self.begin_of("climb") is not None:
                return "climbed"
            return "landed-ahead" if self.touchdown_s is not None else "incomplete"
        return "rejected" if self.begin_of("rejected-takeoff") is not None else "incomplete"

    def first(self, kind: str, id_: str) -> Event | None:
        """The first event of this takeoff with that kind and id."""
        return next((event for event in self.events if event.kind == kind and event.id == id_), None)


def split(stretches: Sequence[Sequence[Row]], events: Sequence[Event]) -> list[Takeoff]:
    """The takeoffs of a flight, in order.

    stretches: the samples that were judged, cut where feed time was restarted. events: all of them, in the order
    noticed; a `restarted` among them begins the next stretch.
    """
    parts: list[list[Event]] = [[]]
    for event in events:
        if event.kind == "feed" and event.id == "restarted":
            parts.append([])
        parts[-1].append(event)
    found: list[Takeoff] = []
    for rows, part in zip(stretches, parts, strict=False):
        if rows:
            found += _in_stretch(Series(rows, _doubts(part)), part)
    return found


def _doubts(events: Sequence[Event]) -> list[Doubt]:
    """What the coach did not believe: channels it set aside, and an airspeed found dead or stuck on a roll.

    A channel that was merely silent has no values then anyway.
    """
    doubts = []
    for index, event in enumerate(events):
        if event.t_s is None:
            continue
        if event.kind == "feed" and event.id == "channel-lost" and event.more.get("why") != SILENT:
            channel = str(event.more.get("channel"))
            back = (e.t_s for e in events[index:] if e.id == "channel-back" and e.more.get("channel") == channel)
            doubts.append(Doubt(channel, event.t_s, next(back, None) or math.inf, str(event.more.get("why"))))
        if event.kind == "warning" and DEAD in (event.id, event.reason):
            doubts.append(Doubt("ias_kt", *_dead_between(events, event.t_s), "the airspeed was found dead or stuck"))
    return doubts


def _dead_between(events: Sequence[Event], t: float) -> tuple[float, float]:
    """From the start of the roll, or from lift-off when it was found well after it; to the next roll."""
    rolls = _begins(events, "takeoff-roll")
    aloft = [begin + HELD_S for begin in _begins(events, "initial-climb") if begin + HELD_S <= t]
    before = [begin for begin in (*rolls, *aloft) if begin <= t]
    return max(before, default=t), min((begin for begin in rolls if begin > t), default=math.inf)


def _begins(events: Sequence[Event], phase: str) -> list[float]:
    return [e.t_s for e in events if e.kind == "phase" and e.id == phase and e.t_s is not None]


def _in_stretch(series: Series, events: Sequence[Event]) -> list[Takeoff]:
    phases = sorted(((e.t_s, e.id) for e in events if e.kind == "phase" and e.t_s is not None), key=lambda p: p[0])
    rolls: dict[int, float] = {}
    for event in events:
        if event.kind == "phase" and event.id == "takeoff-roll" and event.takeoff is not None and event.t_s is not None:
            rolls.setdefault(event.takeoff, event.t_s)
    starts = sorted(rolls.items(), key=lambda item: item[1])
    takeoffs = []
    for index, (number, start) in enumerate(starts):
        end = starts[index + 1][1] if index + 1 < len(starts) else series.end_s
        lined_up = _lined_up(events, start)
        takeoffs.append(
            Takeoff(
                number=number,
                series=series,
                events=tuple(event for event in events if event.takeoff == number),
                phases=tuple((t, name) for t, name in phases if start <= t < end or (t == end == series.end_s)),
                roll_start_s=start,
                end_s=end,
                lined_up_s=lined_up.t_s if lined_up else None,
                runway_heading_deg=lined_up.more.get("runway_heading_deg") if lined_up else None,
            )
        )
    return takeoffs


def _lined_up(events: Sequence[Event], roll_start_s: float) -> Event | None:
    """The last line-up before the roll."""
    lined_up = [e for e in events if e.kind == "phase" and e.id == "lined-up" and e.t_s is not None]
    return next((e for e in reversed(lined_up) if e.t_s is not None and e.t_s <= roll_start_s), None)


def height_above_field(
    takeoff: Takeoff, options: Options, earlier_zero_ft: float | None = None
) -> tuple[Column, float]:
    """Height in feet above what it reads on the wheels at this takeoff, and that reading.

    From `height_ft`, and where that comes to be above other ground than the field's, `altitude_ft`; else from
    `altitude_ft` less the field's elevation, given or read before the roll.
    `earlier_zero_ft`: the reading at an earlier takeoff of the same flight, for one that rolls on at speed.
    """
    series = takeoff.series
    uses_height = series.has("height_ft")
    if not uses_height and not series.has("altitude_ft"):
        raise NotMeasured("neither height_ft nor altitude_ft was supplied")
    level = series.column("height_ft" if uses_height else "altitude_ft")
    before = _before_roll(level, takeoff.roll_start_s)
    if uses_height and earlier_zero_ft is not None:
        zero = earlier_zero_ft
    elif uses_height:
        zero = before if WHEELS_OFFSET_FT[0] < abs(before) < WHEELS_OFFSET_FT[1] else 0.0
    elif options.field_elevation_ft is not None:
        zero = options.field_elevation_ft
    else:
        rolling_on = _rolls_on_at_speed(takeoff) and earlier_zero_ft is not None
        same = rolling_on and abs(before - (earlier_zero_ft or 0.0)) < SAME_FIELD_FT
        zero = (earlier_zero_ft or 0.0) if same else before
    name = "height_ft" if uses_height else "altitude_ft"
    above = level.v - zero
    if uses_height and series.has("altitude_ft") and not _rolls_on_at_speed(takeoff):
        altitude = series.column("altitude_ft")
        field_ft = _before_roll(altitude, takeoff.roll_start_s)
        above = _over_terrain(level.t, above, np.interp(level.t, altitude.t, altitude.v) - field_ft)
    return Column(name, level.t, above, level.note), zero


def _over_terrain(t: Array, height_ft: Array, altimeter_ft: Array) -> Array:
    """The height, or the altimeter's since the two have been apart for so long as in `monitor.heights`."""
    aloft = (height_ft >= CLEAR_FT) & (altimeter_ft >= CLEAR_FT)
    apart = aloft & (np.abs(altimeter_ft - height_ft) >= TERRAIN_FT)
    since = np.maximum.accumulate(np.where(apart, -np.inf, t))  # the last time they were together
    found = np.flatnonzero(apart & (t - since >= TERRAIN_S))
    if not len(found):
        return height_ft
    return np.where(aloft & (t >= t[found[0]]), altimeter_ft, height_ft)


def _before_roll(level: Column, roll_start_s: float) -> float:
    """The middle of what was read in the last 3 s before the roll and its first half second."""
    near: Array = level.v[(level.t >= roll_start_s - 3.0) & (level.t <= roll_start_s + 0.5)]
    if len(near):
        return float(np.median(near))
    return float(level.v[int(np.argmin(np.abs(level.t - roll_start_s)))])


def begins_in_the_data(takeoff: Takeoff) -> bool:
    """Whether the data shows the roll from its start: it does not where it sets in at speed."""
    return takeoff.roll_start_s > takeoff.series.start_s or not _rolls_on_at_speed(takeoff, SETS_IN_KT)


def _rolls_on_at_speed(takeoff: Takeoff, faster_kt: float = SLOW_KT) -> bool:
    start_s = max(takeoff.roll_start_s, takeoff.series.start_s)
    for channel in ("groundspeed_kt", "ias_kt"):
        try:
            return takeoff.series.column(channel).at(start_s, 5.0) > faster_kt
        except NotMeasured:
            continue
    return False
