import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import optimize, stats

from outcomes.estimators.base import EstimatorError
from outcomes.estimators.exact_tables import conditional_odds_ratio, fisher_test
from tests.outcomes.estimators.published_counts import PROPERTY, example, limits

arm = st.integers(1, 60).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n)))
TABLES = [((7, 34), (1, 34)), ((3, 4), (1, 4)), ((20, 61), (33, 70)), ((2, 200), (9, 150))]


def arms(first, second):
    return {
        "events": first[0],
        "total": first[1],
        "reference_events": second[0],
        "reference_total": second[1],
    }


def arms_of(table):
    (a, b), (c, d) = table
    return arms((a, a + b), (c, c + d))


def table_of(first, second):
    return [[first[0], first[1] - first[0]], [second[0], second[1] - second[0]]]


def test_published_tea_tasting():
    known = example("fisher-tea")
    counts = arms_of(known.inputs["table"])
    assert fisher_test(**counts).p_value == known.near(known.published["p_two_sided"])
    assert fisher_test(**counts, alternative="greater").p_value == known.near(known.published["p_greater"])
    found = conditional_odds_ratio(**counts)
    assert found.value == known.near(known.published["or_cmle"])
    assert limits(found) == known.near(tuple(known.published["or_ci"]))


def test_published_fisher_and_mid_p_values():
    known = example("fisher-midp-ritland")
    counts = arms_of(known.inputs["table"])
    assert fisher_test(**counts).p_value == known.near(known.published["fisher"])
    assert fisher_test(**counts, mid_p=True).p_value == known.near(known.published["mid_p"])


@pytest.mark.parametrize(("name", "mid_p"), [("exact", False), ("mid_p", True)])
def test_published_conditional_limits(name, mid_p):
    known = example("or-exact-cond-perondi")
    lower, upper = limits(conditional_odds_ratio(**arms_of(known.inputs["table"]), mid_p=mid_p))
    assert upper == known.near(known.published[name][1])
    assert lower == pytest.approx(known.published[name][0], abs=0.005)


@pytest.mark.parametrize(("first", "second"), TABLES)
def test_agrees_with_scipy(first, second):
    counts, table = arms(first, second), table_of(first, second)
    for alternative in ("two-sided", "greater", "less"):
        known = stats.fisher_exact(table, alternative).pvalue
        assert fisher_test(**counts, alternative=alternative).p_value == pytest.approx(known, rel=1e-9)
    known = stats.contingency.odds_ratio(table)
    found = conditional_odds_ratio(**counts)
    assert found.value == pytest.approx(known.statistic, rel=1e-8)
    assert limits(found) == pytest.approx(tuple(known.confidence_interval(0.95)), rel=1e-8)


@pytest.mark.parametrize(("first", "second"), TABLES)
def test_mid_p_limits_solve_their_definition(first, second):
    (x1, n1), (x2, n2) = first, second

    def mid_tail(log_odds_ratio):
        counts = stats.nchypergeom_fisher(n1 + n2, n1, x1 + x2, math.exp(log_odds_ratio))
        return counts.sf(x1) + 0.5 * counts.pmf(x1)

    slow = [
        math.exp(optimize.brentq(lambda v, t=t: mid_tail(v) - t, -8, 8, xtol=1e-13)) for t in (0.025, 0.975)
    ]
    assert limits(conditional_odds_ratio(**arms(first, second), mid_p=True)) == pytest.approx(slow, rel=1e-8)


@pytest.mark.parametrize("mid_p", [False, True])
@PROPERTY
@given(first=arm, second=arm)
def test_swapping_the_arms_inverts(first, second, mid_p):
    there = conditional_odds_ratio(**arms(first, second), mid_p=mid_p)
    back = conditional_odds_ratio(**arms(second, first), mid_p=mid_p)
    inverted = [math.inf if v == 0 else 0.0 if v == math.inf else 1 / v for v in (back.upper, back.lower)]
    assert list(limits(there)) == pytest.approx(inverted, rel=1e-8)
    if there.value is not None:
        assert there.lower <= there.value * (1 + 1e-9)
        assert there.value <= there.upper * (1 + 1e-9)
    p_values = [fisher_test(**a, mid_p=mid_p).p_value for a in (arms(first, second), arms(second, first))]
    assert p_values[0] == pytest.approx(p_values[1], abs=1e-9)


@PROPERTY
@given(first=arm, second=arm)
def test_doubled_tail_and_exact_limits_tell_the_same(first, second):
    p_value = fisher_test(**arms(first, second), convention="twice the smaller tail").p_value
    lower, upper = limits(conditional_odds_ratio(**arms(first, second)))
    if abs(p_value - 0.05) > 1e-6:
        assert (p_value < 0.05) == (not lower <= 1 <= upper)


def test_tables_of_equal_probability_count_whatever_their_rounding():
    """Margins 2, 8 and 3 allow three tables, of chances 56, 56 and 8 in 120: the first two are alike."""
    assert fisher_test(**arms((1, 2), (2, 8))).p_value == pytest.approx(1.0)


@PROPERTY
@given(st.integers(1, 60).flatmap(lambda n: st.tuples(st.just(n), st.integers(0, n), st.integers(0, n))))
def test_the_conventions_agree_in_arms_of_one_size(counts):
    """Then the distribution is symmetric: every table has its mirror image, whatever rounding does to it."""
    n, x1, x2 = counts
    likelihood, doubled = (
        fisher_test(**arms((x1, n), (x2, n)), convention=convention).p_value
        for convention in ("minimum likelihood", "twice the smaller tail")
    )
    assert likelihood == pytest.approx(doubled, rel=1e-9)


def test_the_conventions_can_differ_and_are_named():
    counts = arms((0, 16), (15, 72))
    likelihood, doubled = fisher_test(**counts), fisher_test(**counts, convention="twice the smaller tail")
    assert doubled.p_value > likelihood.p_value
    assert likelihood.method == "Fisher exact, two-sided by minimum likelihood"
    assert doubled.method == "Fisher exact, two-sided by twice the smaller tail"
    assert fisher_test(**counts, alternative="less", mid_p=True).method == "Fisher mid-P, less"


@pytest.mark.parametrize(
    ("first", "second", "expected"),
    [
        ((0, 5), (0, 7), (None, 0.0, math.inf)),
        ((5, 5), (7, 7), (None, 0.0, math.inf)),
        ((0, 1), (1, 1), (0.0, 0.0, pytest.approx(39.0))),
    ],
)
def test_margins_without_a_finite_odds_ratio(first, second, expected):
    found = conditional_odds_ratio(**arms(first, second))
    assert (found.value, *limits(found)) == expected
    assert bool(found.note) == (found.value is None)


def test_an_open_end_leaves_the_other_limit():
    found = conditional_odds_ratio(**arms((5, 5), (0, 7)))
    assert (found.value, found.upper) == (None, math.inf)
    assert stats.nchypergeom_fisher(12, 5, 5, found.lower).sf(4) == pytest.approx(0.025, abs=1e-10)


@pytest.mark.parametrize(
    ("change", "parameter"),
    [
        ({"total": 0, "events": 0}, "total"),
        ({"reference_total": 0, "reference_events": 0}, "reference_total"),
        ({"events": 11}, "events"),
        ({"reference_events": -1}, "reference_events"),
    ],
)
@pytest.mark.parametrize("function", [conditional_odds_ratio, fisher_test])
def test_errors_name_the_parameter(change, parameter, function):
    with pytest.raises(EstimatorError) as caught:
        function(**(arms((1, 10), (2, 10)) | change))
    assert caught.value.parameter == parameter
