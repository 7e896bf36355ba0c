import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from outcomes.estimators.base import EstimatorError
from outcomes.estimators.evalue import e_value
from tests.outcomes.estimators.published_counts import PROPERTY, example

SCALES = ["risk or rate ratio", "odds ratio, common outcome", "hazard ratio, common outcome"]


def test_published_example():
    known = example("evalue-39")
    found = e_value(
        ratio=known.inputs["rr"],
        lower=known.inputs["lo"],
        upper=known.inputs["hi"],
        scale="risk or rate ratio",
    )
    assert found.value == known.near(known.published["point"])
    assert found.limit == known.near(known.published["limit"])


def test_common_odds_ratio_counts_as_its_square_root():
    odds = e_value(ratio=4.0, lower=2.25, upper=9.0, scale="odds ratio, common outcome")
    risk = e_value(ratio=2.0, lower=1.5, upper=3.0, scale="risk or rate ratio")
    assert (odds.value, odds.limit) == pytest.approx((risk.value, risk.limit))


def test_common_hazard_ratio_is_converted_by_its_formula():
    """HR 4: (1 - 0.5²)/(1 - 0.5^0.5) = 2.5607, computed by hand from the formula."""
    risk_ratio = 0.75 / (1 - math.sqrt(0.5))
    found = e_value(ratio=4.0, lower=0.5, upper=9.0, scale="hazard ratio, common outcome")
    assert found.value == pytest.approx(risk_ratio + math.sqrt(risk_ratio * (risk_ratio - 1)))


@pytest.mark.parametrize("scale", SCALES)
@PROPERTY
@given(st.floats(0.02, 50), st.floats(1, 20), st.floats(1, 20))
def test_inverting_the_ratio_changes_nothing(scale, ratio, below, above):
    there = e_value(ratio=ratio, lower=ratio / below, upper=ratio * above, scale=scale)
    back = e_value(ratio=1 / ratio, lower=1 / ratio / above, upper=1 / ratio * below, scale=scale)
    # The square root in the formula is steep at 1, so rounding in the limits shows there.
    assert (there.value, there.limit) == pytest.approx((back.value, back.limit), abs=1e-6)
    assert 1.0 <= there.limit <= there.value + 1e-9


def test_limits_across_1_need_no_explaining():
    assert e_value(ratio=1.8, lower=0.9, upper=3.0, scale="risk or rate ratio").limit == 1.0
    assert e_value(ratio=0.4, lower=0.0, upper=math.inf, scale="risk or rate ratio").limit == 1.0


def test_open_limits_are_taken():
    found = e_value(ratio=0.4, lower=0.0, upper=0.8, scale="risk or rate ratio")
    assert found.limit == pytest.approx(1.25 + math.sqrt(1.25 * 0.25))
    assert e_value(ratio=3.0, lower=2.0, upper=math.inf, scale="risk or rate ratio").limit == (
        pytest.approx(2 + math.sqrt(2))
    )


@pytest.mark.parametrize(
    ("change", "parameter"),
    [
        ({"ratio": 0.0}, "ratio"),
        ({"ratio": math.inf}, "ratio"),
        ({"ratio": math.nan}, "ratio"),
        ({"lower": -0.1}, "lower"),
        ({"lower": 2.5}, "lower"),
        ({"upper": 1.5}, "upper"),
        ({"upper": math.nan}, "upper"),
    ],
)
def test_errors_name_the_parameter(change, parameter):
    with pytest.raises(EstimatorError) as caught:
        e_value(**({"ratio": 2.0, "lower": 1.0, "upper": 3.0} | change), scale="risk or rate ratio")
    assert caught.value.parameter == parameter
