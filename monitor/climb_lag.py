"""How late a climb's beginning shows in vertical speed, by its instrument's lag against the level.

The sum of an instrument that lags by T falls short of the height gained by T times the climb it shows (first order): T
is the slope of the one against the other, by least squares, drawn to the usual lag the more the level scatters, or the
coarser its steps are. A beginning climb shows about two thirds of T late. All numbers: measured on model flights.
"""

from __future__ import annotations

from itertools import pairwise

from monitor.state import Row

SHOWS_S = 0.08  # a climb is this old when it first shows in vertical speed
LAG_PART = 0.65  # of the instrument's time constant comes on top
LAG_MOST_S = 0.6
LAG_OVER_S = 6.0  # the last seconds before certainty, from which the lag is found
LAG_SPREAD_S = 0.13  # how much lags differ from one instrument to the next (standard deviation)
SCATTER_PART = 1.5  # of the level's mean scatter is taken for its standard deviation


def shows_late_s(rows: list[Row], lowest_ft: float, level_noise_ft: float, usual_s: float) -> float:
    """Seconds by which a climb that begins shows late in vertical speed.

    rows: the last seconds up to some height above the ground, in order. lowest_ft: the level on the wheels.
    level_noise_ft: its mean scatter. usual_s: the answer where the level tells nothing.
    """
    rows = _last_seconds(rows, LAG_OVER_S)
    found, weight = _lag_by_level(rows, lowest_ft)
    weight *= LAG_SPREAD_S**2
    scatter = max(SCATTER_PART * level_noise_ft, _step_ft(rows)) ** 2
    usual = (usual_s - SHOWS_S) / LAG_PART
    lag = (weight * found + scatter * usual) / (weight + scatter) if weight + scatter > 0.0 else usual
    return SHOWS_S + LAG_PART * min(max(lag, 0.0), LAG_MOST_S)


def _last_seconds(rows: list[Row], seconds: float) -> list[Row]:
    return rows[max(len(rows) - 1 - round(seconds * (len(rows) - 1) / (rows[-1][0] - rows[0][0])), 0) :]


def _step_ft(rows: list[Row]) -> float:
    """The least by which the level changes: the step of one that is rounded, next to nothing in any other."""
    levels = [row[2] for row in rows if row[2] is not None]
    return min([abs(now - before) for before, now in pairwise(levels) if now != before], default=0.0)


def _lag_by_level(rows: list[Row], lowest_ft: float) -> tuple[float, float]:
    """Slope of (height gained less vertical speed summed up, ft) against vertical speed (ft/s), and the sum of squares
    that it rests on."""
    climbed = x_sum = y_sum = xx_sum = xy_sum = 0.0
    n = 0
    before_t, before = rows[0][0], (rows[0][3] or 0.0) / 60.0
    for t, _, level, climb_fpm, _ in rows:
        x = climb_fpm / 60.0 if climb_fpm else 0.0
        climbed += 0.5 * (x + before) * (t - before_t)
        before_t, before = t, x
        if level is not None:
            y = level - lowest_ft - climbed
            n += 1
            x_sum += x
            y_sum += y
            xx_sum += x * x
            xy_sum += x * y
    spread = xx_sum - x_sum * x_sum / n if n else 0.0
    return ((xy_sum - x_sum * y_sum / n) / spread, spread) if spread > 1e-6 else (0.0, 0.0)
