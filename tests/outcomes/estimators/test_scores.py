"""The restricted fits against a search of the likelihood itself."""

import numpy as np
import pytest
from scipy import optimize

from outcomes.estimators.scores import (
    odds_ratio_score,
    rate_difference_score,
    rate_ratio_score,
    risk_difference_score,
    risk_ratio_score,
)

TABLES = [(7, 34, 1, 34), (0, 10, 3, 20), (5, 5, 2, 9), (56, 70, 48, 80), (0, 4, 0, 7), (9, 9, 11, 11)]
EXPOSURES = [(11, 800.0, 21, 3011.0), (0, 16.0, 4, 9.0), (3, 5.0, 0, 8.0)]


def best(derivative, low, high):
    """Where a likelihood on (low, high) is highest: at the root of its falling slope, or at an end."""
    edge = 1e-13 * (high - low)
    if derivative(low + edge) <= 0:
        return low
    if derivative(high - edge) >= 0:
        return high
    return optimize.brentq(derivative, low + edge, high - edge, xtol=1e-15)


def slope(x, n, p):
    """Of the binomial log-likelihood in p; absent counts add nothing even at the edge."""
    tiny = 1e-16
    return (x / max(p, tiny) if x else 0.0) - ((n - x) / max(1 - p, tiny) if n > x else 0.0)


@pytest.mark.parametrize("table", TABLES)
@pytest.mark.parametrize("difference", [-0.6, -0.05, 0.02, 0.4])
def test_risk_difference(table, difference):
    x1, n1, x2, n2 = table
    p2 = best(
        lambda p: slope(x1, n1, p + difference) + slope(x2, n2, p),
        max(0, -difference),
        min(1, 1 - difference),
    )
    p1 = p2 + difference
    contrast, variance = risk_difference_score(np.array(difference), *map(np.array, map(float, table)))
    assert contrast == pytest.approx(x1 / n1 - x2 / n2 - difference)
    assert variance == pytest.approx(p1 * (1 - p1) / n1 + p2 * (1 - p2) / n2, abs=1e-9)


@pytest.mark.parametrize("table", TABLES)
@pytest.mark.parametrize("ratio", [0.2, 0.97, 3.5])
def test_risk_ratio(table, ratio):
    x1, n1, x2, n2 = table
    p2 = best(lambda p: ratio * slope(x1, n1, ratio * p) + slope(x2, n2, p), 0, min(1, 1 / ratio))
    p1 = ratio * p2
    _, variance = risk_ratio_score(np.array(ratio), *map(np.array, map(float, table)))
    assert variance == pytest.approx(p1 * (1 - p1) / n1 + ratio**2 * p2 * (1 - p2) / n2, abs=1e-9)


@pytest.mark.parametrize("table", TABLES[:4])
@pytest.mark.parametrize("ratio", [0.01, 1.0, 40.0])
def test_odds_ratio(table, ratio):
    x1, n1, x2, n2 = table

    def expected(p):
        return n1 * p * ratio / (1 - p + p * ratio) + n2 * p

    p2 = optimize.brentq(lambda p: expected(p) - x1 - x2, 0, 1, xtol=1e-15)
    p1 = p2 * ratio / (1 - p2 + p2 * ratio)
    contrast, variance = odds_ratio_score(np.array(ratio), *map(np.array, map(float, table)))
    assert contrast == pytest.approx(x1 - n1 * p1, abs=1e-9)
    assert 1 / variance == pytest.approx(1 / (n1 * p1 * (1 - p1)) + 1 / (n2 * p2 * (1 - p2)))


@pytest.mark.parametrize("table", EXPOSURES)
@pytest.mark.parametrize("difference", [-0.3, 0.0, 0.25])
def test_rate_difference(table, difference):
    k1, t1, k2, t2 = table

    def derivative(r):
        return (k1 / (r + difference) if k1 else 0.0) + (k2 / r if k2 else 0.0) - t1 - t2

    r2 = best(derivative, max(0, -difference), 5.0)
    _, variance = rate_difference_score(np.array(difference), *map(np.array, map(float, table)))
    assert variance == pytest.approx((r2 + difference) / t1 + r2 / t2, abs=1e-9)


def test_rate_ratio_is_the_binomial_of_the_events():
    contrast, variance = rate_ratio_score(np.array(2.0), *map(np.array, (6.0, 10.0, 3.0, 20.0)))
    assert (contrast, variance) == (pytest.approx(6 - 9 * 0.5), pytest.approx(9 * 0.25))
