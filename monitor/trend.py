"""A noisy signal's value and rate of change by least squares, in constant time and memory a sample."""

from __future__ import annotations

from math import exp

SETTLED = 1000  # counted as so many samples once those at hand weigh no more than they do in the long run


class Trend:
    """A straight line fitted to all samples so far, each weighted by its age (time constant `tau_s`, seconds).

    This is discounted least squares of the first order: for samples at a steady interval the two gains below are its
    exact recursion (R. G. Brown, Smoothing, Forecasting and Prediction, 1963; from memory). Until enough
    samples are in, the gains are those of ordinary least squares over the samples at hand, so that the start value
    has no say. A gap of several time constants starts the line anew from its two ends. `ready`: two samples are in, so
    that there is a rate at all.
    """

    __slots__ = ("_a", "_b", "_long", "_n", "_settled", "_short", "rate", "ready", "t", "tau_s", "value")

    def __init__(self, tau_s: float) -> None:
        self.tau_s = tau_s
        self.reset()

    def reset(self) -> None:
        """Forget everything."""
        self.value = 0.0
        self.rate = 0.0
        self.t = 0.0
        self._n = 0
        self._settled = False
        self.ready = False
        self._short = self._long = 0.0  # the intervals for which the gains are right
        self._a = self._b = 1.0

    def retune(self, tau_s: float) -> None:
        """Another time constant from here on; value and rate stay."""
        self.tau_s = tau_s
        self._short = self._long = 0.0

    def shift(self, seconds: float) -> None:
        """Time stood still for so long."""
        self.t += seconds

    def update(self, t: float, measured: float) -> float:
        """Take in one value at time `t` (seconds, later than the last); by how much it is off the line so far."""
        dt = t - self.t
        self.t = t
        if self._short < dt < self._long and self._settled:
            a, b = self._a, self._b
        elif self._n:
            a, b = self._gains(dt)
        else:
            self._n, self.value = 1, measured
            return 0.0
        predicted = self.value + self.rate * dt
        residual = measured - predicted
        self.value = predicted + a * residual
        self.rate += b * residual / dt
        return residual

    def _gains(self, dt: float) -> tuple[float, float]:
        """Of value and rate: until enough samples are in, those of ordinary least squares."""
        if not self._short < dt < self._long:  # gains are kept while the interval holds
            theta = exp(-dt / self.tau_s)
            self._short, self._long = 0.99 * dt, 1.01 * dt
            self._a, self._b = 1.0 - theta * theta, (1.0 - theta) ** 2
        a, b = self._a, self._b
        if self._n < SETTLED:
            n = self._n = self._n + 1
            self.ready = True
            least = 6.0 / (n * (n + 1))
            if least > b:
                return max(a, (2 * n - 1) * least / 3.0), least
            self._n = SETTLED
            self._settled = True
        return a, b
