import numpy as np
import pytest
from hypothesis import given
from scipy import stats
from statsmodels.stats.contingency_tables import StratifiedTable

from outcomes.estimators.homogeneity import rate_homogeneity_test, risk_homogeneity_test
from tests.outcomes.estimators.published_counts import PROPERTY, example
from tests.outcomes.estimators.test_pooling import (
    columns,
    doctors,
    example_strata,
    exposures,
    rate_columns,
    tables,
)

RISKS = ["risk ratio", "risk difference", "odds ratio"]
RATES = ["rate ratio", "rate difference"]


def test_published_breslow_day_test():
    known = example("mh-doll-hill-or")
    found = risk_homogeneity_test(**example_strata("mh-doll-hill-or"), measure="odds ratio")
    assert found.statistic == known.near(known.published["breslow_day_tarone"])
    assert found.p_value == pytest.approx(known.published["p"], abs=1e-6)
    assert found.degrees_of_freedom == 1


def test_breslow_day_agrees_with_statsmodels():
    strata = [(3, 20, 5, 25), (1, 8, 2, 11), (9, 10, 4, 30)]
    frames = [np.array([[a, n - a], [c, m - c]], dtype=float) for a, n, c, m in strata]
    known = StratifiedTable(frames).test_equal_odds(adjust=True)
    found = risk_homogeneity_test(**columns(strata), measure="odds ratio")
    assert (found.statistic, found.p_value) == pytest.approx((known.statistic, known.pvalue), rel=1e-8)


def test_heterogeneous_rates_are_near_the_weighted_test():
    """Weighted squares of the log ratios about the pooled one: the two agree for large counts."""
    strata = doctors()
    arrays = [np.array(strata[k]) for k in ("events", "times", "reference_events", "reference_times")]
    k1, t1, k2, t2 = (a * 1e4 if i % 2 == 0 else a for i, a in enumerate(arrays))
    pooled = np.sum(k1 * t2 / (t1 + t2)) / np.sum(k2 * t1 / (t1 + t2))
    # Pull the strata towards homogeneity, where the two tests meet.
    k1 = np.round(k2 * t1 / t2 * pooled * (1 + np.array([2, -1, 1, 0, -2]) * 1e-3))
    pooled = np.sum(k1 * t2 / (t1 + t2)) / np.sum(k2 * t1 / (t1 + t2))
    weights = k1 * k2 / (k1 + k2)
    logs = np.log(k1 / t1 * t2 / k2) - np.log(pooled)
    expected = np.sum(weights * logs**2) - np.sum(weights * logs) ** 2 / weights.sum()
    found = rate_homogeneity_test(
        events=k1, times=t1, reference_events=k2, reference_times=t2, measure="rate ratio"
    )
    assert found.statistic == pytest.approx(expected, rel=0.01)
    assert found.degrees_of_freedom == 4


@pytest.mark.parametrize("measure", RISKS)
def test_type_1_error_is_near_the_level(measure):
    """1,000 simulated registries of six strata with equal risks: about 5 % rejected."""
    random = np.random.default_rng(20)
    totals, rejected = np.full(6, 60), 0
    for _ in range(1000):
        x1, x2 = random.binomial(60, 0.25, size=(2, 6))
        p_value = risk_homogeneity_test(
            events=x1, totals=totals, reference_events=x2, reference_totals=totals, measure=measure
        ).p_value
        rejected += p_value < 0.05
    assert 0.03 < rejected / 1000 < 0.07


def test_alike_strata_give_no_sign_of_difference():
    for measure in RISKS:
        found = risk_homogeneity_test(**columns([(6, 30, 3, 30)] * 3), measure=measure)
        assert found.statistic == pytest.approx(0.0, abs=1e-12)
    for measure in RATES:
        found = rate_homogeneity_test(**rate_columns([(6, 30.0, 3, 45.0)] * 3), measure=measure)
        assert found.statistic == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize("measure", RISKS)
@PROPERTY
@given(strata=tables)
def test_p_value_fits_the_statistic(strata, measure):
    found = risk_homogeneity_test(**columns(strata), measure=measure)
    if found.p_value is None:
        assert found.note
    else:
        assert found.statistic >= -1e-9
        assert found.p_value == pytest.approx(
            stats.chi2.sf(found.statistic, found.degrees_of_freedom), abs=1e-9
        )


@pytest.mark.parametrize("measure", RATES)
@PROPERTY
@given(strata=exposures)
def test_swapping_the_arms_of_rates_changes_nothing(strata, measure):
    there = rate_homogeneity_test(**rate_columns(strata), measure=measure)
    back = rate_homogeneity_test(**rate_columns([(c, m, a, n) for a, n, c, m in strata]), measure=measure)
    assert (there.p_value is None) == (back.p_value is None)
    if there.p_value is not None:
        assert there.statistic == pytest.approx(back.statistic, rel=1e-6, abs=1e-6)


def test_a_stratum_without_events_adds_no_degree_of_freedom_to_a_ratio():
    strata = [(3, 20, 5, 25), (4, 9, 2, 11)]
    plain = risk_homogeneity_test(**columns(strata), measure="risk ratio")
    padded = risk_homogeneity_test(**columns([*strata, (0, 6, 0, 7)]), measure="risk ratio")
    assert padded == plain


def test_one_stratum_cannot_differ():
    found = risk_homogeneity_test(**columns([(3, 20, 5, 25)]), measure="odds ratio")
    assert (found.p_value, found.note) == (None, "fewer than two strata with information")
    found = rate_homogeneity_test(**rate_columns([(3, 20.0, 0, 25.0)] * 2), measure="rate ratio")
    assert (found.p_value, found.note) == (None, "no pooled value to compare the strata with")
