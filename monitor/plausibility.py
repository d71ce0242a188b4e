"""What is not believed: jumps that no aeroplane makes, channels that fall silent, a static source blocked aloft.

The rules, each with its reason (all numbers: common practice, no source):

* Jump. A value further from the last one than the aeroplane could have gone (`JUMPS`: a base plus a rate) is held back
  until the next sample confirms it: one damaged number is no event, a real step is told one sample later. Altitude,
  height and vertical speed, by which phases begin and end, must say so for 1 s (an altimeter that is set anew, a cliff
  below), but for altitude and height that leap together.
* A moment's gap. A channel missing for 1 s or less (one and a half intervals, if that is more) keeps its last value,
  but for those whose rate of change is judged: they go without.
* Silence. A channel that was supplied and has not been for max(2 s, 3 usual intervals): `channel-lost`, once; when it
  is supplied again: `channel-back`. Its checks are off meanwhile; nothing is guessed.
* Blocked static source. In the climb, altitude stays within 12 ft for 3 s, vertical speed (where sent) dies away, while
  indicated airspeed falls by 12 kt more than the speed over the ground, sent or made of positions: airspeed, altitude
  and vertical speed are then wrong together, and are set aside until the altitude has moved on by over 24 ft
  (`monitor.static_source`). With no speed over the ground, an aeroplane that levels off and slows looks alike; and in
  a turn the wind holds the speed over the ground up, so that the 12 kt count in straight flight only, or at full power.
* Altitude stuck. In the climb, altitude stays within 12 ft for 4 s or more while vertical speed adds up to over 36 ft
  and does not die away; when it has moved on by over 24 ft it is believed again;
  at a whole 50 or 100 ft it may come in steps of so much, and one and a half of them more are waited for
  (`monitor.static_source`).
* Never filled. Groundspeed, height or vertical speed at 0 from the start, or the throttle at full, against airspeed,
  altitude or an idling engine (`monitor.unfilled`).
* Filled no more. Height (or vertical speed, against what it says itself) that has not changed at all while altitude
  moved by over 80 ft, as a height above its instrument's range; believed again when it moves (`monitor.unfilled`).
* Dead or stuck airspeed on the roll is a warning, not only a doubt: see `monitor.airspeed`.

A governed rpm, a rounded temperature or a cruise altitude may rightly stand still: standing still proves nothing.
"""

from __future__ import annotations

from collections.abc import Callable
from math import dist
from operator import itemgetter

import msgspec
from msgspec.structs import astuple

from monitor.geo import turn
from monitor.sample import Sample
from monitor.static_source import NAMES, Row, StaticSource
from monitor.unfilled import STANDS, Unfilled

JUMPS: tuple[tuple[str, float, float], ...] = (
    # channel, base, rate a second: further than base + rate x dt from the last value is a jump
    ("ias_kt", 20.0, 25.0),
    ("groundspeed_kt", 20.0, 15.0),
    ("altitude_ft", 120.0, 150.0),
    ("height_ft", 120.0, 150.0),
    ("vertical_speed_fpm", 3000.0, 3000.0),
    ("pitch_deg", 15.0, 40.0),
    ("bank_deg", 30.0, 60.0),
    ("rpm", 300.0, 1200.0),
    ("manifold_pressure_inhg", 5.0, 15.0),
    ("oil_pressure_psi", 15.0, 40.0),
    ("oil_temperature_degf", 25.0, 10.0),
    ("throttle", 0.5, 2.0),  # a hand is as fast at a sample a second, no faster than a spike of fast data
    ("latitude_deg", 0.003, 0.001),  # 1,100 ft and 360 ft/s
    ("longitude_deg", 0.003, 0.002),
)
TRENDS = ("ias_kt", "altitude_ft", "height_ft", "vertical_speed_fpm", "latitude_deg", "longitude_deg")
"""Channels whose rate of change is judged: a missing value is left out, since a repeated one would bend the trend."""
LASTS = ("altitude_ft", "height_ft", "vertical_speed_fpm")
LASTS_S = 1.0
TOGETHER_FT = 60.0  # altitude and height that leap by the same, to so much: the aeroplane was put there
SILENT_S = 2.0
CARRY_S = 1.0
LOOK_EVERY_S = 1.0

