"""The nose on the roll: how far it has risen above its lowest attitude, less what an instrument's noise shows."""

from __future__ import annotations

from monitor.trend import Trend

TAU_S = 0.6
NOISY_DEG = 0.12  # from this mean scatter on the smooth attitude counts; a clean one is exact
NOISE_OVER_S, FAST_S = 2.0, 0.3  # of slower samples two in a row tell turning from noise no more
SQRT_6 = 6.0**0.5  # the standard deviation of a second difference of white noise, in its own
ALLOWED = 1.5  # times the scatter: by so much the lowest of a noisy attitude is too low (model rolls with white noise)


class Nose:
    """Follows the pitch attitude; `rise_deg` is None before it is known."""

    __slots__ = ("_before_deg", "_last_two", "_lowest_deg", "_noise_deg", "_now_deg", "_trend")

    def __init__(self) -> None:
        self._trend = Trend(TAU_S)
        self.reset()

    def reset(self) -> None:
        """A new roll begins."""
        self._lowest_deg: float | None = None
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
        if self._lowest_deg is None or self._now_deg < self._lowest_deg:
            self._lowest_deg = self._before_deg = self._now_deg

    @property
    def rise_deg(self) -> float | None:
        """Degrees above the lowest attitude of the roll."""
        return None if self._lowest_deg is None else max(self._now_deg - self._lowest_deg - self._allowed_deg, 0.0)

    @property
    def _allowed_deg(self) -> float:
        return ALLOWED * self._noise_deg if self._noise_deg > NOISY_DEG else 0.0

    def rose_through(self, rise_deg: float) -> tuple[float, float, float] | None:
        """While it rises above `rise_deg`: the attitude before, now, and the one that was to be crossed."""
        if self._lowest_deg is None or self._now_deg <= self._before_deg:
            return None
        wanted = self._lowest_deg + rise_deg + self._allowed_deg
        return None if self._now_deg < wanted else (self._before_deg, self._now_deg, wanted)
