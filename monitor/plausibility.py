"""What is not believed: jumps that no aeroplane makes, channels that fall silent, a static source blocked aloft.

The rules, each with its reason (all numbers: common practice, no source):

* Jump. A value further from the last one than the aeroplane could have gone (`JUMPS`: a base plus a rate) is held back
  until the next sample confirms it: one damaged number is no event, a real step is told one sample later.
* A moment's gap. A channel missing for 1 s or less (one and a half intervals, if that is more) keeps its last value,
  but for those whose rate of change is judged: they go without.
* Silence. A channel that was supplied and has not been for max(2 s, 3 usual intervals): `channel-lost`, once; when it
  is supplied again: `channel-back`. Its checks are off meanwhile; nothing is guessed.
* Blocked static source. In the climb, altitude stays within 12 ft for 3 s, vertical speed (where sent) dies away, while
  indicated airspeed falls by 12 kt more than the speed over the ground: airspeed, altitude and vertical speed are
  then wrong together, and are set aside.
* Altitude stuck. In the climb, altitude stays within 12 ft for 4 s or more while vertical speed adds up to over 36 ft
  and does not die away; when it has moved on by over 24 ft it is believed again;
  at a whole 50 or 100 ft it may come in steps of so much, and one and a half of them more are waited for.
* Never filled. Groundspeed, height or vertical speed at 0 from the start, or the throttle at full, against airspeed,
  altitude or an idling engine (`monitor.unfilled`).
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
from monitor.unfilled import Unfilled

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
SILENT_S = 2.0
CARRY_S = 1.0
LOOK_EVERY_S = 1.0
STUCK_S = 4.0
STEP_MOST_S = 1.5  # a clock that skips is no climb
BLOCKED_S = 3.0
BLOCKED_KT = 12.0
LEAVES_KT = 3.0
STANDS_S = 7.5  # a weak climb of 100 ft/min leaves the band in this time
STILL_FT = 12.0  # noise, and rounding to 10 ft, of a pressure that does not change

NONE: frozenset[str] = frozenset()
_NAMES: tuple[str, ...] = Sample.__struct_fields__
_ALTITUDE = _NAMES.index("altitude_ft")
_WATCHED = tuple(i for i, name in enumerate(_NAMES) if name != "time_s")
_CARRIED = frozenset(i for i in _WATCHED if _NAMES[i] not in TRENDS)
_JUMPS = tuple((_NAMES.index(name), base, rate) for name, base, rate in JUMPS)
_LONGITUDE = _NAMES.index("longitude_deg")
_TINY = tuple(i for i, base, _ in _JUMPS if base < 1.0)
_SMALL = tuple(i for i, base, _ in _JUMPS if 1.0 <= base < 100.0)
_LARGE = tuple(i for i, base, _ in _JUMPS if base >= 100.0)
_TINY_BASE, _SMALL_BASE, _LARGE_BASE = (
    min(base for i, base, _ in _JUMPS if i in group) for group in (_TINY, _SMALL, _LARGE)
)

Row = tuple[float | None, ...]


def _picker(channels: tuple[int, ...], now: Row) -> Callable[[Row], Row]:
    """Picks those of the channels that are supplied."""
    there = [i for i in channels if now[i] is not None]
    if not there:
        return lambda row: ()
    return itemgetter(*there, there[0])  # one twice: of a single one itemgetter makes no tuple


def _apart(channel: int, a: float, b: float) -> float:
    """How far two values are from each other, across the date line too."""
    return abs(turn(a, b)) if channel == _LONGITUDE else abs(a - b)


STATIC = ("ias_kt", "altitude_ft", "vertical_speed_fpm")
"""What a static source gives."""


class _Still:
    """Since when the altitude has stood still, with the speeds then, and what vertical speed would have made of it."""

    __slots__ = ("altitude_ft", "expected_ft", "fastest_fpm", "groundspeed_kt", "ias_kt", "last_t", "t")

    def __init__(self, t: float, altitude_ft: float, ias_kt: float | None, groundspeed_kt: float | None) -> None:
        self.t = self.last_t = t
        self.altitude_ft = altitude_ft
        self.ias_kt = ias_kt
        self.groundspeed_kt = groundspeed_kt
        self.expected_ft = 0.0
        self.fastest_fpm = 0.0

    def slower_kt(self, ias_kt: float | None, groundspeed_kt: float | None) -> float | None:
        """How much slower the airspeed became than the speed over the ground did; None where one is not sent."""
        if None in (self.ias_kt, ias_kt, self.groundspeed_kt, groundspeed_kt):
            return None
        assert self.ias_kt is not None and ias_kt is not None
        assert self.groundspeed_kt is not None and groundspeed_kt is not None
        return self.ias_kt - ias_kt - max(self.groundspeed_kt - groundspeed_kt, 0.0)

    def calmed(self, vertical_fpm: float | None) -> bool:
        """Vertical speed is dying away too, as it does on the same blocked source; True where it is not sent."""
        return vertical_fpm is None or abs(vertical_fpm) < max(100.0, 0.6 * self.fastest_fpm)


class Plausibility:
    """Cleans samples before they are judged. `tell(id, channel, why, t)`: what is set aside, and what returns."""

    def __init__(self, tell: Callable[[str, str, str, float], None]) -> None:
        self._tell = tell
        self.restart()

    def restart(self) -> None:
        """Start over, as after a jump of the clock."""
        self._older: Row | None = None  # the one before
        self._last: Row | None = None  # what was last believed, in the order of Sample's fields
        self._tiny = self._small = self._large = _picker((), ())  # of the channels supplied, what may jump
        self._picked: tuple[Row, Row, Row] = (), (), ()
        self._last_t = 0.0
        self._doubted: frozenset[int] = frozenset()
        self._supplied: set[int] = set()
        self._gaps: dict[int, float] = {}  # channel to the time it was last supplied, while it is missing
        self._lost: set[int] = set()
        self._usual_missing = -1
        self._look_t = 0.0
        self.aside: frozenset[str] = frozenset()
        self.confirmed = NONE  # channels whose jump, held back at the sample before, this one has borne out
        self._still: _Still | None = None
        self._unfilled = Unfilled()
        self._unfilled_at: dict[int, float | None] = {}  # where those that are never filled stand
        self._stuck_ft: float | None = None  # where the altitude stood when it alone was set aside

    def clean(self, t: float, sample: Sample, interval_s: float) -> Sample:
        """The sample without what is not believed; what is missing for a moment only keeps its last value."""
        now = astuple(sample)
        last = self._last
        calm = self._near(now) and not self._doubted
        if self.confirmed:
            self.confirmed = NONE
        # The number of missing channels tells of a gap at little cost; a look now and then covers a swap of two.
        full = t < self._look_t and not self._gaps and now.count(None) == self._usual_missing
        if calm and full and not self.aside:  # as at nearly every sample
            self._last_t, self._older, self._last = t, last, now
            return sample
        if self._stuck_ft is not None:
            self._moves_again(t, now)
        for i in [i for i, stands in self._unfilled_at.items() if now[i] is not None and now[i] != stands]:
            del self._unfilled_at[i]
            self._take_back(_NAMES[i], "filled after all", t)
        changes: dict[int, float | None] = {}
        if last is not None and not calm:
            self._doubt_jumps(last, now, t - self._last_t, changes)
        if not full:
            if t >= self._look_t:
                believed = last if last is not None else now
                for channel, why in self._unfilled.look(believed):
                    self._set_aside((channel,), why, t)
                    i = _NAMES.index(channel)
                    self._unfilled_at[i] = believed[i]
            self._look_t = t + LOOK_EVERY_S
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
        named: dict[str, float | None] = {_NAMES[i]: value for i, value in changes.items()}
        named.update(dict.fromkeys(self.aside))
        return msgspec.structs.replace(sample, **named)

    def _near(self, now: Row) -> bool:
        """No channel is far from its last value, seen at a glance, as at nearly every sample.

        All together, those of a size, are nearer than the least of their bases; else each is looked at.
        """
        picked = tiny, small, large = self._tiny(now), self._small(now), self._large(now)
        last_tiny, last_small, last_large = self._picked
        self._picked = picked
        try:
            return (
                dist(small, last_small) < _SMALL_BASE  # type: ignore[arg-type]
                and dist(large, last_large) < _LARGE_BASE  # type: ignore[arg-type]
                and dist(tiny, last_tiny) < _TINY_BASE  # type: ignore[arg-type]
            )
        except (TypeError, ValueError):  # a channel is missing, or the channels picked are others
            return False

    def _doubt_jumps(self, last: Row, now: Row, dt: float, changes: dict[int, float | None]) -> None:
        """Hold back a jump; it counts when the next value says the same."""
        wild: list[int] = []
        for i, base, rate in _JUMPS:
            value, before = now[i], last[i]
            if value is not None and before is not None and _apart(i, value, before) > base + rate * dt:
                older = self._older[i] if self._older is not None else None
                if older is None or _apart(i, value, older) > base:  # else the last value was the damaged one
                    wild.append(i)
        if wild or self._doubted:
            fresh = frozenset(wild) - self._doubted
            self.confirmed = frozenset(_NAMES[i] for i in wild if i in self._doubted)
            self._doubted = fresh
            for i in fresh:
                changes[i] = last[i] if i in _CARRIED else None

    def _watch_gaps(self, t: float, now: Row, interval_s: float, changes: dict[int, float | None]) -> None:
        gaps, last = self._gaps, self._last
        for i in _WATCHED:
            if now[i] is not None:
                self._supplied.add(i)
                gaps.pop(i, None)
                if i in self._lost and _NAMES[i] not in self.aside:
                    self._lost.discard(i)
                    self._tell("channel-back", _NAMES[i], "supplied again", t)
            elif i in self._supplied and i not in self._lost:
                since = gaps.setdefault(i, self._last_t)
                silent_s = max(SILENT_S, 3.0 * interval_s)
                if t - since >= silent_s:
                    gaps.pop(i)
                    self._lost.add(i)
                    self._tell("channel-lost", _NAMES[i], "no longer supplied", since + silent_s)
                elif i in _CARRIED and last is not None and t - since <= max(CARRY_S, 1.5 * interval_s):
                    changes[i] = last[i]
        self._usual_missing = now.count(None)
        self._tiny, self._small, self._large = _picker(_TINY, now), _picker(_SMALL, now), _picker(_LARGE, now)

    def _moves_again(self, t: float, now: Row) -> None:
        """The altitude that stood still has moved on: it is believed again."""
        stuck, altitude = self._stuck_ft, now[_ALTITUDE]
        if stuck is None or altitude is None or abs(altitude - stuck) <= 2.0 * STILL_FT:
            return
        self._stuck_ft = self._still = None
        self._take_back("altitude_ft", "moves again", t)

    def on_the_ground(self, t: float) -> None:
        """Down again: what a blocked static source showed aloft is believed until it shows so once more."""
        for channel in STATIC if self.aside.issuperset(STATIC) else ():
            self._take_back(channel, "on the ground again", t)
        self._still = None

    def _take_back(self, channel: str, why: str, t: float) -> None:
        self.aside = self.aside - {channel}
        self._lost.discard(_NAMES.index(channel))
        self._tell("channel-back", channel, why, t)

    def climb(self, t: float, sample: Sample) -> None:
        """One sample of the climb: is the static source blocked, or the altitude stuck?"""
        altitude = sample.altitude_ft
        since = self._still
        if altitude is None:
            self._still = None
        elif since is None or abs(altitude - since.altitude_ft) > STILL_FT:
            self._still = _Still(t, altitude, sample.ias_kt, sample.groundspeed_kt)
        else:
            self._judge_still(since, t, sample)

    def altitude_stands(self, t: float, ias_kt: float | None, groundspeed_kt: float | None) -> bool:
        """In the climb, altitude has stood still while the airspeed leaves the groundspeed's side, or for longer where
        that is not sent: the source may be blocked, and what is derived from it is not to be judged meanwhile."""
        still = self._still
        if still is None:
            return False
        lasted_s = t - still.t
        if lasted_s < STUCK_S:  # as at nearly every sample: a climb leaves the band
            return False
        slower_kt = still.slower_kt(ias_kt, groundspeed_kt)
        return lasted_s >= STANDS_S if slower_kt is None else slower_kt >= LEAVES_KT

    def climb_unknown(self, t: float, sample: Sample) -> bool:
        """The climb is known from this altitude alone, and it stands still: it may as well be stuck."""
        alone = sample.vertical_speed_fpm is None and sample.height_ft is None
        return alone and self.altitude_stands(t, None, None)

    def _judge_still(self, since: _Still, t: float, sample: Sample) -> None:
        vertical = sample.vertical_speed_fpm
        if vertical is not None:
            since.expected_ft += vertical / 60.0 * min(t - since.last_t, STEP_MOST_S)
            since.fastest_fpm = max(since.fastest_fpm, abs(vertical))
        since.last_t = t
        lasted = t - since.t
        if lasted < BLOCKED_S:
            return
        far = abs(since.expected_ft) > 3.0 * STILL_FT + 1.5 * _step_ft(since.altitude_ft)
        # A vertical speed that dies away is its own instrument's lag: the aeroplane levelled off.
        if lasted >= STUCK_S and far and not since.calmed(vertical):
            self._stuck_ft = since.altitude_ft
            self._set_aside(("altitude_ft",), "altitude stands still against vertical speed", t)
        elif since.calmed(vertical) and since.ias_kt is not None and sample.ias_kt is not None:
            slower = since.ias_kt - sample.ias_kt
            if since.groundspeed_kt is not None and sample.groundspeed_kt is not None:
                slower -= max(since.groundspeed_kt - sample.groundspeed_kt, 0.0)
            if slower >= BLOCKED_KT:
                self._set_aside(STATIC, "static source blocked", t)

    def _set_aside(self, channels: tuple[str, ...], why: str, t: float) -> None:
        fresh = [channel for channel in channels if channel not in self.aside]
        self.aside = self.aside | set(channels)
        for channel in fresh:
            self._lost.add(_NAMES.index(channel))
            self._tell("channel-lost", channel, why, t)


def _step_ft(altitude_ft: float) -> float:
    """The steps in which an altitude seems to come: an encoder of 100 or 50 ft stands still between two of them."""
    return next((step for step in (100.0, 50.0) if altitude_ft % step == 0.0), 0.0)
