import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.stats.proportion import confint_proportions_2indep

from outcomes.estimators.base import EstimatorError
from outcomes.estimators.ratios import odds_ratio, odds_ratio_limits, risk_ratio, risk_ratio_limits
from tests.outcomes.estimators.published_counts import PROPERTY, example, limits

arm = st.integers(1, 150).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n)))
KINDS = [
    (risk_ratio, "Koopman"),
    (risk_ratio, "Miettinen-Nurminen"),
    (odds_ratio, "score"),
    (odds_ratio, "Miettinen-Nurminen"),
]
kinds = pytest.mark.parametrize(("function", "method"), KINDS)


def compare(function, first, second, **options):
    return function(
        events=first[0], total=first[1], reference_events=second[0], reference_total=second[1], **options
    )


@pytest.mark.parametrize(
    ("name", "function"), [("rr-mn-fagerland2013", risk_ratio), ("or-mn-fagerland2013", odds_ratio)]
)
def test_published_limits_with_an_arm_at_100_percent(name, function):
    known = example(name)
    for (x1, n1, x2, n2), expected in zip(known.inputs["rows"], known.published, strict=True):
        found = compare(function, (x1, n1), (x2, n2), method="Miettinen-Nurminen")
        assert limits(found) == known.near(tuple(expected))


def test_published_koopman_limits():
    known = example("rr-koopman-perondi")
    assert limits(risk_ratio(**known.inputs)) == known.near(tuple(known.published))


def test_published_odds_ratio_limits_with_an_empty_cell():
    known = example("or-score-zero-cell")
    found = odds_ratio(**known.inputs, method="score")
    assert found.value == 0.0
    assert limits(found) == known.near(tuple(known.published))


def test_published_points():
    known = example("rr-katz-perondi")
    assert risk_ratio(**known.inputs).value == known.near(known.published)
    known = example("rr-rd-rothman-diarrhoea")
    assert risk_ratio(**known.inputs).value == known.near(known.published["rr"])
    known = example("strata-tolbutamide-crude")
    for stratum, ratio in zip(known.inputs["strata"], known.published["rr"], strict=True):
        assert risk_ratio(**stratum).value == known.near(ratio)
    crude = {key: sum(s[key] for s in known.inputs["strata"]) for key in known.inputs["strata"][0]}
    assert risk_ratio(**crude).value == known.near(known.published["crude_rr"])


@pytest.mark.parametrize(
    ("first", "second"), [((7, 34), (1, 34)), ((20, 61), (33, 70)), ((3, 9), (150, 400))]
)
@pytest.mark.parametrize(
    ("function", "method", "name", "correction"),
    [
        (risk_ratio, "Koopman", "ratio", False),
        (risk_ratio, "Miettinen-Nurminen", "ratio", True),
        (odds_ratio, "score", "odds-ratio", False),
        (odds_ratio, "Miettinen-Nurminen", "odds-ratio", True),
    ],
)
def test_agrees_with_statsmodels_away_from_0_and_100_percent(
    first, second, function, method, name, correction
):
    known = confint_proportions_2indep(*first, *second, method="score", compare=name, correction=correction)
    assert limits(compare(function, first, second, method=method)) == pytest.approx(known, rel=1e-8)


@kinds
@PROPERTY
@given(first=arm, second=arm)
def test_swapping_the_arms_inverts(first, second, function, method):
    there = compare(function, first, second, method=method)
    back = compare(function, second, first, method=method)
    inverted = [math.inf if v == 0 else 0.0 if v == math.inf else 1 / v for v in (back.upper, back.lower)]
    assert list(limits(there)) == pytest.approx(inverted, rel=1e-8)
    if there.value is not None:
        assert there.lower <= there.value * (1 + 1e-12)
        assert there.value <= there.upper * (1 + 1e-12)


@PROPERTY
@given(first=arm, second=arm)
def test_swapping_event_and_no_event_inverts_the_odds_ratio(first, second):
    there = compare(odds_ratio, first, second)
    other = compare(odds_ratio, (first[1] - first[0], first[1]), (second[1] - second[0], second[1]))
    inverted = [math.inf if v == 0 else 0.0 if v == math.inf else 1 / v for v in (other.upper, other.lower)]
    assert list(limits(there)) == pytest.approx(inverted, rel=1e-8)


@kinds
def test_ends_are_open_only_where_an_arm_is_empty_of_events(function, method):
    found = compare(function, (3, 20), (0, 20), method=method)
    assert found.value is None
    assert found.upper == math.inf
    assert 0 < found.lower < math.inf
    assert "reference" in found.note
    found = compare(function, (0, 20), (3, 20), method=method)
    assert (found.value, found.lower) == (0.0, 0.0)
    assert 0 < found.upper < math.inf


@kinds
def test_no_event_at_all_says_nothing(function, method):
    found = compare(function, (0, 5), (0, 8), method=method)
    assert (found.value, *limits(found)) == (None, 0.0, math.inf)


def test_all_events_bound_the_risk_ratio_but_not_the_odds_ratio():
    """At 100 % in both arms the score equation is linear: lower limit n1/(n1 + z²), upper (n2 + z²)/n2."""
    z2 = 1.959963984540054**2
    found = compare(risk_ratio, (9, 9), (11, 11))
    assert (found.value, *limits(found)) == pytest.approx((1.0, 9 / (9 + z2), (11 + z2) / 11), rel=1e-12)
    found = compare(odds_ratio, (9, 9), (11, 11))
    assert (found.value, *limits(found)) == (None, 0.0, math.inf)


@pytest.mark.parametrize("function", [risk_ratio_limits, odds_ratio_limits])
def test_limits_rise_with_the_events_of_the_arm(function):
    lower, upper = function(events=np.arange(13), totals=12, reference_events=4, reference_totals=15)
    assert (np.diff(lower) > 0).all()
    assert (np.diff(upper[np.isfinite(upper)]) > 0).all()


@pytest.mark.parametrize(
    ("change", "parameter"),
    [
        ({"total": 0, "events": 0}, "total"),
        ({"reference_total": 0, "reference_events": 0}, "reference_total"),
        ({"events": 11}, "events"),
        ({"reference_events": -1}, "reference_events"),
        ({"level": 1.0}, "level"),
    ],
)
@kinds
def test_errors_name_the_parameter(change, parameter, function, method):
    counts = {"events": 1, "total": 10, "reference_events": 2, "reference_total": 10}
    with pytest.raises(EstimatorError) as caught:
        function(**(counts | change), method=method)
    assert caught.value.parameter == parameter
