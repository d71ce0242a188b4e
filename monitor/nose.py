"""The nose on the roll: how far it has risen above its lowest attitude, less what an instrument's noise shows.

On a rough strip the nose nods about the attitude of the roll. So whether it has risen is told from the lowest attitude
that it stayed at or below for half a nod; when it began to, from the lowest but for a dip of a moment.
"""

from __future__ import annotations

from collections import deque
from math import inf

from monitor.trend import Trend

TAU_S = 0.6
NOD_S = 0.75  # half a nod over rough ground, one and a half seconds long (common practice, no source)
DIP_S = 0.2  # a dip no longer is none (common practice, no source)
NOISY_DEG = 0.12  # from this mean scatter on the smooth attitude counts; a clean one is exact
NOISE_OVER_S, FAST_S = 2.0, 0.3  # of slower samples two in a row tell turning from noise no more
SQRT_6 = 6.0**0.5  # the standard deviation of a second difference of white noise, in its own
ALLOWED = 0.9  # times the scatter: by so much the lowest of a noisy attitude is too low (model rolls with white noise)
SOONER, LOUD_DEG = 1.8, 0.3
"""Times the scatter, up to which: so much lower the smooth attitude, which lags, began the rise that has since come
clear of the noise (310 noisy model flights: median error 0.17 s). In louder noise the lag is the lesser error."""


class Lowest:
    """The lowest value that was stayed at or below for `kept_s`; infinite before the first."""

    __slots__ = ("_highest", "_kept_s", "value")

    def __init__(self, kept_s: float) -> None:
        self._kept_s = kept_s
        self.reset()

    def reset(self) -> None:
        """Forget everything."""
        self.value = inf
        self._highest: deque[tuple[float, float]] = deque()  # of the time kept, then what is highest without those

    def update(self, t: float, value: float) -> None:
        """One more value."""
        highest = self._highest
        while highest and highest[-1][1] <= value:
            highest.pop()
        highest.append((t, value))
        while t - highest[0][0] > self._kept_s:
            highest.popleft()
        self.value = min(self.value, highest[0][1])


class Nose:
    """Follows the pitch attitude; `rise_deg` is None before it is known."""

    __slots__ = ("_before_deg", "_last_two", "_lowest", "_lowest_kept", "_noise_deg", "_now_deg", "_trend")

    def __init__(self) -> None:
        self._lowest, self._lowest_kept = Lowest(DIP_S), Lowest(NOD_S)
        self._trend = Trend(TAU_S)
        self.reset()

    def reset(self) -> None:
        """A new roll begins."""
        self._lowest.reset()
        self._lowest_kept.reset()
        self._before_deg = self._now_deg = 0.0
        self._noise_deg = 0.0
        self._last_two: tuple[float | None, float | None] = (None, None)
        self._trend.reset()

    def update(self, t: float, pitch_deg: float) -> None:
        """One sample on the wheels."""
        trend, (earlier, last) = self._trend, self._last_two
        dt = t - trend.t
        if earlier is not None and last is not None and dt < FAST_S:
            scatter = abs(pitch_deg - 2.0 * last + earlier) / SQRT_6  # a steady turning has none
            self._noise_deg += dt / NOISE_OVER_S * (scatter - self._noise_deg)
        self._last_two = last, pitch_deg
        trend.update(t, pitch_deg)
        self._before_deg = self._now_deg
        self._now_deg = trend.value if self._noise_deg > NOISY_DEG else pitch_deg
        if self._lowest.value == inf:
            self._before_deg = self._now_deg
        self._lowest.update(t, self._now_deg)
        self._lowest_kept.update(t, self._now_deg)

    @property
    def rise_deg(self) -> float | None:
        """Degrees above the attitude of the roll."""
        lowest = self._lowest_kept.value
        return None if lowest == inf else max(self._now_deg - lowest - self._allowed_deg, 0.0)

    @property
    def _allowed_deg(self) -> float:
        return ALLOWED * self._counted_noise_deg

    @property
    def _counted_noise_deg(self) -> float:
        return self._noise_deg if self._noise_deg > NOISY_DEG else 0.0

    def rose_through(self, rise_deg: float) -> tuple[float, float, float] | None:
        """While it is above `rise_deg`: the attitude before, now, and the one that was to be crossed."""
        noise_deg = self._counted_noise_deg
        allowed_deg = -SOONER * noise_deg if noise_deg < LOUD_DEG else self._allowed_deg
        wanted = self._lowest.value + rise_deg + allowed_deg
        return None if self._now_deg < wanted else (self._before_deg, self._now_deg, wanted)
