"""Confidence limits of a share (Clopper and Pearson 1934, exact, from the binomial), and percentiles."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np


def _tail(n: int, k: int, p: float) -> float:
    """P(X <= k) for a binomial of n and p."""
    if p <= 0.0:
        return 1.0
    if p >= 1.0:
        return 1.0 if k >= n else 0.0
    terms = (
        math.lgamma(n + 1) - math.lgamma(i + 1) - math.lgamma(n - i + 1) + i * math.log(p) + (n - i) * math.log1p(-p)
        for i in range(k + 1)
    )
    return math.fsum(math.exp(term) for term in terms)


def _solve(f: object, goal: float) -> float:
    """The p in 0..1 at which the falling function f passes the goal."""
    low, high = 0.0, 1.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if f(middle) > goal else (low, middle)  # type: ignore[operator]
    return (low + high) / 2


def share_limits(hits: int, n: int, level: float = 0.95) -> tuple[float, float]:
    """Exact two-sided limits of hits/n at the confidence level; (0, 1) when n is 0."""
    if n == 0:
        return 0.0, 1.0
    half = (1.0 - level) / 2
    low = 0.0 if hits == 0 else _solve(lambda p: _tail(n, hits - 1, p), 1.0 - half)
    high = 1.0 if hits == n else _solve(lambda p: _tail(n, hits, p), half)
    return low, high


def percentile(values: Sequence[float], share: float) -> float:
    """The percentile (share 0 to 1) of the absolute values; nan when there are none."""
    return float(np.quantile(np.abs(values), share)) if len(values) else math.nan
