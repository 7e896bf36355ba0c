import numpy as np
import pytest

from outcomes.estimators.refit import Resamples
from outcomes.estimators.weighted_limits import Remark, normal_contrasts, percentile_contrasts, percentiles

FINE = Remark("", True)


def test_percentiles_are_those_of_numpy():
    draws = np.random.default_rng(1).normal(size=999)
    assert percentiles(draws, 0.95) == pytest.approx(np.quantile(draws, [0.025, 0.975]), abs=1e-12)


def test_infinite_draws_sort_to_the_ends():
    draws = np.concatenate([np.full(10, -np.inf), np.linspace(0.0, 1.0, 80), np.full(10, np.inf)])
    assert percentiles(draws, 0.95) == (-np.inf, np.inf)
    assert percentiles(draws, 0.5) == pytest.approx(np.quantile(draws, [0.25, 0.75]))


def test_normal_limits_by_hand():
    difference, ratio = normal_contrasts((0.4, 0.2), np.diag([0.01, 0.0004]), 0.95, "m", FINE)
    error = np.sqrt(0.0104)
    z = 1.959963984540054
    assert (difference.lower, difference.upper) == pytest.approx((0.2 - z * error, 0.2 + z * error))
    log_error = np.sqrt(0.01 / 0.16 + 0.0004 / 0.04)
    assert ratio.standard_error == pytest.approx(log_error)
    assert (ratio.lower, ratio.upper) == pytest.approx(
        (2.0 * np.exp(-z * log_error), 2.0 * np.exp(z * log_error))
    )


def test_a_negative_mean_has_no_ratio():
    difference, ratio = normal_contrasts((0.4, -0.2), np.eye(2), 0.95, "m", FINE)
    assert difference.value == pytest.approx(0.6)
    assert (ratio.value, ratio.lower, ratio.upper) == (None, None, None)
    assert "not estimable" in ratio.note


def test_too_many_failed_resamples_give_no_limits():
    drawn = Resamples(treated=np.full(90, 0.5), control=np.full(90, 0.4), failed=10)
    difference, ratio = percentile_contrasts((0.5, 0.4), drawn, 0.95, "m", FINE)
    assert difference.value == pytest.approx(0.1)
    assert difference.lower is None
    assert "10 of 100" in ratio.note


def test_resamples_without_control_events_leave_no_upper_limit():
    control = np.concatenate([np.zeros(20), np.linspace(0.1, 0.3, 80)])
    drawn = Resamples(treated=np.linspace(0.2, 0.4, 100), control=control, failed=0)
    _, ratio = percentile_contrasts((0.3, 0.2), drawn, 0.95, "m", FINE)
    assert ratio.lower > 0.0
    assert (ratio.upper, ratio.standard_error) == (None, None)
    assert "no upper limit" in ratio.note
    _, inverted = percentile_contrasts(
        (0.2, 0.3), Resamples(treated=control, control=drawn.treated, failed=0), 0.95, "m", FINE
    )
    assert inverted.lower == 0.0
    assert inverted.upper == pytest.approx(1.0 / ratio.lower)
