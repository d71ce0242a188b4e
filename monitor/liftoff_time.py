"""When the wheels left the ground, looked for in the last seconds once it is certain that they did.

All numbers: measured on model flights and on recorded training flights.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Mapping, Sequence
from itertools import islice
from math import inf

from monitor.climb_lag import shows_late_s
from monitor.first_climb import climb_began
from monitor.settings import Settings
from monitor.state import Row, State

FAST_S = 0.5  # up to this usual interval the data counts as fast
SPARSE_S = 0.4  # beyond this, too few samples to smooth vertical speed over
SAG_NONE_FT = 2.0  # below this, altitude did not sag on the roll and can tell the lag
SETTLED_FPM = 150.0  # slow data with height above ground: a climb by which the height gained tells the time it took
SETTLED_WITHIN_S = 3.2
GAINED, GAINED_LEAD_S = 1.2, 0.24
FLOATS_PART = 0.25  # slow data: of the first climb clear of the ground, which in ground effect may be small
FLOATS_LEAST_FPM = 20.0
CLIMB_HALF_S, TURN_HALF_S = 0.2, 0.5  # to each side: a climb is the mean of so long, the turning of nose and wings
NOISY_HALF_S = 0.4  # a climb that is the slope of a noisy level
CLIMB_PER_BANK_RATE = 5.0  # ft/min a deg/s: one main wheel leaves first, and rolling about the other lifts the middle
# An aeroplane that grazes the runway climbs away slowly: its pace, from so long before to so long after it shows.
GROWS_BEFORE_S, GROWS_S, GROWS_LEAST_FPM_S, GROWN_MOST_S = 0.3, 0.9, 50.0, 0.25
SUM_NEAR_FT = 0.5  # what vertical speed's noise adds up to
FLOAT_MOST_S = 4.0  # the wheels left no longer than this before it was clear of the ground
SLOW_S = 1.5  # and beyond this as so slow that a climb rate says little of the moment it began


class WheelsOff:
    """The search: `rows`, the last seconds as on a level runway; `bank_deg`: how far the wings were off level, by the
    time of a row, as far as sent; `since`: clear of the ground since then, if known."""

    def __init__(
        self,
        settings: Settings,
        state: State,
        rows: list[Row],
        bank_deg: Mapping[float, float],
        lowest_ft: float,
        since: float | None,
    ) -> None:
        self._set = settings
        self._s = state
        self._rows = rows
        self._lowest_ft = lowest_ft
        self._since = since
        self._bank_deg = bank_deg

    def time(self, interval_s: float) -> float:
        """The time, for data that comes at this usual interval."""
        by_climb = self._s.sample.vertical_speed_fpm is not None
        if interval_s <= (SPARSE_S if by_climb else FAST_S):
            return self._began_fast() - self._lag_s()
        return self._began_slow(interval_s)

    def _lag_s(self) -> float:
        """How late a climb's beginning shows in vertical speed. From an altitude that sags on the roll nothing can be
        learned: the usual lag."""
        s = self._s
        if s.sample.vertical_speed_fpm is None:
            return 0.0  # the slope of the level, taken to both sides, is not late
        usual_s, lowest = self._set.liftoff_lag_s, self._lowest_ft
        if not s.uses_height:
            sag_ft = SAG_NONE_FT if s.zero_ft is None else abs(s.zero_ft - lowest) - 2.0 * s.level_noise
            if sag_ft >= SAG_NONE_FT:
                return usual_s
        return shows_late_s(self._rows, lowest, s.level_noise, usual_s)

    def _began_fast(self) -> float:
        """When the climb last grew beyond what struts, a rising nose and a rising wing give with a wheel down.

        One main wheel leaves after the other, in half a second and more where the aeroplane grazes the runway: the
        climb of rolling about the last one is none yet. In gusts an aeroplane sinks again in ground effect without
        touching: a climb that began higher than `liftoff_near_ft` above the lowest level did not begin on the wheels,
        unless there is no other. One that grows slowly began longer before. Measured on 3,202 model flights at 20 Hz
        with noise and lag of all kinds: error p95 0.16 s with height sent, 0.22 s with altitude only.
        """
        s = self._s
        rows, later = self._searched()
        best: tuple[float, float] | None = None
        motion = _Motion(rows, self._bank_deg, s.level_noise)
        risen, near = self._risen(rows)
        excess = self._excess(motion, later)
        for earlier in range(later - 1, -1, -1):
            before = self._excess(motion, earlier)
            if before < 0.0 <= excess:
                above = risen[earlier + 1]
                part = before / (before - excess)
                t = rows[earlier][0] + part * (rows[earlier + 1][0] - rows[earlier][0])
                if above <= near:
                    return t - self._grown_s(motion, earlier + 1)
                if best is None or above < best[0]:
                    best = above, t
            excess = before
        return best[1] if best is not None else rows[0][0]

    def _grown_s(self, motion: _Motion, i: int) -> float:
        """How long the climb has grown by row `i`, at the pace at which it grows on from there, to be more than struts
        give."""
        pace_fpm_s = motion.climb_growth(i)
        return min(self._set.liftoff_climb_base_fpm / max(pace_fpm_s, GROWS_LEAST_FPM_S), GROWN_MOST_S)

    def _risen(self, rows: Sequence[Row]) -> tuple[list[float], float]:
        """How far each row is above the lowest level, and up to where that is near it.

        An altimeter jumps back by all it sagged as the wheels leave (10 to 50 ft, recorded training flights): there
        the sum of vertical speed tells, where it is sent.
        """
        lowest, near = self._lowest_ft, self._set.liftoff_near_ft
        if self._s.uses_height or self._s.sample.vertical_speed_fpm is None:
            return [(row[2] or lowest) - lowest for row in rows], near + 4.0 * self._s.level_noise
        found, climbed, least, (before_t, before) = [], 0.0, 0.0, (rows[0][0], rows[0][3] or 0.0)
        for t, _, _, climb_fpm, _ in rows:
            now = before if climb_fpm is None else climb_fpm
            climbed += (now + before) / 120.0 * (t - before_t)
            before_t, before = t, now
            if climbed < least:
                least = climbed
            found.append(climbed - least)
        return found, near + SUM_NEAR_FT

    def _searched(self) -> tuple[list[Row], int]:
        """The rows in which the wheels may have left, and some after them to smooth over; the last of the former."""
        rows, last = self._rows, self._last_row()
        step = (rows[-1][0] - rows[0][0]) / max(len(rows) - 1, 1)
        if self._since is None or step <= 0.0:
            return rows, last
        first = max(last - round(FLOAT_MOST_S / step), 0)
        return rows[first : last + 2 + round((GROWS_S + CLIMB_HALF_S) / step)], last - first

    def _last_row(self) -> int:
        """The last row at which the wheels may still have been on the ground."""
        rows, since = self._rows, self._since
        last = len(rows) - 1
        if since is None:
            return last
        while last > 0 and rows[last][0] > since:
            last -= 1
        return min(last + 1, len(rows) - 1)

    def _excess(self, motion: _Motion, i: int) -> float:
        """Climb less what nose and wings explain by their turning (ft/min): with the wheels down this stays under 0."""
        set_ = self._set
        nose, bank = motion.turning(i)
        excess = motion.climb_fpm(i) - CLIMB_PER_BANK_RATE * bank
        if nose is None:
            return excess - set_.liftoff_climb_fpm
        return excess - set_.liftoff_climb_base_fpm - set_.liftoff_climb_per_pitch_rate * max(nose, 0.0)

    def _began_slow(self, interval_s: float) -> float:
        """Between two samples a second or more apart, where the climb rate, or else the level, says.

        With vertical speed: where it went up through `liftoff_slow_climb_fpm` near the lowest level, with height above
        ground by the height gained, and about that where the shape of a first climb fits best (`first_climb.py`).
        Where the aeroplane was clear of the ground before it climbed so fast, a part of its first climb counts. Else
        `liftoff_slow_rise_ft` above the lowest level, less the time that so much height takes at first. Measured on
        1,539 model flights with instruments' noise and lag, with height sent and with altitude only: error p95 0.35 and
        0.47 s at 1 Hz, on 542 of them 0.91 and 1.07 s at one sample in 2 s.
        """
        s, rows = self._s, self._rows
        lowest = self._lowest_ft
        set_ = self._set
        if s.sample.vertical_speed_fpm is not None:
            near = lowest + set_.liftoff_slow_near_ft + 2.0 * s.level_noise
            last = self._last_row()
            limit = set_.liftoff_slow_climb_fpm
            if self._since is not None:
                limit = min(limit, max(_highest_climb(rows, last) * FLOATS_PART, FLOATS_LEAST_FPM))
            t = _last_rise(rows, 3, limit, near, last)
            if s.uses_height:
                t = _by_height_gained(rows, t, lowest + s.level_noise)
            return climb_began(rows, interval_s, t, lowest, s.level_noise, not s.uses_height)
        t = _last_rise(rows, 2, lowest + set_.liftoff_slow_rise_ft, None, len(rows) - 1)
        return t - (set_.liftoff_slow_lead_s if interval_s <= SLOW_S else 0.0)


class _Motion:
    """Climb and turning at each row, smooth over so long that a noisy instrument does not move the moment."""

    def __init__(self, rows: Sequence[Row], bank_deg: Mapping[float, float], level_noise: float) -> None:
        self._t, _, levels, climbs, noses = zip(*rows, strict=True)
        self._climb = _filled(climbs)
        self._level = _filled(levels) if self._climb is None else None
        self._nose = _filled(noses)
        self._bank = _filled([bank_deg.get(t) for t in self._t])
        self._climb_rows = self._rows_in(CLIMB_HALF_S)
        self._level_rows = self._rows_in(NOISY_HALF_S if level_noise >= 0.05 else CLIMB_HALF_S)
        self._turn_rows = self._rows_in(TURN_HALF_S)

    def _rows_in(self, seconds: float) -> int:
        covered = self._t[-1] - self._t[0]
        return max(1, round(seconds * (len(self._t) - 1) / covered)) if covered > 0.0 else 1

    def climb_fpm(self, i: int) -> float:
        """The climb, or the level's slope where vertical speed is not sent."""
        if self._climb is not None:
            return _mean(self._climb[max(i - self._climb_rows, 0) : i + self._climb_rows + 1])
        return 0.0 if self._level is None else 60.0 * self._rate(self._level, i, self._level_rows)

    def climb_growth(self, i: int) -> float:
        """The pace at which the climb grows about row `i` (ft/min a second); infinite where there are no others."""
        times, last = self._t, len(self._t) - 1
        before = bisect_left(times, times[i] - GROWS_BEFORE_S)
        after = min(bisect_left(times, times[i] + GROWS_S), last)
        over_s = times[after] - times[before]
        return (self.climb_fpm(after) - self.climb_fpm(before)) / over_s if over_s > 0.0 else inf

    def turning(self, i: int) -> tuple[float | None, float]:
        """How fast the nose rises (deg/s; None where not sent) and the wings roll off level (0 where not sent)."""
        rows = self._turn_rows
        nose = None if self._nose is None else self._rate(self._nose, i, rows)
        return nose, 0.0 if self._bank is None else self._rate(self._bank, i, rows)

    def _rate(self, values: Sequence[float], i: int, rows: int) -> float:
        """Mean of the later half less that of the earlier, a second."""
        earlier, later = _halves(i, rows)
        seconds = _mean(self._t[later]) - _mean(self._t[earlier])
        return (_mean(values[later]) - _mean(values[earlier])) / seconds if seconds > 0.0 else 0.0


