import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from outcomes.estimators.base import EstimatorError
from outcomes.estimators.order import hodges_lehmann_shift, quantile, quartiles, rank_sum_distribution
from tests.outcomes.estimators.published_counts import PROPERTY, example, limits

hours = st.lists(st.integers(0, 500).map(lambda minutes: minutes / 4), min_size=1, max_size=60)


def test_published_90th_percentile_is_type_6():
    known = example("quantile-nist-90")
    assert quantile(**known.inputs, kind="type 6").value == known.near(known.published)
    assert quantile(**known.inputs).value == pytest.approx(95.19568, abs=5e-6)


def test_published_shift():
    known = example("wilcoxon-permeability")
    found = hodges_lehmann_shift(**known.inputs)
    assert found.value == known.near(known.published["hl"])
    assert limits(found) == known.near(tuple(known.published["ci"]))
    x, y = (np.array(v) for v in known.inputs.values())
    wins = int(np.sum(x[:, None] > y[None, :]))
    assert wins == known.published["W"]
    one_sided = rank_sum_distribution(x.size, y.size)[wins:].sum()
    assert one_sided == known.near(known.published["p_one"])
    assert 2 * one_sided == known.near(known.published["p_two"])


@pytest.mark.parametrize(("m", "n"), [(1, 1), (1, 7), (4, 3), (9, 12)])
def test_rank_sum_distribution_agrees_with_scipy(m, n):
    chances = rank_sum_distribution(m, n)
    x = np.arange(m, dtype=float)
    for wins in (0, m * n // 2, m * n):
        # Place the other arm so that exactly this many pairs are won.
        share, rest = divmod(wins, n)
        y = np.concatenate([np.full(rest, m - share - 1.5), np.full(n - rest, m - share - 0.5)])
        y += np.linspace(0, 1e-3, n)
        known = stats.mannwhitneyu(x, y, alternative="greater", method="exact")
        assert known.statistic == wins
        assert chances[wins:].sum() == pytest.approx(known.pvalue, rel=1e-12)
    assert chances.sum() == pytest.approx(1.0)
    np.testing.assert_allclose(chances, chances[::-1])


def test_shift_limits_are_where_the_rank_test_stops_rejecting():
    random = np.random.default_rng(7)
    x, y = random.normal(1.0, 1.0, 14), random.normal(0.0, 1.0, 11)
    found = hodges_lehmann_shift(x, y)
    for limit, inside in ((found.lower, 1e-9), (found.upper, -1e-9)):
        kept = stats.mannwhitneyu(x - limit - inside, y, method="exact").pvalue
        left = stats.mannwhitneyu(x - limit + inside, y, method="exact").pvalue
        assert left <= 0.05 < kept


def test_large_samples_use_the_normal_approximation():
    random = np.random.default_rng(3)
    x, y = random.normal(1.0, 1.0, 51), random.normal(0.0, 1.0, 50)
    approximate = hodges_lehmann_shift(x, y)
    exact = hodges_lehmann_shift(x[:50], y)
    assert approximate.method == "Hodges-Lehmann, normal approximation"
    assert approximate.covered is None
    assert exact.method == "Hodges-Lehmann, exact"
    assert 0.95 <= exact.covered < 0.951
    assert limits(approximate) == pytest.approx(limits(exact), abs=0.1)


@PROPERTY
@given(hours, hours)
def test_swapping_the_arms_swaps_the_sign(x, y):
    there, back = hodges_lehmann_shift(x, y), hodges_lehmann_shift(y, x)
    assert there.value == -back.value
    assert (there.lower is None) == (back.lower is None)
    if there.lower is not None:
        assert limits(there) == (-back.upper, -back.lower)
        assert there.lower <= there.value <= there.upper


@PROPERTY
@given(hours, hours, st.integers(-50, 50))
def test_moving_an_arm_moves_the_shift(x, y, move):
    moved = hodges_lehmann_shift([v + move for v in x], y)
    assert moved.value == hodges_lehmann_shift(x, y).value + move


@pytest.mark.parametrize("kind", ["type 6", "type 7"])
@PROPERTY
@given(values=hours, probability=st.floats(0.01, 0.99))
def test_quantile_lies_among_the_values_and_its_limits(values, probability, kind):
    found = quantile(values, probability=probability, kind=kind)
    assert min(values) <= found.value <= max(values)
    if found.lower is not None:
        assert found.lower in values
    if found.upper is not None:
        assert found.upper in values
    if found.covered is not None:
        assert found.covered >= 0.95 - 1e-9
    assert (found.covered is None) == bool(found.note)


def test_median_limits_of_ten_values_are_the_second_and_ninth():
    """P(2 ≤ count ≤ 8) of 10 fair coins is 1002/1024; one value closer would cover 912/1024."""
    found = quantile(range(1, 11))
    assert (found.value, *limits(found)) == (5.5, 2.0, 9.0)
    assert found.covered == pytest.approx(1002 / 1024)


def test_a_tail_equal_to_its_limit_is_within_it():
    """3 against 3 values: 1 of 20 arrangements in each tail, so the whole range covers exactly 90 %."""
    shift = hodges_lehmann_shift([1.0, 2.0, 3.0], [10.0, 20.0, 30.0], level=0.9)
    assert limits(shift) == (-29.0, -7.0)
    assert shift.covered == pytest.approx(0.9)
    # No value of four lies below the 20 % quantile with chance 0.8⁴ = 0.4096 = (1 - 0.1808)/2.
    assert quantile([1.0, 2.0, 3.0, 4.0], probability=0.2, level=0.1808).lower == 1.0


def test_small_samples_have_no_limits():
    found = quantile([3.0, 1.0, 2.0, 5.0, 4.0])
    assert (found.value, *limits(found)) == (3.0, None, None)
    assert found.note
    shift = hodges_lehmann_shift([1.0, 2.0], [3.0, 5.0])
    assert (shift.value, *limits(shift), shift.covered) == (-2.5, None, None, None)
    assert shift.note


@pytest.mark.parametrize("values", [[], [1.0, math.nan], [math.inf], [[1.0]]])
def test_errors_name_the_sample(values):
    with pytest.raises(EstimatorError, match=r"^values:"):
        quantile(values)
    with pytest.raises(EstimatorError, match=r"^reference_values:"):
        hodges_lehmann_shift([1.0], values)


def test_errors_name_the_probability_and_the_level():
    with pytest.raises(EstimatorError, match=r"^probability:"):
        quantile([1.0], probability=1.0)
    with pytest.raises(EstimatorError, match=r"^level:"):
        hodges_lehmann_shift([1.0], [1.0], level=1.0)


@given(hours)
def test_quartiles_are_the_quantiles_at_a_quarter_a_half_and_three_quarters(values):
    found = quartiles(values)
    assert found.observations == len(values)
    for number, share in ((found.first, 0.25), (found.median, 0.5), (found.third, 0.75)):
        assert number == pytest.approx(quantile(values, probability=share).value)


def test_quartiles_refuse_nothing_and_infinity():
    for values in ([], [1.0, math.inf]):
        with pytest.raises(EstimatorError, match="values"):
            quartiles(values)
