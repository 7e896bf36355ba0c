import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from outcomes.estimators import funnel
from outcomes.estimators.base import EstimatorError
from tests.outcomes.estimators.weighting_charts_data import PUBLISHED


@pytest.mark.parametrize(("level", "name"), [(0.95, "95"), (0.998, "998")])
def test_reference_gamma_limits(level, name):
    case = PUBLISHED["funnel-poisson-limits"]
    limits = funnel.gamma_ratio_limits(case["inputs"]["expected"], level=level)
    assert limits.lower == pytest.approx(np.array(case["published"]["ll" + name]), abs=case["tolerance"])
    assert limits.upper == pytest.approx(np.array(case["published"]["ul" + name]), abs=case["tolerance"])


def _interpolated(distribution, p):
    """Spiegelhalter 2005, appendix A.1.1, one unit at a time with the quantiles of a library."""
    r = distribution.ppf(p)
    return r - (distribution.cdf(r) - p) / (distribution.cdf(r) - distribution.cdf(r - 1))


@settings(max_examples=60, deadline=None)
@given(
    target=st.floats(0.01, 0.99),
    sizes=st.lists(st.integers(1, 3_000), min_size=1, max_size=5),
    level=st.sampled_from([0.8, 0.95, 0.998]),
)
def test_proportion_limits_agree_with_one_at_a_time(target, sizes, level):
    limits = funnel.proportion_limits(target, sizes, level=level)
    for n, lower, upper in zip(sizes, limits.lower, limits.upper, strict=True):
        low, high = (_interpolated(stats.binom(n, target), p) / n for p in (0.5 - level / 2, 0.5 + level / 2))
        assert lower == pytest.approx(max(0.0, low), abs=1e-8)
        assert upper == pytest.approx(min(1.0, high), abs=1e-8)


@settings(max_examples=60, deadline=None)
@given(
    target=st.floats(0.001, 20.0),
    sizes=st.lists(st.floats(0.01, 3_000.0), min_size=1, max_size=5),
    level=st.sampled_from([0.8, 0.95, 0.998]),
)
def test_rate_limits_agree_with_one_at_a_time(target, sizes, level):
    limits = funnel.rate_limits(target, sizes, level=level)
    for n, lower, upper in zip(sizes, limits.lower, limits.upper, strict=True):
        low, high = (
            _interpolated(stats.poisson(n * target), p) / n for p in (0.5 - level / 2, 0.5 + level / 2)
        )
        assert lower == pytest.approx(max(0.0, low), rel=1e-7, abs=1e-9)
        assert upper == pytest.approx(high, rel=1e-7)


def test_limits_narrow_with_size_and_hold_the_target():
    limits = funnel.proportion_limits(0.2, [10, 50, 200, 1_000])
    assert (np.diff(limits.upper - limits.lower) < 0.0).all()
    assert (limits.lower < 0.2).all()
    assert (limits.upper > 0.2).all()


def test_positions_count_a_unit_on_the_limit_as_inside():
    limits = funnel.rate_limits(1.0, [20.0, 20.0, 20.0, 20.0])
    figures = [limits.upper[0], limits.upper[0] + 0.01, limits.lower[0], limits.lower[0] - 0.01]
    assert funnel.positions(figures, limits).tolist() == [0, 1, 0, -1]


def test_a_unit_without_events_is_not_low_when_the_limit_is_zero():
    assert funnel.positions([0.0], funnel.proportion_limits(0.02, [10])).tolist() == [0]


def test_overdispersion():
    z = np.random.default_rng(1).normal(size=4_000)
    assert funnel.overdispersion(3.0 * z) == pytest.approx(9.0 * funnel.overdispersion(z))
    assert 0.6 < funnel.overdispersion(z) < 1.0
    assert funnel.overdispersion([*np.linspace(-1.0, 1.0, 20), 50.0]) < 1.0  # one outlier is pulled in


@pytest.mark.parametrize(
    ("call", "parameter"),
    [
        (lambda: funnel.proportion_limits(1.0, [5]), "target"),
        (lambda: funnel.proportion_limits(0.5, [0]), "denominators"),
        (lambda: funnel.proportion_limits(0.5, [2.5]), "denominators"),
        (lambda: funnel.rate_limits(0.0, [5.0]), "target"),
        (lambda: funnel.rate_limits(1.0, [0.0]), "exposures"),
        (lambda: funnel.gamma_ratio_limits([-1.0]), "expected"),
        (lambda: funnel.rate_limits(1.0, [1.0], level=0.0), "level"),
        (lambda: funnel.overdispersion([1.0]), "z_scores"),
    ],
)
def test_refusals_name_the_parameter(call, parameter):
    with pytest.raises(EstimatorError) as refusal:
        call()
    assert refusal.value.parameter == parameter
