import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from outcomes.estimators.balance import binary_difference, categorical_difference, continuous_difference
from outcomes.estimators.base import EstimatorError
from tests.outcomes.estimators.weighting_charts_data import PUBLISHED, table

LALONDE = PUBLISHED["smd-lalonde-treated-sd"]


@pytest.fixture(scope="module")
def lalonde():
    return table("lalonde614.csv")


@pytest.mark.parametrize("name", ["age", "educ", "re74", "re75"])
def test_published_continuous_differences(lalonde, name):
    result = continuous_difference(name, lalonde[name], lalonde["treat"], sd="treated")
    assert result.value == pytest.approx(LALONDE["published"][name], abs=LALONDE["tolerance"])
    assert result.sd_convention == "treated"


@pytest.mark.parametrize("name", ["married", "nodegree"])
def test_published_binary_differences(lalonde, name):
    result = binary_difference(name, lalonde[name], lalonde["treat"], sd="treated")
    assert result.value == pytest.approx(LALONDE["published"][name], abs=LALONDE["tolerance"])


def test_published_level_differences(lalonde):
    labels = ["black", "hispan", "white"]
    codes = lalonde["race"].map(labels.index)
    result = categorical_difference("race", codes, labels, lalonde["treat"], sd="treated")
    for level in result.levels:
        published = LALONDE["published"]["race" + level.covariate]
        assert level.value == pytest.approx(published, abs=LALONDE["tolerance"])


def _by_hand(x, arm, w):
    """Weighted means over the root of the mean weighted variance, term by term (Austin and Stuart 2015)."""
    parts = []
    for side in (True, False):
        pairs = [(v, u) for v, a, u in zip(x, arm, w, strict=True) if a == side]
        total = sum(u for _, u in pairs)
        mean = sum(u * v for v, u in pairs) / total
        squares = sum(u * u for _, u in pairs)
        parts.append((mean, total / (total**2 - squares) * sum(u * (v - mean) ** 2 for v, u in pairs)))
    return (parts[0][0] - parts[1][0]) / ((parts[0][1] + parts[1][1]) / 2.0) ** 0.5


def test_weighted_difference_agrees_with_a_plain_loop():
    random = np.random.default_rng(5)
    x, w, arm = random.normal(size=40), random.uniform(0.2, 3.0, 40), np.arange(40) % 3 == 0
    result = continuous_difference("x", x, arm, weights=w, sd="pooled weighted")
    assert result.value == pytest.approx(_by_hand(x, arm, w), abs=1e-12)
    assert result.weighted


def test_the_unweighted_denominator_stays_when_weights_change():
    random = np.random.default_rng(6)
    x, w, arm = random.normal(size=30), random.uniform(0.2, 3.0, 30), np.arange(30) % 2 == 0
    plain, weighted = (continuous_difference("x", x, arm, weights=used) for used in (None, w))
    spread = (plain.treated.mean - plain.control.mean) / plain.value
    assert weighted.value == pytest.approx((weighted.treated.mean - weighted.control.mean) / spread)


def test_categorical_distance_agrees_with_dropping_a_level():
    """Yang D, Dalton JE. SAS Global Forum 2012, paper 335: last level dropped, covariance inverted."""
    codes, arm = np.array([0] * 5 + [1] * 3 + [2] * 2 + [0] * 2 + [1] * 4 + [2] * 6), np.arange(22) < 10
    t, c = (np.bincount(codes[side], minlength=3)[:2] / side.sum() for side in (arm, ~arm))
    covariance = sum(np.diag(p) - np.outer(p, p) for p in (t, c)) / 2.0
    expected = np.sqrt((t - c) @ np.linalg.inv(covariance) @ (t - c))
    result = categorical_difference("x", codes, ["a", "b", "c"], arm)
    assert result.value == pytest.approx(expected, abs=1e-12)


