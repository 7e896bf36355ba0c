import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.stats.contingency_tables import StratifiedTable

from outcomes.estimators.base import EstimatorError
from outcomes.estimators.differences import risk_difference
from outcomes.estimators.pooling import (
    ALL_OR_NONE,
    NO_EVENTS,
    NO_LIMITS,
    mantel_haenszel_test,
    pooled_odds_ratio,
    pooled_rate_difference,
    pooled_rate_ratio,
    pooled_risk_difference,
    pooled_risk_ratio,
)
from outcomes.estimators.ratios import odds_ratio, risk_ratio
from tests.outcomes.estimators.published_counts import PROPERTY, example, limits

RISKS = [pooled_risk_ratio, pooled_odds_ratio, pooled_risk_difference]
RATES = [pooled_rate_ratio, pooled_rate_difference]


def columns(strata):
    """Rows of x1, n1, x2, n2 as the arguments of a pooling of risks."""
    names = ("events", "totals", "reference_events", "reference_totals")
    return {name: [row[i] for row in strata] for i, name in enumerate(names)}


def rate_columns(strata):
    names = ("events", "times", "reference_events", "reference_times")
    return {name: [row[i] for row in strata] for i, name in enumerate(names)}


def example_strata(name):
    """Strata given as rows of named counts or as 2×2 tables, arm in the first row."""
    inputs = example(name).inputs
    if "strata" in inputs:
        keys = ("events", "total", "reference_events", "reference_total")
        return columns([[s[key] for key in keys] for s in inputs["strata"]])
    return columns([(a, a + b, c, c + d) for (a, b), (c, d) in inputs["tables"]])


def doctors():
    inputs = example("mh-doctors-rates").inputs
    return {
        "events": inputs["exposed"]["events"],
        "times": inputs["exposed"]["py_1e4"],
        "reference_events": inputs["unexposed"]["events"],
        "reference_times": inputs["unexposed"]["py_1e4"],
    }


def test_published_risk_ratio():
    known, strata = example("mh-tolbutamide-rr"), example_strata("mh-tolbutamide-rr")
    found = pooled_risk_ratio(**strata, level=0.9)
    assert found.value == known.near(known.published["rr"])
    assert limits(found) == known.near(tuple(known.published["ci90"]))
    assert limits(pooled_risk_ratio(**strata)) == known.near(tuple(known.published["ci95"]))


def test_published_risk_difference():
    known = example("mh-tolbutamide-rd")
    found = pooled_risk_difference(**example_strata("mh-tolbutamide-rd"), level=0.9)
    assert found.value == known.near(known.published["rd"])
    assert limits(found) == known.near(tuple(known.published["ci90"]))


def test_published_odds_ratio_and_test():
    known, strata = example("mh-doll-hill-or"), example_strata("mh-doll-hill-or")
    assert pooled_odds_ratio(**strata).value == known.near(known.published["or_"])
    assert mantel_haenszel_test(**strata).statistic == pytest.approx(known.published["cmh"], abs=0.005)


def test_published_odds_ratio_of_sparse_strata():
    known, strata = example("mh-spermicide"), example_strata("mh-spermicide")
    found = pooled_odds_ratio(**strata, level=0.9)
    assert found.value == known.near(known.published["or_"])
    assert limits(found) == known.near(tuple(known.published["ci90"]))
    assert mantel_haenszel_test(**strata).statistic == known.near(known.published["mh_chi2"])


def test_published_rates():
    known = example("mh-doctors-rates")
    ratio = pooled_rate_ratio(**doctors(), level=0.9)
    assert ratio.value == known.near(known.published["irr"])
    assert limits(ratio) == known.near(tuple(known.published["irr_ci90"]))
    difference = pooled_rate_difference(**doctors(), per=1.0, level=0.9)
    assert difference.value == known.near(known.published["ird"])
    assert limits(difference) == known.near(tuple(known.published["ird_ci90"]))


def test_agrees_with_statsmodels():
    strata = [(3, 20, 5, 25), (0, 8, 2, 11), (9, 10, 4, 30)]
    tables = [np.array([[a, n - a], [c, m - c]], dtype=float) for a, n, c, m in strata]
    known, found = StratifiedTable(tables), pooled_odds_ratio(**columns(strata))
    assert found.value == pytest.approx(known.oddsratio_pooled, rel=1e-12)
    assert limits(found) == pytest.approx(known.oddsratio_pooled_confint(), rel=1e-8)
    assert pooled_risk_ratio(**columns(strata)).value == pytest.approx(known.riskratio_pooled, rel=1e-12)
    test, expected = mantel_haenszel_test(**columns(strata)), known.test_null_odds()
    assert (test.statistic, test.p_value) == pytest.approx((expected.statistic, expected.pvalue), rel=1e-8)


