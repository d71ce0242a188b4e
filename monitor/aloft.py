"""Clear of the ground, by inches: when the wheels first stayed off it for the time of a hop.

A lift-off is certain some feet up, but an aeroplane may float in ground effect for ten seconds before that and sink
again to a foot above the runway, where its climb looks like one that begins on the wheels. The height above the ground
tells the two apart: the height sent or, from altitude too coarse for that, vertical speed summed up.
"""

from __future__ import annotations

from monitor.grade import Grade
from monitor.state import State

CLEAR_FT = 1.0  # more than struts and a rising nose give with the wheels down (up to 37 ft/min for a second, measured)
DOWN_FT = 0.4
NOISE_PART = 3.0  # of the height's mean scatter on top of both


class Aloft:
    """Follows the height above the wheels' own; `since` is when it became more, for `hop_s` or as yet."""

    __slots__ = ("_hop_s", "_low", "_started", "for_good", "since")

    def __init__(self, hop_s: float) -> None:
        self._hop_s = hop_s
        self.reset()

    def reset(self) -> None:
        """A new roll begins."""
        self.since: float | None = None
        self.for_good = False  # for longer than a hop
        self._low: float | None = None
        self._started: float | None = None

    def rolling(self, s: State, grade: Grade) -> None:
        """One sample of the roll at a speed at which the aeroplane may fly."""
        if self._started is None:
            self._started = s.t
        if s.uses_height:
            height, noise = s.level_smooth, NOISE_PART * s.level_noise
        elif s.sample.vertical_speed_fpm is not None:
            height, noise = s.climbed_ft - grade.risen_ft, grade.sum_noise_ft(s.t - self._started, s.dt)
        else:
            return
        if self._low is None or height < self._low:
            self._low = height
        rise = height - self._low - noise
        if self.since is None:
            if rise > CLEAR_FT:
                self.since = s.t
            return
        self.for_good = self.for_good or s.t - self.since >= self._hop_s
        if rise < DOWN_FT and not self.for_good:
            self.since = None
