"""The runway's slope, as far as it rises: a roll uphill is a climb with the wheels on the ground.

Learned below flying speed from the climb (vertical speed summed up, or else the altitude) against the distance rolled,
and taken off level and climb above it. Not needed where height above ground is sent. A runway that falls hides no
lift-off and shows none; nor can it be told from an altitude that sags on the roll.
"""

from __future__ import annotations

from collections import deque
from math import sqrt

from monitor.geo import FEET_PER_S_PER_KNOT
from monitor.state import Row, State

LEAST_RISE_FT = 0.5
NOISE_PART = 3.0  # of the level's mean scatter must be exceeded, or
SUM_PART = 2.5  # of what vertical speed's scatter may add up to (standard deviation)
STEEPEST = 0.04  # runways for light aeroplanes are up to 2 % (ICAO Annex 14, 3.1.13, from memory), grass ones more


class Grade:
    """Follows the roll; `part`: feet risen per foot rolled (0 to 0.04), `risen_ft`: what that made since it is used."""

    __slots__ = ("_from_ft", "_n", "_rolled_ft", "_scatter", "_started", "_vertical", "part", "risen_ft")

    def __init__(self) -> None:
        self.reset()

    def reset(self) -> None:
        """A new roll begins."""
        self.part = 0.0
        self.risen_ft = 0.0
        self._rolled_ft = 0.0
        self._from_ft: float | None = None
        self._started = 0.0
        self._vertical: float | None = None
        self._scatter = 0.0  # squares of vertical speed's steps summed up, (ft/s)^2
        self._n = 0

    def roll(self, s: State, fast_enough: bool) -> None:
        """One sample of the roll; fast_enough: the aeroplane may fly, and nothing is learned any more."""
        if s.uses_height or s.level is None:
            self.part = 0.0
            return
        step_ft = (s.v or 0.0) * FEET_PER_S_PER_KNOT * s.dt
        if fast_enough:
            self.risen_ft += self.part * step_ft
        else:
            self._learn(s, step_ft)

    def _learn(self, s: State, step_ft: float) -> None:
        vertical = s.sample.vertical_speed_fpm
        height = s.level_smooth if vertical is None else s.climbed_ft
        if vertical is not None:
            if self._vertical is not None:
                self._n += 1
                self._scatter += ((vertical - self._vertical) / 60.0) ** 2
            self._vertical = vertical
        if self._from_ft is None:
            self._from_ft, self._started = height, s.t
            return
        self._rolled_ft += step_ft
        rise = height - self._from_ft
        noise = NOISE_PART * s.level_noise if vertical is None else self.sum_noise_ft(s.t - self._started, s.dt)
        sure = rise > LEAST_RISE_FT + noise and self._rolled_ft > 0.0
        self.part = min(rise / self._rolled_ft, STEEPEST) if sure else 0.0

    def sum_noise_ft(self, seconds: float, interval_s: float) -> float:
        """What the scatter of vertical speed may make of its sum over so many seconds (ft)."""
        if not self._n:
            return 0.0
        return SUM_PART * sqrt(0.5 * self._scatter / self._n * interval_s * max(seconds, 0.0))

    def climb_fpm(self, speed_kt: float | None) -> float:
        """The climb with the wheels on the ground at a speed (ft/min)."""
        return self.part * (speed_kt or 0.0) * FEET_PER_S_PER_KNOT * 60.0

    def levelled(self, rows: deque[Row]) -> deque[Row]:
        """The rows, up to now, with level and climb as on a level runway."""
        if not self.part:
            return rows
        out: deque[Row] = deque()
        later_t, risen = rows[-1][0], self.risen_ft
        for t, ias, level, climb, pitch in reversed(rows):
            slope_fpm = self.climb_fpm(ias)
            risen -= slope_fpm / 60.0 * (later_t - t)
            later_t = t
            flat = None if level is None else level - risen
            out.appendleft((t, ias, flat, None if climb is None else climb - slope_fpm, pitch))
        return out