def test_sato_variance_of_expected_counts_is_the_true_variance():
    """It is linear in each arm's count, so at the expected counts of a common difference it must be exact."""
    n1, n2, p2, difference = np.array([10, 40]), np.array([30, 25]), np.array([0.1, 0.6]), 0.2
    p1, weights = p2 + difference, n1 * n2 / (n1 + n2)
    expected1, expected2 = np.round(n1 * p1), np.round(n2 * p2)  # whole, but for rounding
    found = pooled_risk_difference(
        events=expected1, totals=n1, reference_events=expected2, reference_totals=n2
    )
    variance = np.sum(weights**2 * (p1 * (1 - p1) / n1 + p2 * (1 - p2) / n2)) / weights.sum() ** 2
    reach = 1.959963984540054 * np.sqrt(variance)
    assert [found.value, *limits(found)] == pytest.approx([0.2, 0.2 - reach, 0.2 + reach], abs=1e-12)


def test_one_stratum_is_the_plain_comparison():
    strata = columns([(7, 34, 3, 30)])
    arms = {"events": 7, "total": 34, "reference_events": 3, "reference_total": 30}
    assert pooled_risk_ratio(**strata).value == pytest.approx(risk_ratio(**arms).value)
    assert pooled_odds_ratio(**strata).value == pytest.approx(odds_ratio(**arms).value)
    assert pooled_risk_difference(**strata).value == pytest.approx(risk_difference(**arms).value)


arm = st.integers(1, 40).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n)))
tables = st.lists(st.tuples(arm, arm).map(lambda t: (*t[0], *t[1])), min_size=1, max_size=8)
exposures = st.lists(
    st.tuples(st.integers(0, 30), st.floats(1, 500), st.integers(0, 30), st.floats(1, 500)),
    min_size=1,
    max_size=8,
)


def assert_swapped(there, back, ratio):
    if None in (there.lower, back.lower):
        assert (there.lower, back.lower) == (None, None)
        assert there.note
    elif ratio:
        assert limits(there) == pytest.approx((1 / back.upper, 1 / back.lower), rel=1e-9)
    else:
        assert limits(there) == pytest.approx((-back.upper, -back.lower), abs=1e-9)
    if there.lower is not None:
        assert there.lower <= there.value <= there.upper


@pytest.mark.parametrize("function", RISKS)
@PROPERTY
@given(strata=tables)
def test_swapping_the_arms_of_risks(strata, function):
    there = function(**columns(strata))
    back = function(**columns([(c, m, a, n) for a, n, c, m in strata]))
    assert_swapped(there, back, ratio=function is not pooled_risk_difference)


@pytest.mark.parametrize("function", RATES)
@PROPERTY
@given(strata=exposures)
def test_swapping_the_arms_of_rates(strata, function):
    there = function(**rate_columns(strata))
    back = function(**rate_columns([(c, m, a, n) for a, n, c, m in strata]))
    assert_swapped(there, back, ratio=function is pooled_rate_ratio)


@pytest.mark.parametrize("function", RISKS)
@PROPERTY
@given(strata=tables, random=st.randoms(use_true_random=False))
def test_order_of_strata_does_not_matter(strata, random, function):
    first = function(**columns(strata))
    second = function(**columns(random.sample(strata, len(strata))))
    assert (first.value is None) == (second.value is None)
    if first.lower is not None:
        assert [first.value, *limits(first)] == pytest.approx(
            [second.value, *limits(second)], abs=1e-9, rel=1e-9
        )


@PROPERTY
@given(strata=exposures, factor=st.floats(0.01, 100))
def test_the_unit_of_time_does_not_matter(strata, factor):
    scaled = [(a, t * factor, c, u * factor) for a, t, c, u in strata]
    first, second = (pooled_rate_difference(**rate_columns(s)) for s in (strata, scaled))
    assert first.value == pytest.approx(second.value * factor, rel=1e-9, abs=1e-9)
    first, second = (pooled_rate_ratio(**rate_columns(s)) for s in (strata, scaled))
    if first.lower is not None:
        assert limits(first) == pytest.approx(limits(second), rel=1e-9)