NONE: frozenset[str] = frozenset()
_WATCHED = tuple(i for i, name in enumerate(NAMES) if name != "time_s")
_CARRIED = frozenset(i for i in _WATCHED if NAMES[i] not in TRENDS)
_JUMPS = tuple((NAMES.index(name), base, rate) for name, base, rate in JUMPS)
_LONGITUDE = NAMES.index("longitude_deg")
_ALTITUDE, _HEIGHT = NAMES.index("altitude_ft"), NAMES.index("height_ft")
_LASTS, _LEVELS = frozenset(NAMES.index(name) for name in LASTS), frozenset((_ALTITUDE, _HEIGHT))
_TINY = tuple(i for i, base, _ in _JUMPS if base < 1.0)
_SMALL = tuple(i for i, base, _ in _JUMPS if 1.0 <= base < 100.0)
_LARGE = tuple(i for i, base, _ in _JUMPS if base >= 100.0)
_OTHERS = tuple(i for i in _WATCHED if i not in {i for i, _, _ in _JUMPS})
_TINY_BASE, _SMALL_BASE, _LARGE_BASE = (
    min(base for i, base, _ in _JUMPS if i in group) for group in (_TINY, _SMALL, _LARGE)
)


def _picker(channels: tuple[int, ...], now: Row, missing: bool = False) -> Callable[[Row], Row]:
    """Picks those of the channels that are supplied, or those that are not."""
    there = [i for i in channels if (now[i] is None) is missing]
    if not there:
        return lambda row: ()
    return itemgetter(*there, there[0])  # one twice: of a single one itemgetter makes no tuple


def _apart(channel: int, a: float, b: float) -> float:
    """How far two values are from each other, across the date line too."""
    return abs(turn(a, b)) if channel == _LONGITUDE else abs(a - b)


def _leapt_together(last: Row, now: Row) -> bool:
    """Altitude and height went the same way, as one."""
    (a, h), (a_before, h_before) = ((row[_ALTITUDE], row[_HEIGHT]) for row in (now, last))
    if a is None or h is None or a_before is None or h_before is None:
        return False
    return abs((a - a_before) - (h - h_before)) < TOGETHER_FT


