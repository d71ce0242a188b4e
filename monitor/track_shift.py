"""What track and heading differ by on the wheels, where they count from different norths: a constant of the feed.

A takeoff's own roll tells it best. A short one, or one of few samples, is too little to tell it by; then what the
stream has shown so far does: straight taxiing, and the rolls before. While that is too little as well, it is not known.
"""

from __future__ import annotations

from monitor.geo import turn
from monitor.state import State

ENOUGH = 5  # samples to tell a mean by (common practice, no source)
REMEMBERED = 100  # samples, about; the variation changes along the way of a long flight (common practice, no source)
NO_TRACK_DEG = 40.0  # so far off no roll is, and no compass: a damaged value (common practice, no source)
TAXI_KT = 8.0, 30.0  # slower, a track is noise; faster, it is no taxiing (common practice, no source)
STRAIGHT_DEG, STRAIGHT_S = 3.0, 2.0  # a track lags in a bend, and comes back (common practice, no source)


class Mean:
    """The mean of what was added, 0 before; n: how many, of which no more than `most` are remembered."""

    __slots__ = ("_most", "n", "value")

    def __init__(self, most: int = 1_000_000) -> None:
        self._most = most
        self.value, self.n = 0.0, 0

    def add(self, value: float) -> None:
        """One more."""
        self.n = min(self.n + 1, self._most)
        self.value += (value - self.value) / self.n


class TrackShift:
    """Learns by how many degrees the track reads right of the heading on the wheels."""

    def __init__(self, state: State) -> None:
        self._s = state
        self.restart()

    def restart(self) -> None:
        """The aeroplane may have been put elsewhere: forget everything."""
        self._stream = Mean(REMEMBERED)
        self._straight_deg: float | None = None  # the heading that the taxiing has kept to
        self._straight_t = 0.0
        self.begin()

    def begin(self) -> None:
        """A takeoff begins; what the stream has shown stays."""
        self._roll = Mean()

    @property
    def deg(self) -> float | None:
        """The track less the heading, as well as it is known; None while it is not. 0 where no heading is sent: then
        the given one is all there is."""
        for mean in (self._roll, self._stream):
            if mean.n >= ENOUGH:
                return mean.value
        return 0.0 if self._stream.n == 0 and self._s.sample.heading_deg is None else None

    def roll(self) -> None:
        """One sample of a straight roll. Track and heading swing together."""
        off_deg = self._off_deg()
        if off_deg is not None:
            self._roll.add(off_deg)
            self._stream.add(off_deg)

    def taxi(self) -> None:
        """One sample of the taxiing: looked at where it has been straight for a moment, as often as that."""
        s = self._s
        heading, v = s.sample.heading_deg, s.v
        slowest_kt, fastest_kt = TAXI_KT
        if heading is None or v is None or not slowest_kt < v < fastest_kt:
            self._straight_deg = None
        elif self._straight_deg is None or abs(turn(self._straight_deg, heading)) > STRAIGHT_DEG:
            self._straight_deg, self._straight_t = heading, s.t
        elif s.t - self._straight_t >= STRAIGHT_S:
            self._straight_deg, self._straight_t = heading, s.t
            off_deg = self._off_deg() if s.sample.track_deg is not None else None  # slow positions scatter too much
            if off_deg is not None:
                self._stream.add(off_deg)

    def _off_deg(self) -> float | None:
        heading, track = self._s.sample.heading_deg, self._s.track
        if heading is None or track is None:
            return None
        off_deg = turn(heading, track)
        return off_deg if abs(off_deg) < NO_TRACK_DEG else None
