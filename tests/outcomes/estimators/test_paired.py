import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from outcomes.estimators.base import EstimatorError
from outcomes.estimators.paired import mean_difference
from tests.outcomes.estimators.published_counts import PROPERTY, example, limits

pairs = st.lists(st.tuples(st.integers(-50, 50), st.integers(-50, 50)), min_size=3, max_size=40)


def test_published_hours_of_sleep():
    known = example("paired-sleep")
    found = mean_difference(**known.inputs)
    assert found.value == known.near(known.published["mean"])
    assert limits(found) == known.near(tuple(known.published["ci"]))
    assert found.pairs == 10


@PROPERTY
@given(pairs, st.sampled_from([0.8, 0.95, 0.99]))
def test_agrees_with_scipy(values, level):
    before, after = np.array(values, dtype=float).T
    found = mean_difference(before, after, level=level)
    assert found.standard_deviation == pytest.approx(np.std(after - before, ddof=1))
    if found.standard_deviation > 0:
        known = stats.ttest_rel(after, before).confidence_interval(level)
        assert limits(found) == pytest.approx((known.low, known.high), rel=1e-9, abs=1e-9)


@PROPERTY
@given(pairs)
def test_turned_round_it_changes_its_sign_only(values):
    before, after = np.array(values, dtype=float).T
    found, turned = mean_difference(before, after), mean_difference(after, before)
    assert (turned.value, turned.upper) == pytest.approx((-found.value, -found.lower))


def test_one_pair_has_a_mean_and_no_limits():
    found = mean_difference([30.0], [24.0])
    assert (found.value, found.lower, found.upper, found.standard_deviation) == (-6.0, None, None, None)
    assert found.note


@pytest.mark.parametrize(
    ("before", "after", "level", "parameter"),
    [
        ([], [], 0.95, "before"),
        ([1.0, math.nan], [1.0, 2.0], 0.95, "before"),
        ([1.0, 2.0], [1.0], 0.95, "after"),
        ([1.0, 2.0], [1.0, 2.0], 1.0, "level"),
    ],
)
def test_refuses_by_name(before, after, level, parameter):
    with pytest.raises(EstimatorError, match=parameter):
        mean_difference(before, after, level=level)
