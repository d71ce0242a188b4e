"""When a climb began, from the few samples of it that a slow stream holds.

Whatever the aeroplane and the pilot, the first climb after the wheels leave grows in the same way: measured on 400
model takeoffs it has a tenth of its later rate at that moment, half of it 0.5 s later, and nine tenths after 1.2 s
(each within 0.1 s from one takeoff to the next). So the samples before and after are fitted with

    climb = C / (1 + exp(-(t - t0 - 0.55 s) / 0.27 s)),   height = the sum of that,

t0 being the moment sought: vertical speed and level each weigh as much as they are exact, the level may have an offset
(an altimeter that sags on the roll), and vertical speed may lag. The answer is the mean of t0 weighed by its likelihood
over a grid about a first guess.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import exp, log, log1p

from monitor.state import Row

HALF_AFTER_S, SPREAD_S = 0.55, 0.27
BEFORE_S, AFTER_S = 2.5, 2.2  # the samples used, about the guess, or so many intervals
BEFORE_STEPS, AFTER_STEPS = 2.0, 1.6
GROWN_AFTER_S = 0.6  # from then on what the pilot does tells less and less of the beginning: by
CLIMB_DRIFT, LEVEL_DRIFT = 0.28, 0.7  # this part of the climb a second, or of the height it gives
CLIMB_FPM, CLIMB_PART = 14.0, 0.1  # how exact vertical speed is: noise, and departure from the shape
LEVEL_FT, LEVEL_PART, SAGGING_FT = 0.36, 0.1, 1.1  # the same of the level, and of one that sags on the roll
OFFSET_FT, SAGGING_OFFSET_FT = 0.3, 6.7
FIRST_FPM, LEAST_FPM = 500.0, 30.0
GUESS_S, GUESS_PART = 0.45, 0.34  # how far the guess is off (standard deviation), or this part of an interval
TRIED = tuple(0.45 * step for step in range(-4, 5))  # in these parts of it
LAGS_S, LAG_S, LAG_SPREAD_S = (0.0, 0.2, 0.5), 0.1, 0.2  # tried, usual, and how much lags differ
OUTLIER = 7.0  # a residual counts no more than this many variances

Point = tuple[float, float | None, float]
"""Time, level above that on the wheels (ft), vertical speed (ft/min)."""


def climb_began(
    rows: Iterable[Row], interval_s: float, guess_s: float, ground_ft: float, noise_ft: float, sags: bool
) -> float:
    """The moment t0 (s). rows: samples in order, usually `interval_s` apart; those without vertical speed are passed
    over. guess_s: where to look. ground_ft: the level on the wheels, noise_ft its scatter; sags: it is an altitude,
    which reads low on the roll."""
    first = guess_s - max(BEFORE_S, BEFORE_STEPS * interval_s)
    last = guess_s + max(AFTER_S, AFTER_STEPS * interval_s)
    points = [
        (t, None if level is None else level - ground_ft, climb)
        for t, _, level, climb, _ in rows
        if climb is not None and first <= t <= last
    ]
    if len(points) < 3:
        return guess_s
    doubt_s = max(GUESS_S, GUESS_PART * interval_s)
    tried = [
        (part, _misfit(points, guess_s + part * doubt_s, lag, noise_ft, sags) + part * part)
        for part in TRIED
        for lag in LAGS_S
    ]
    least = min(misfit for _, misfit in tried)
    weights = [exp(0.5 * (least - misfit)) for _, misfit in tried]
    parts = sum(weight * part for weight, (part, _) in zip(weights, tried, strict=True))
    return guess_s + parts / sum(weights) * doubt_s


def _misfit(points: Sequence[Point], t0: float, lag_s: float, noise_ft: float, sags: bool) -> float:
    """Minus twice the logarithm of the likelihood."""
    climbs = [1.0 / (1.0 + exp(-(t - t0 - HALF_AFTER_S - lag_s) / SPREAD_S)) for t, _, _ in points]
    late = [max(t - t0 - GROWN_AFTER_S, 0.0) for t, _, _ in points]
    full = FIRST_FPM
    for _ in range(2):  # how exact a value is depends on the climb that is sought
        exact = [_climb_variance(full, part, after) for part, after in zip(climbs, late, strict=True)]
        up = sum(part * climb / var for part, (_, _, climb), var in zip(climbs, points, exact, strict=True))
        full = max(up / sum(part * part / var for part, var in zip(climbs, exact, strict=True)), LEAST_FPM)
    misfit = ((lag_s - LAG_S) / LAG_SPREAD_S) ** 2
    for part, after, (_, _, climb) in zip(climbs, late, points, strict=True):
        var = _climb_variance(full, part, after)
        misfit += min((climb - full * part) ** 2 / var, OUTLIER) + log(var)
    return misfit + _level_misfit(points, t0, full / 60.0, noise_ft, sags)


def _climb_variance(full_fpm: float, part: float, after_s: float) -> float:
    return CLIMB_FPM**2 + full_fpm**2 * ((CLIMB_PART * part) ** 2 + (CLIMB_DRIFT * after_s) ** 2)


def _level_misfit(points: Sequence[Point], t0: float, full_ft_s: float, noise_ft: float, sags: bool) -> float:
    """The same for the level, with the offset that suits it best."""
    base = LEVEL_FT**2 + noise_ft**2 + (SAGGING_FT**2 if sags else 0.0)
    offset_weight = (SAGGING_OFFSET_FT if sags else OFFSET_FT) ** -2
    found: list[tuple[float, float]] = []
    for t, level, _ in points:
        if level is None:
            continue
        since = t - t0
        height = full_ft_s * SPREAD_S * log1p(exp((since - HALF_AFTER_S) / SPREAD_S))
        drift = LEVEL_DRIFT * full_ft_s * max(since - GROWN_AFTER_S, 0.0) ** 2
        found.append((level - height, base + (LEVEL_PART * height) ** 2 + drift**2))
    offset = sum(rest / var for rest, var in found) / (sum(1.0 / var for _, var in found) + offset_weight)
    misfit = offset * offset * offset_weight
    return misfit + sum(min((rest - offset) ** 2 / var, OUTLIER) + log(var) for rest, var in found)
