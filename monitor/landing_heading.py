"""The heading that a landing roll keeps: the runway's, which may be another one than that of the takeoff before.

A crab or a swing at touchdown does not stay: on its wheels an aeroplane soon points where it goes.
"""

from __future__ import annotations

from monitor.geo import turn
from monitor.state import State
from monitor.track_shift import Mean, TrackShift

FROM_KT = 20.0  # slower, it may turn off the runway (common practice, no source)
STAYS_DEG, STAYS_S = 3.0, 2.0  # as far from where it began to stay, and as long (common practice, no source)
CRAB_DEG = 3.0  # so far aside of where it goes, its nose does not point along the runway (common practice, no source)


class LandingHeading:
    """Follows the landing roll; `deg` is None while no heading has stayed."""

    def __init__(self, state: State, track_shift: TrackShift) -> None:
        self._s = state
        self._track_shift = track_shift
        self.begin()

    def begin(self) -> None:
        """The wheels touch."""
        self._first_deg: float | None = None
        self._first_t = self._last_t = 0.0
        self._off = Mean()

    @property
    def deg(self) -> float | None:
        """The mean of the heading that has stayed until now."""
        if self._first_deg is None or self._last_t - self._first_t < STAYS_S:
            return None
        return (self._first_deg + self._off.value) % 360.0

    def update(self) -> None:
        """One sample of the landing roll."""
        s, heading = self._s, self._s.sample.heading_deg
        if heading is None or s.v is None or s.v < FROM_KT:
            return
        if self._crabs(heading):
            self._first_deg = None
            return
        if self._first_deg is None or abs(turn(self._first_deg, heading)) > STAYS_DEG:
            self._first_deg, self._first_t = heading, s.t
            self._off = Mean()
        self._last_t = s.t
        self._off.add(turn(self._first_deg, heading))

    def _crabs(self, heading: float) -> bool:
        track, shift_deg = self._s.track, self._track_shift.deg
        return track is not None and shift_deg is not None and abs(turn(heading + shift_deg, track)) > CRAB_DEG
