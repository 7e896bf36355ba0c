import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import optimize
from statsmodels.stats.proportion import confint_proportions_2indep

from outcomes.estimators.base import EstimatorError
from outcomes.estimators.differences import risk_difference, risk_difference_limits
from tests.outcomes.estimators.published_counts import PROPERTY, example, limits, names
from tests.outcomes.estimators.test_scores import best, slope

SHORT_NAMES = {
    "rd-newcombe10-": "Newcombe",
    "rd-newcombe11-": "Newcombe, continuity-corrected",
    "rd-mn-": "Miettinen-Nurminen",
    "rd-mee-": "Mee",
}
METHODS = list(SHORT_NAMES.values())
arm = st.integers(1, 150).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n)))


def compare(first, second, method="Newcombe", level=0.95):
    return risk_difference(
        events=first[0],
        total=first[1],
        reference_events=second[0],
        reference_total=second[1],
        method=method,
        level=level,
    )


@pytest.mark.parametrize(
    ("name", "method"), [(name, method) for prefix, method in SHORT_NAMES.items() for name in names(prefix)]
)
def test_published_limits(name, method):
    known = example(name)
    assert limits(risk_difference(**known.inputs, method=method)) == known.near(tuple(known.published))


def test_published_limits_of_7_in_34_against_1_in_34():
    known = example("rd-fll-perondi")
    for name, method in (("newcombe", "Newcombe"), ("mee", "Mee")):
        found = risk_difference(**known.inputs, method=method)
        assert limits(found) == known.near(tuple(known.published[name]))


def test_published_points():
    known = example("rr-rd-rothman-diarrhoea")
    assert risk_difference(**known.inputs).value == known.near(known.published["rd"])
    known = example("strata-tolbutamide-crude")
    for stratum, difference in zip(known.inputs["strata"], known.published["rd"], strict=True):
        assert risk_difference(**stratum).value == known.near(difference)
    crude = {key: sum(s[key] for s in known.inputs["strata"]) for key in known.inputs["strata"][0]}
    assert risk_difference(**crude).value == known.near(known.published["crude_rd"])


@pytest.mark.parametrize(("first", "second"), [((7, 34), (1, 34)), ((0, 12), (5, 60)), ((30, 30), (11, 25))])
def test_newcombe_agrees_with_statsmodels(first, second):
    known = confint_proportions_2indep(*first, *second, method="newcomb", compare="diff", alpha=0.1)
    assert limits(compare(first, second, level=0.9)) == pytest.approx(known, abs=1e-10)


@pytest.mark.parametrize(
    ("first", "second"), [((7, 34), (1, 34)), ((0, 12), (5, 60)), ((30, 30), (11, 25)), ((4, 9), (200, 410))]
)
def test_score_limits_solve_their_definition(first, second):
    """A second, slow way: search the likelihood for the restricted fit, then the score for its root."""
    (x1, n1), (x2, n2) = first, second

    def score(difference):
        p2 = best(
            lambda p: slope(x1, n1, p + difference) + slope(x2, n2, p),
            max(0, -difference),
            min(1, 1 - difference),
        )
        p1, n = p2 + difference, n1 + n2
        variance = (p1 * (1 - p1) / n1 + p2 * (1 - p2) / n2) * n / (n - 1)
        return (x1 / n1 - x2 / n2 - difference) / np.sqrt(variance)

    z, d = 1.959963984540054, x1 / n1 - x2 / n2
    slow = [
        optimize.brentq(lambda v: score(v) - z, -1 + 1e-9, d + 1e-9, xtol=1e-14),
        optimize.brentq(lambda v: score(v) + z, d - 1e-9, 1 - 1e-9, xtol=1e-14),
    ]
    assert limits(compare(first, second, "Miettinen-Nurminen")) == pytest.approx(slow, abs=1e-8)


@pytest.mark.parametrize("method", METHODS)
@PROPERTY
@given(first=arm, second=arm)
def test_swapping_the_arms_swaps_the_sign(first, second, method):
    there, back = compare(first, second, method), compare(second, first, method)
    assert (-back.upper, -back.lower) == pytest.approx(limits(there), abs=1e-8)
    assert back.value == -there.value
    assert -1 - 1e-12 <= there.lower <= there.value + 1e-12
    assert there.value - 1e-12 <= there.upper <= 1 + 1e-12


@pytest.mark.parametrize("method", METHODS)
def test_limits_rise_with_the_events_of_the_arm(method):
    lower, upper = risk_difference_limits(
        events=np.arange(13), totals=12, reference_events=4, reference_totals=15, method=method
    )
    assert (np.diff(lower) > 0).all()
    assert (np.diff(upper) > 0).all()


@pytest.mark.parametrize("method", METHODS)
@PROPERTY
@given(first=arm, second=arm)
def test_a_higher_level_widens(first, second, method):
    narrow, wide = compare(first, second, method, 0.8), compare(first, second, method, 0.99)
    assert wide.lower <= narrow.lower + 1e-9
    assert wide.upper >= narrow.upper - 1e-9


def test_many_cells_equal_one_by_one():
    cells = [((0, 1), (0, 1)), ((1, 1), (0, 1)), ((3, 9), (9, 9)), ((5, 5), (5, 5))]
    (x1, n1), (x2, n2) = (np.array([c[i] for c in cells]).T for i in (0, 1))
    for method in METHODS:
        lower, upper = risk_difference_limits(
            events=x1, totals=n1, reference_events=x2, reference_totals=n2, method=method
        )
        singles = [limits(compare(*cell, method)) for cell in cells]
        np.testing.assert_allclose(np.stack([lower, upper], axis=1), singles, atol=1e-14)


@pytest.mark.parametrize(
    ("change", "parameter"),
    [
        ({"total": 0, "events": 0}, "total"),
        ({"reference_total": 0, "reference_events": 0}, "reference_total"),
        ({"events": 11}, "events"),
        ({"reference_events": -1}, "reference_events"),
        ({"events": 1.5}, "events"),
        ({"reference_events": float("nan")}, "reference_events"),
        ({"level": 0}, "level"),
    ],
)
@pytest.mark.parametrize("method", METHODS)
def test_errors_name_the_parameter(change, parameter, method):
    counts = {"events": 1, "total": 10, "reference_events": 2, "reference_total": 10}
    with pytest.raises(EstimatorError) as caught:
        risk_difference(**(counts | change), method=method)
    assert caught.value.parameter == parameter


def test_counts_cannot_be_passed_by_position():
    with pytest.raises(TypeError):
        risk_difference(1, 10, 2, 10)


@pytest.mark.parametrize("method", ["Newcombe", "Miettinen-Nurminen", "Mee"])
def test_limits_of_expected_counts_lie_between_those_of_the_counts_beside_them(method):
    fixed = {"totals": 20, "reference_events": 5, "reference_totals": 20, "method": method}
    fewer, expected, more = (risk_difference_limits(events=x, **fixed) for x in (7, 7.4, 8))
    for low, middle, high in zip(fewer, expected, more, strict=True):
        assert low < middle < high