def _halves(i: int, rows: int) -> tuple[slice, slice]:
    """So many rows before a row and after it, each with the row itself."""
    return slice(max(i - rows, 0), i + 1), slice(i, i + rows + 1)


def _mean(values: Sequence[float]) -> float:
    return sum(values) / len(values)


def _filled(values: Sequence[float | None]) -> list[float] | None:
    """Each value, or the last that was known; None where none is."""
    known = [value for value in values if value is not None]
    if not known or len(known) == len(values):
        return known or None
    last = known[0]
    return [last := last if value is None else value for value in values]


def _by_height_gained(rows: list[Row], t: float, ground_ft: float) -> float:
    """When the wheels left, from the first sample that shows a settled climb after one began at about `t`.

    The height gained took `GAINED` times as long as at the climb shown there, and `GAINED_LEAD_S` for the climb to
    grow. `t` where no such climb came within some seconds.
    """
    for at, _, level, climb_fpm, _ in rows:
        if at > t + SETTLED_WITHIN_S:
            break
        if at >= t and level is not None and climb_fpm is not None and climb_fpm >= SETTLED_FPM:
            return at - GAINED * max(level - ground_ft, 0.0) / climb_fpm * 60.0 - GAINED_LEAD_S
    return t


def _highest_climb(rows: list[Row], last: int) -> float:
    """The highest climb (ft/min) up to row `last`."""
    return max(row[3] or 0.0 for row in islice(rows, last + 1))


def _last_rise(rows: list[Row], k: int, limit: float, near: float | None, last: int) -> float:
    """When column `k` last went up through `limit`, up to row `last`; where `near` is given, from a level no higher
    than that, or failing that from the lowest level there was."""
    best: tuple[float, float] | None = None
    for i in range(last, 0, -1):
        earlier, later = rows[i - 1], rows[i]
        a, b = earlier[k], later[k]
        if not (isinstance(a, float | int) and isinstance(b, float | int) and a < limit <= b):
            continue
        t = earlier[0] + (limit - a) / (b - a) * (later[0] - earlier[0])
        level = earlier[2] if earlier[2] is not None else 0.0
        if near is None or level <= near:
            return t
        if best is None or level < best[0]:
            best = level, t
    return best[1] if best is not None else rows[last][0]
