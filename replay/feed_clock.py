"""Which feed time it was when something happened beside the feed, told by the packets' arrival times."""

from __future__ import annotations

from bisect import bisect_right


class FeedClock:
    """Arrivals and the feed times they brought. first_ns: the arrival time at which coach seconds are 0.

    How long a packet was under way is in no data: a time told here is as late as the packets were.
    """

    def __init__(self) -> None:
        """No arrival yet."""
        self.first_ns = 0
        self._arrivals_s: list[float] = []
        self._times_s: list[float] = []
        self._stretches: list[int] = []

    def add(self, arrival_s: float, t_s: float, stretch: int) -> None:
        """A sample of the feed time `t_s` came; arrivals never step back. Of one packet's samples the last counts."""
        if self._arrivals_s and arrival_s <= self._arrivals_s[-1] and stretch == self._stretches[-1]:
            self._times_s[-1] = t_s
            return
        self._arrivals_s.append(arrival_s)
        self._times_s.append(t_s)
        self._stretches.append(stretch)

    def feed_s(self, at_ns: int) -> float | None:
        """The feed time at a moment of the arrivals' clock: between two samples by a straight line.

        After the last sample of a stretch the time goes on as the clock does. None before the first sample.
        """
        at_s = (at_ns - self.first_ns) / 1e9
        after = bisect_right(self._arrivals_s, at_s)
        if not after:
            return None
        here_s, t_s = self._arrivals_s[after - 1], self._times_s[after - 1]
        if after == len(self._arrivals_s) or self._stretches[after] != self._stretches[after - 1]:
            return t_s + at_s - here_s
        part = (at_s - here_s) / (self._arrivals_s[after] - here_s)
        return t_s + part * (self._times_s[after] - t_s)
