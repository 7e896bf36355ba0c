import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.stats.multitest import multipletests

from outcomes.estimators.base import EstimatorError
from outcomes.estimators.multiplicity import holm
from tests.outcomes.estimators.published_counts import PROPERTY, example


def adjusted(p_values):
    named = {f"question {i}": p for i, p in enumerate(p_values)}
    return list(holm(named, family="complications").adjusted.values())


def test_reference_values():
    known = example("holm-small")
    for given_, expected in zip(known.inputs["sets"], known.published, strict=True):
        assert adjusted(given_) == known.near(expected)


@settings(PROPERTY, max_examples=15)
@given(st.lists(st.floats(0, 1), min_size=1, max_size=15))
def test_agrees_with_statsmodels(p_values):
    known = multipletests(p_values, method="holm")[1]
    assert adjusted(p_values) == pytest.approx(known.tolist(), abs=1e-12)


def test_rejects_by_the_level():
    family = holm({"stroke": 0.01, "bleeding": 0.04, "infection": 0.03}, family="complications")
    assert family.rejected() == ("stroke",)
    assert family.rejected(level=0.90) == ("stroke", "bleeding", "infection")
    assert family.raw["bleeding"] == 0.04


def test_no_question_has_no_answer():
    assert holm({}, family="complications").adjusted == {}


@pytest.mark.parametrize("p", [-0.1, 1.1, float("nan")])
def test_p_values_outside_0_to_1_are_refused(p):
    with pytest.raises(EstimatorError, match=r"^p_values:.*stroke"):
        holm({"stroke": p}, family="complications")


def test_the_family_must_be_named():
    with pytest.raises(EstimatorError, match=r"^family:"):
        holm({"stroke": 0.1}, family=" ")
