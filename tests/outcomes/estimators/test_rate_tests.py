import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from outcomes.estimators.base import EstimatorError
from outcomes.estimators.rate_tests import rate_difference_test, rate_ratio_test
from outcomes.estimators.rates import rate_ratio
from tests.outcomes.estimators.published_counts import PROPERTY, example

counts, times = st.integers(0, 120), st.floats(0.5, 5000)
METHODS = ["exact conditional", "mid-P conditional", "score"]


def arms(k1, t1, k2, t2):
    return {"events": k1, "time": t1, "reference_events": k2, "reference_time": t2}


@pytest.mark.parametrize(
    ("name", "method"),
    [("exact_cond", "exact conditional"), ("cond_midp", "mid-P conditional"), ("score", "score")],
)
def test_published_one_sided_ratio_tests(name, method):
    known = example("rate-test-gu-ex1")
    found = rate_ratio_test(**known.inputs, alternative="greater", method=method)
    assert found.p_value == known.near(known.published[name])


def test_reference_two_sided_exact_test():
    known = example("rate-ratio-exact-eba")
    assert rate_ratio_test(**known.inputs).p_value == known.near(known.published["p"])


def test_published_score_tests_of_a_difference():
    known = example("rate-diff-test-ng")
    inputs = dict(known.inputs)
    for difference, (z, p_value) in zip(inputs.pop("values"), known.published["score"], strict=True):
        found = rate_difference_test(**inputs, difference=difference, alternative="greater")
        assert found.statistic == known.near(z)
        assert found.p_value == known.near(p_value)


@pytest.mark.parametrize("alternative", ["two-sided", "greater", "less"])
@pytest.mark.parametrize("row", [(11, 800.0, 21, 3011.0), (0, 10.0, 7, 30.0), (9, 10.0, 0, 30.0)])
def test_exact_test_agrees_with_scipy(row, alternative):
    k1, t1, k2, t2 = row
    share = 1.5 * t1 / (1.5 * t1 + t2)
    known = stats.binomtest(k1, k1 + k2, share, alternative).pvalue
    found = rate_ratio_test(**arms(*row), ratio=1.5, alternative=alternative)
    assert found.p_value == pytest.approx(known, rel=1e-9)


@PROPERTY
@given(counts, times, counts, times)
def test_doubled_tail_and_exact_limits_tell_the_same(k1, t1, k2, t2):
    p_value = rate_ratio_test(**arms(k1, t1, k2, t2), convention="twice the smaller tail").p_value
    found = rate_ratio(**arms(k1, t1, k2, t2), method="exact conditional")
    if abs(p_value - 0.05) > 1e-6:
        assert (p_value < 0.05) == (not found.lower <= 1 <= found.upper)


@pytest.mark.parametrize("method", METHODS)
@PROPERTY
@given(counts, times, counts, times)
def test_swapping_the_arms_keeps_the_two_sided_p_value(method, k1, t1, k2, t2):
    there = rate_ratio_test(**arms(k1, t1, k2, t2), method=method)
    back = rate_ratio_test(**arms(k2, t2, k1, t1), method=method)
    if there.p_value is None:
        assert (back.p_value, k1 + k2) == (None, 0)
    else:
        assert there.p_value == pytest.approx(back.p_value, abs=1e-9)
        assert 0.0 <= there.p_value <= 1.0


@PROPERTY
@given(counts, times, counts, times)
def test_no_difference_is_a_ratio_of_1(k1, t1, k2, t2):
    """Both score tests then use the same pooled rate."""
    difference, ratio = (
        rate_difference_test(**arms(k1, t1, k2, t2)),
        rate_ratio_test(**arms(k1, t1, k2, t2), method="score"),
    )
    if k1 + k2:
        assert difference.statistic == pytest.approx(ratio.statistic, rel=1e-8, abs=1e-8)


def test_no_event_has_no_score_test():
    found = rate_difference_test(**arms(0, 10.0, 0, 20.0))
    assert (found.statistic, found.p_value) == (None, None)
    assert found.note
    assert rate_ratio_test(**arms(0, 10.0, 0, 20.0)).p_value == 1.0


def test_method_names_the_convention():
    assert rate_ratio_test(**arms(1, 1.0, 2, 1.0)).method == (
        "conditional exact, two-sided by minimum likelihood"
    )


@pytest.mark.parametrize(
    ("change", "parameter"),
    [({"time": 0.0}, "time"), ({"reference_events": -1}, "reference_events"), ({"ratio": 0.0}, "ratio")],
)
def test_errors_name_the_parameter(change, parameter):
    with pytest.raises(EstimatorError) as caught:
        rate_ratio_test(**(arms(1, 10.0, 2, 10.0) | change))
    assert caught.value.parameter == parameter