@pytest.mark.parametrize("function", RISKS)
def test_a_stratum_with_an_empty_arm_is_left_out_and_counted(function):
    strata = [(3, 20, 5, 25), (4, 9, 2, 11)]
    plain, padded = function(**columns(strata)), function(**columns([*strata, (2, 6, 0, 0)]))
    assert (padded.value, *limits(padded)) == (plain.value, *limits(plain))
    assert (padded.strata, padded.events) == (2, 7)
    assert padded.note == "1 strata with an empty arm left out"


@pytest.mark.parametrize("function", RISKS)
def test_nothing_to_pool(function):
    found = function(**columns([(2, 6, 0, 0)]))
    assert (found.value, *limits(found)) == (None, None, None)
    assert found.note


@pytest.mark.parametrize("function", RATES)
def test_no_rates_to_pool(function):
    found = function(**rate_columns([(2, 6.0, 0, 0.0)]))
    assert (found.value, *limits(found)) == (None, None, None)


def test_no_event_has_a_difference_of_0_without_limits():
    found = pooled_risk_difference(**columns([(0, 6, 0, 9)]))
    assert (found.value, *limits(found)) == (0.0, None, None)
    assert mantel_haenszel_test(**columns([(0, 6, 0, 9)])).p_value is None


@pytest.mark.parametrize(
    ("function", "strata", "value"),
    [
        (pooled_risk_difference, [(5, 5, 5, 5)], 0.0),
        (pooled_risk_difference, [(5, 5, 0, 5), (4, 4, 0, 6)], 1.0),
        (pooled_risk_ratio, [(5, 5, 5, 5)], 1.0),
        (pooled_odds_ratio, [(5, 5, 5, 5)], None),
        (pooled_odds_ratio, [(0, 5, 2, 5), (3, 4, 4, 4)], 0.0),
    ],
)
def test_all_or_none_in_every_stratum_is_not_called_no_event(function, strata, value):
    found = function(**columns(strata))
    assert (found.value, *limits(found)) == (value, None, None)
    assert found.note == ALL_OR_NONE


@pytest.mark.parametrize("function", RISKS)
def test_no_event_at_all_is_called_so(function):
    found = function(**columns([(0, 6, 0, 9), (0, 2, 0, 3)]))
    assert limits(found) == (None, None)
    assert found.note == NO_EVENTS


@pytest.mark.parametrize("function", [pooled_risk_ratio, pooled_odds_ratio])
def test_no_event_in_one_arm_has_no_limits_of_a_ratio(function):
    assert function(**columns([(0, 6, 2, 9)])).note == NO_LIMITS
    assert function(**columns([(2, 6, 0, 9)])).note == NO_LIMITS


@pytest.mark.parametrize(
    ("strata", "parameter"),
    [
        ({"events": [1, 2]}, "totals"),
        ({"events": [11]}, "events"),
        ({"events": [-1]}, "events"),
        ({"reference_events": [11]}, "reference_events"),
        ({"totals": [0]}, "events"),
        ({"totals": [float("nan")]}, "totals"),
        ({"totals": [10.5]}, "totals"),
        ({"reference_totals": [float("inf")]}, "reference_totals"),
        ({"events": [0.5]}, "events"),
    ],
)
@pytest.mark.parametrize("function", RISKS)
def test_errors_name_the_parameter(strata, parameter, function):
    with pytest.raises(EstimatorError) as caught:
        function(**(columns([(1, 10, 2, 10)]) | strata))
    assert caught.value.parameter == parameter


@pytest.mark.parametrize(
    ("strata", "parameter"),
    [
        ({"times": [float("inf")]}, "times"),
        ({"reference_times": [float("nan")]}, "reference_times"),
        ({"times": [-1.0]}, "times"),
        ({"times": [0.0]}, "events"),
        ({"events": [0.5]}, "events"),
    ],
)
@pytest.mark.parametrize("function", RATES)
def test_errors_name_the_parameter_of_rates(strata, parameter, function):
    with pytest.raises(EstimatorError) as caught:
        function(**(rate_columns([(1, 10.5, 2, 20.0)]) | strata))
    assert caught.value.parameter == parameter
