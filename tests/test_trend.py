"""The trend: a line fitted by discounted least squares, held to closed forms and to numpy's own least squares."""

from __future__ import annotations

from math import exp

import numpy as np
import pytest

from monitor.trend import Trend

RATES_HZ = (1.0, 5.0, 20.0, 60.0)


def _fed(times: np.ndarray, values: np.ndarray, tau_s: float = 1.0) -> Trend:
    trend = Trend(tau_s)
    for t, value in zip(times.tolist(), values.tolist(), strict=True):
        trend.update(t, value)
    return trend


def _discounted(times: np.ndarray, values: np.ndarray, tau_s: float) -> tuple[float, float]:
    """(value at the last time, rate) of numpy's weighted least squares; numpy squares the weights it is given."""
    age = times[-1] - times
    rate, value = np.polyfit(-age, values, 1, w=np.exp(-age / tau_s) ** 0.5)
    return float(value), float(rate)


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_a_straight_line_is_followed_exactly(rate_hz: float) -> None:
    """On a line without noise the value and the rate are the line's own from the second sample on."""
    times = 100.0 + np.arange(60) / rate_hz
    trend = Trend(1.0)
    for n, t in enumerate(times.tolist()):
        trend.update(t, 7.0 - 3.0 * (t - 100.0))
        assert trend.value == pytest.approx(7.0 - 3.0 * (t - 100.0), abs=1e-9)
        if n:
            assert trend.rate == pytest.approx(-3.0, abs=1e-9)


@pytest.mark.parametrize("n", [2, 3, 5, 8])
def test_at_first_it_is_ordinary_least_squares(n: int) -> None:
    """While few samples are in, value and rate are those of numpy.polyfit over all of them, whatever the noise."""
    times = 50.0 + np.arange(n) / 20.0
    values = np.random.default_rng(n).normal(30.0, 5.0, n)
    trend = _fed(times, values)
    rate, value = np.polyfit(times - times[-1], values, 1)
    assert trend.value == pytest.approx(value, abs=1e-8)
    assert trend.rate == pytest.approx(rate, rel=1e-6)


@pytest.mark.parametrize("tau_s", [0.2, 0.8, 1.2])
@pytest.mark.parametrize("rate_hz", [10.0, 20.0, 60.0])
def test_settled_it_is_discounted_least_squares(rate_hz: float, tau_s: float) -> None:
    """Once settled, value and rate are numpy's least squares with weights exp(-age / tau)."""
    times = np.arange(int(25 * tau_s * rate_hz) + 60) / rate_hz
    values = 10.0 + 4.0 * times + np.random.default_rng(7).normal(0.0, 1.0, len(times))
    trend = _fed(times, values, tau_s)
    value, rate = _discounted(times, values, tau_s)
    assert trend.value == pytest.approx(value, abs=0.03)
    assert trend.rate == pytest.approx(rate, abs=0.05)


@pytest.mark.parametrize("rate_hz", [5.0, 20.0, 60.0])
def test_gains_are_the_closed_forms_of_brown(rate_hz: float) -> None:
    """An impulse moves the value by 1 - theta^2, the rate by (1 - theta)^2 / dt (Brown 1963, from memory)."""
    theta = exp(-1.0 / rate_hz)
    times = np.arange(600) / rate_hz
    values = np.zeros(600)
    values[-1] = 1.0
    trend = _fed(times, values)
    assert trend.value == pytest.approx(1.0 - theta**2, rel=1e-6)
    assert trend.rate == pytest.approx((1.0 - theta) ** 2 * rate_hz, rel=1e-6)


def test_steady_acceleration_lags_by_a_known_amount() -> None:
    """On a parabola the rate lags by about two time constants' worth of acceleration, no more: 2 tau."""
    times = np.arange(2000) / 100.0
    trend = _fed(times, 0.5 * times**2, 1.0)
    assert times[-1] - trend.rate == pytest.approx(2.0, abs=0.03)


def test_after_a_long_gap_two_samples_make_the_line_anew() -> None:
    """A gap of many time constants leaves nothing of the old line: the new one runs through the gap's two ends."""
    trend = _fed(np.arange(500) / 20.0, np.full(500, 3.0))
    trend.update(trend.t + 60.0, 123.0)
    assert trend.value == pytest.approx(123.0)
    assert trend.rate == pytest.approx(2.0)


def test_ready_and_reset() -> None:
    """There is a rate from the second sample on; after a reset nothing is known."""
    trend = Trend(1.0)
    assert not trend.ready
    trend.update(5.0, 1.0)
    assert not trend.ready
    assert trend.value == 1.0
    trend.update(6.0, 2.0)
    assert trend.ready
    trend.reset()
    assert (trend.ready, trend.value, trend.rate) == (False, 0.0, 0.0)


def test_noise_is_reduced_as_theory_says() -> None:
    """Settled at 20 Hz and tau 1 s, white noise leaves the scatter that Brown's formula gives."""
    times = np.arange(12_000) / 20.0
    noise = np.random.default_rng(3).normal(0.0, 1.0, len(times))
    trend, found = Trend(1.0), []
    for t, value in zip(times.tolist(), noise.tolist(), strict=True):
        trend.update(t, value)
        found.append(trend.value)
    theta = exp(-0.05)
    # variance of double exponential smoothing's level: (1-theta)(1 + 4 theta + 5 theta^2) / (1 + theta)^3 (Brown 1963)
    variance = (1 - theta) * (1 + 4 * theta + 5 * theta**2) / (1 + theta) ** 3
    assert float(np.std(found[500:])) == pytest.approx(variance**0.5, rel=0.1)


def test_another_time_constant_counts_from_its_first_sample() -> None:
    """Retuned in mid-stream at the same interval, the line smooths as one of that time constant does."""
    retuned, other = Trend(0.5), Trend(4.0)
    retuned.update(0.0, 0.0)
    retuned.retune(4.0)
    other.update(0.0, 0.0)
    for n in range(1, 400):
        value = 10.0 * (n % 2)
        retuned.update(n * 0.05, value)
        other.update(n * 0.05, value)
    assert retuned.value == other.value
    settled = retuned.value
    retuned.retune(0.5)
    retuned.update(20.0, 10.0)
    assert retuned.value - settled > 0.1 * (10.0 - settled)