def test_an_unused_level_changes_nothing():
    codes, arm = [0, 1, 0, 1, 1, 0, 1], [1, 1, 1, 1, 0, 0, 0]
    two = categorical_difference("x", codes, ["a", "b"], arm)
    three = categorical_difference("x", codes, ["a", "b", "never"], arm)
    assert three.value == pytest.approx(two.value, abs=1e-12)
    assert three.levels[2].value == 0.0


def test_missing_values_are_counted_and_compared():
    values, arm = [1.0, 2.0, np.nan, 3.0, 1.0, 2.0, 5.0, 4.0], [1, 1, 1, 1, 0, 0, 0, 0]
    result = continuous_difference("x", values, arm)
    assert (result.treated.known, result.treated.missing, result.control.missing) == (3, 1, 0)
    assert result.treated.mean == 2.0
    assert result.missing_value == pytest.approx(0.25 / np.sqrt(0.25 * 0.75 / 2.0))


def test_constant_covariates():
    arm = [1, 1, 0, 0, 0]
    equal = continuous_difference("x", [0.1] * 5, arm)
    assert (equal.value, equal.note) == (0.0, "constant and equal in both arms")
    apart = binary_difference("x", [1, 1, 0, 0, 0], arm)
    assert apart.value is None
    assert "not estimable" in apart.note
    assert categorical_difference("x", [0, 0, 1, 1, 1], ["a", "b"], arm).value is None


def test_an_arm_without_known_values():
    result = binary_difference("x", [np.nan, np.nan, 1, 0], [1, 1, 0, 0])
    assert result.value is None
    assert result.treated.mean is None
    assert categorical_difference("x", [-1, -1, 1, 0], ["a", "b"], [1, 1, 0, 0]).value is None


@pytest.mark.parametrize(
    ("call", "parameter"),
    [
        (lambda: binary_difference("x", [0, 2, 1], [1, 0, 1]), "values"),
        (lambda: continuous_difference("x", [0, 2], [1, 0, 1]), "values"),
        (lambda: continuous_difference("x", [0, 2, 1], [1, 1, 1]), "treated"),
        (lambda: continuous_difference("x", [0, 2, 1], [1, 0, 1], weights=[0, 1, 0]), "weights"),
        (lambda: continuous_difference("x", [0, 2, 1], [1, 0, 1], sd="control"), "sd"),
        (lambda: categorical_difference("x", [0, 2, 1], ["a", "b"], [1, 0, 1]), "codes"),
        (lambda: categorical_difference("x", [0, 0, 0], ["a"], [1, 0, 1]), "labels"),
    ],
)
def test_refusals_name_the_parameter(call, parameter):
    with pytest.raises(EstimatorError) as refusal:
        call()
    assert refusal.value.parameter == parameter


ROWS = st.lists(
    st.tuples(st.integers(-50, 50), st.booleans(), st.integers(0, 3), st.integers(1, 5)),
    min_size=6,
    max_size=30,
).filter(lambda rows: 2 <= sum(r[1] for r in rows) <= len(rows) - 2)


@settings(max_examples=60, deadline=None)
@given(rows=ROWS, data=st.data())
def test_row_order_swap_and_equal_weights(rows, data):
    order = data.draw(st.permutations(range(len(rows))))
    x, arm, codes, w = (np.array(column) for column in zip(*rows, strict=True))
    labels = ["a", "b", "c", "d"]
    plain = continuous_difference("x", x, arm, weights=w)
    moved = continuous_difference("x", x[order], arm[order], weights=w[order])
    swapped = continuous_difference("x", x, ~arm, weights=w)
    if plain.value is None:
        assert moved.value is None
        assert swapped.value is None
    else:
        assert moved.value == pytest.approx(plain.value, abs=1e-9)
        assert swapped.value == pytest.approx(-plain.value, abs=1e-9)
    ones = categorical_difference(
        "x", codes, labels, arm, weights=np.full(len(rows), 3.0), sd="pooled weighted"
    )
    crude = categorical_difference("x", codes, labels, arm)
    relabelled = categorical_difference("x", 3 - codes, labels[::-1], arm)
    for other in (ones, relabelled):
        assert other.value == (None if crude.value is None else pytest.approx(crude.value, abs=1e-7))