class Plausibility(StaticSource):
    """Cleans samples before they are judged. `tell(id, channel, why, t)`: what is set aside, and what returns."""

    def __init__(self, tell: Callable[[str, str, str, float], None]) -> None:
        super().__init__(tell)
        self.restart()

    def restart(self) -> None:
        """Start over, as after a jump of the clock."""
        self.restart_static()
        self._older: Row | None = None  # the one before
        self._last: Row | None = None  # what was last believed, in the order of Sample's fields
        self._tiny = self._small = self._large = _picker((), ())  # of the channels supplied, what may jump
        self._others = self._absent = _picker((), ())  # what else is supplied, and what is not
        self._picked: tuple[Row, Row, Row] = (), (), ()
        self._last_t = 0.0
        self._doubted: dict[int, float] = {}  # channel to the time since when it is held back
        self._supplied: set[int] = set()
        self._gaps: dict[int, float] = {}  # channel to the time it was last supplied, while it is missing
        self._n_absent = -1
        self._look_t = 0.0
        self.confirmed = NONE  # channels whose jump, held back at the sample before, this one has borne out
        self._unfilled = Unfilled()
        self._unfilled_at: dict[int, tuple[float | None, str]] = {}  # where those not filled stand, and how it showed

    def clean(self, t: float, sample: Sample, interval_s: float) -> Sample:
        """The sample without what is not believed; what is missing for a moment only keeps its last value."""
        now = astuple(sample)
        last = self._last
        calm, full = self._glance(now)
        if self._doubted:
            calm = False
        if self._gaps:
            full = False
        if self.confirmed:
            self.confirmed = NONE
        if calm and full and t < self._look_t and not self.aside:  # as at nearly every sample
            self._last_t, self._older, self._last = t, last, now
            return sample
        if self._stuck_ft is not None:
            self._moves_again(t, now)
        for i in [i for i, (stands, _) in self._unfilled_at.items() if now[i] is not None and now[i] != stands]:
            _, why = self._unfilled_at.pop(i)
            self._take_back(NAMES[i], "moves again" if why == STANDS else "filled after all", t)
        changes: dict[int, float | None] = {}
        if last is not None and not calm:
            self._doubt_jumps(t, last, now, t - self._last_t, changes)
        if t >= self._look_t:
            self._look_t = t + LOOK_EVERY_S
            believed = last if last is not None else now
            for channel, why in self._unfilled.look(t, believed):
                i = NAMES.index(channel)
                if channel not in self.aside:
                    self._set_aside((channel,), why, t)
                    self._unfilled_at[i] = believed[i], why
        if not full:
            self._watch_gaps(t, now, interval_s, changes)
        self._last_t = t
        self._older = last
        if not changes:
            self._last = now
            if not self.aside:
                return sample
        else:
            values = list(now)
            for i, value in changes.items():
                values[i] = value if value is not None or last is None else last[i]
            self._last = tuple(values)
            self._picked = self._tiny(self._last), self._small(self._last), self._large(self._last)
        named: dict[str, float | None] = {NAMES[i]: value for i, value in changes.items()}
        named.update(dict.fromkeys(self.aside))
        return msgspec.structs.replace(sample, **named)

    def _glance(self, now: Row) -> tuple[bool, bool]:
        """No channel is far from its last value; and those supplied are those that were: as at nearly every sample.

        All channels of a size, together, are nearer than the least of their bases; else each is looked at.
        """
        picked = tiny, small, large = self._tiny(now), self._small(now), self._large(now)
        last_tiny, last_small, last_large = self._picked
        self._picked = picked
        try:
            sum(self._others(now))  # type: ignore[arg-type]  # quicker than a look for None among many numbers
            near = (
                dist(small, last_small) < _SMALL_BASE  # type: ignore[arg-type]
                and dist(large, last_large) < _LARGE_BASE  # type: ignore[arg-type]
                and dist(tiny, last_tiny) < _TINY_BASE  # type: ignore[arg-type]
            )
        except (TypeError, ValueError):  # a channel is missing, or the channels picked are others
            return False, False
        usual = self._absent(now).count(None) == self._n_absent
        return near, usual and (near or None not in tiny + small + large)

    def _doubt_jumps(self, t: float, last: Row, now: Row, dt: float, changes: dict[int, float | None]) -> None:
        """Hold back a jump; it counts when the next value says the same, or has said so for long enough."""
        wild: list[int] = []
        for i, base, rate in _JUMPS:
            value, before = now[i], last[i]
            if value is not None and before is not None and _apart(i, value, before) > base + rate * dt:
                older = self._older[i] if self._older is not None else None
                if older is None or _apart(i, value, older) > base:  # else the last value was the damaged one
                    wild.append(i)
        doubted = self._doubted
        if wild or doubted:
            true = {i for i in wild if i in doubted and self._borne_out(i, t, last, now)}
            self.confirmed = frozenset(NAMES[i] for i in true)
            self._doubted = {i: doubted.get(i, t) for i in wild if i not in true}
            for i in self._doubted:
                changes[i] = last[i] if i in _CARRIED else None

    def _borne_out(self, i: int, t: float, last: Row, now: Row) -> bool:
        """A jump that was held back, and is said again, is believed."""
        if i not in _LASTS or t - self._doubted[i] >= LASTS_S - 1e-6:
            return True
        return i in _LEVELS and _leapt_together(last, now)

    def _watch_gaps(self, t: float, now: Row, interval_s: float, changes: dict[int, float | None]) -> None:
        gaps, last = self._gaps, self._last
        for i in _WATCHED:
            if now[i] is not None:
                self._supplied.add(i)
                gaps.pop(i, None)
                if i in self._lost and NAMES[i] not in self.aside:
                    self._lost.discard(i)
                    self._tell("channel-back", NAMES[i], "supplied again", t)
            elif i in self._supplied and i not in self._lost:
                since = gaps.setdefault(i, self._last_t)
                silent_s = max(SILENT_S, 3.0 * interval_s)
                if t - since >= silent_s:
                    gaps.pop(i)
                    self._lost.add(i)
                    self._tell("channel-lost", NAMES[i], "no longer supplied", since + silent_s)
                elif i in _CARRIED and last is not None and t - since <= max(CARRY_S, 1.5 * interval_s):
                    changes[i] = last[i]
        self._tiny, self._small, self._large = _picker(_TINY, now), _picker(_SMALL, now), _picker(_LARGE, now)
        self._others, self._absent = _picker(_OTHERS, now), _picker(_WATCHED, now, missing=True)
        self._n_absent = len(self._absent(now))
