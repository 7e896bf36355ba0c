import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import optimize, stats

from outcomes.estimators.base import EstimatorError
from outcomes.estimators.proportions import (
    clopper_pearson_limits,
    mid_p_limits,
    proportion,
    wilson_cc_limits,
    wilson_limits,
)
from tests.outcomes.estimators.published_counts import PROPERTY, example, limits, names

METHODS = ["Wilson", "Wilson, continuity-corrected", "Clopper-Pearson", "mid-P"]
SHORT_NAMES = {
    "prop-wilson-": "Wilson",
    "prop-wilsoncc-": "Wilson, continuity-corrected",
    "prop-exact-": "Clopper-Pearson",
    "prop-midp-": "mid-P",
}
counts = st.integers(1, 400).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n)))


@pytest.mark.parametrize(
    ("name", "method"), [(name, method) for prefix, method in SHORT_NAMES.items() for name in names(prefix)]
)
def test_published_limits(name, method):
    known = example(name)
    assert limits(proportion(**known.inputs, method=method)) == known.near(tuple(known.published))


def test_published_limits_of_13_in_16():
    known = example("prop-fll-13-16")
    published = dict(zip(["wilson", "wilson_cc", "clopper_pearson", "mid_p"], METHODS, strict=True))
    for name, method in published.items():
        assert limits(proportion(**known.inputs, method=method)) == known.near(tuple(known.published[name]))


def test_published_90_percent_limits():
    known = example("prop-nist-exact-90")
    found = proportion(events=4, total=20, level=known.inputs["conf"], method="Clopper-Pearson")
    assert limits(found) == known.near(tuple(known.published))


def test_textbook_wilson_limits():
    known = example("prop-altman-81-263")
    assert limits(proportion(**known.inputs)) == known.near(tuple(known.published))


def test_one_sided_limit_after_no_event():
    known = example("rule-of-three-eypasch")
    for total, exact, rule in zip(known.inputs["totals"], *reversed(known.published.values()), strict=True):
        upper = proportion(events=0, total=total, level=0.90, method="Clopper-Pearson").upper
        assert upper == known.near(exact)
        assert upper == pytest.approx(rule, rel=0.02)


def test_wilson_covers_where_the_wald_interval_does_not():
    known = example("prop-coverage-bcd")
    for case, wald, wilson in zip(known.inputs["cases"], *known.published.values(), strict=True):
        x, n, p = np.arange(case["n"] + 1), case["n"], case["p"]
        chances = stats.binom.pmf(x, n, p)
        lower, upper = wilson_limits(x, np.full_like(x, n))
        assert chances[(lower <= p) & (p <= upper)].sum() == known.near(wilson)
        reach = stats.norm.ppf(0.975) * np.sqrt(x / n * (1 - x / n) / n)
        assert chances[np.abs(x / n - p) <= reach].sum() == known.near(wald)


@pytest.mark.parametrize("level", [0.80, 0.95, 0.999])
@pytest.mark.parametrize(
    ("function", "name"),
    [(wilson_limits, "wilson"), (wilson_cc_limits, "wilsoncc"), (clopper_pearson_limits, "exact")],
)
def test_agrees_with_scipy(function, name, level):
    cells = [(0, 1), (1, 1), (0, 25), (3, 25), (25, 25), (120, 999), (998, 999)]
    lower, upper = function(*zip(*cells, strict=True), level)
    for i, (events, total) in enumerate(cells):
        known = stats.binomtest(events, total).proportion_ci(level, name)
        assert (lower[i], upper[i]) == pytest.approx(tuple(known), abs=1e-12)


@pytest.mark.parametrize(("events", "total"), [(1, 3), (7, 40), (39, 40), (150, 1000)])
def test_mid_p_limits_solve_their_definition(events, total):
    def mid_tail(p):
        return stats.binom.sf(events, total, p) + 0.5 * stats.binom.pmf(events, total, p)

    slow = [
        optimize.brentq(lambda p, t=t: mid_tail(p) - t, 1e-12, 1 - 1e-12, xtol=1e-14) for t in (0.025, 0.975)
    ]
    assert limits(proportion(events=events, total=total, method="mid-P")) == pytest.approx(slow, abs=1e-10)


def test_mid_p_limit_after_no_event_has_a_closed_form():
    """0.5·(1 - p)^n = 0.025."""
    found = proportion(events=0, total=20, method="mid-P")
    assert limits(found) == pytest.approx((0.0, 1 - 0.05 ** (1 / 20)), abs=1e-14)


@pytest.mark.parametrize("method", METHODS)
@PROPERTY
@given(cell=counts)
def test_limits_hold_the_estimate_and_mirror(cell, method):
    events, total = cell
    found = proportion(events=events, total=total, method=method)
    mirrored = proportion(events=total - events, total=total, method=method)
    assert 0.0 <= found.lower <= found.value <= found.upper <= 1.0
    assert (1 - mirrored.upper, 1 - mirrored.lower) == pytest.approx(limits(found), abs=1e-9)
    assert (found.lower == 0.0, found.upper == 1.0) == (events == 0, events == total)


@pytest.mark.parametrize("function", [wilson_limits, wilson_cc_limits, clopper_pearson_limits, mid_p_limits])
@pytest.mark.parametrize("total", [1, 2, 7, 50])
def test_limits_rise_with_the_count(function, total):
    lower, upper = function(np.arange(total + 1), np.full(total + 1, total))
    assert (np.diff(lower) > 0).all()
    assert (np.diff(upper) > 0).all()


@PROPERTY
@given(cell=counts)
def test_exact_limits_enclose_mid_p(cell):
    exact, mid_p = clopper_pearson_limits(*cell), mid_p_limits(*cell)
    assert exact[0] <= mid_p[0] + 1e-12
    assert mid_p[1] <= exact[1] + 1e-12


def test_result_carries_its_inputs():
    found = proportion(events=2, total=9, level=0.9)
    assert (found.events, found.total, found.level, found.method, found.value) == (2, 9, 0.9, "Wilson", 2 / 9)


@pytest.mark.parametrize(
    ("bad", "parameter"),
    [
        ({"events": 1, "total": 0}, "total"),
        ({"events": 0, "total": -3}, "total"),
        ({"events": 4, "total": 3}, "events"),
        ({"events": -1, "total": 3}, "events"),
        ({"events": 1, "total": 3, "level": 95}, "level"),
        ({"events": 1, "total": math.nan}, "total"),
    ],
)
@pytest.mark.parametrize("method", METHODS)
def test_errors_name_the_parameter(bad, parameter, method):
    with pytest.raises(EstimatorError) as caught:
        proportion(**bad, method=method)
    assert caught.value.parameter == parameter
