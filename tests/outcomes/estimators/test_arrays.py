import numpy as np
import pytest

from outcomes.estimators import arrays
from outcomes.estimators.base import EstimatorError


@pytest.mark.parametrize(
    ("check", "values"),
    [
        (arrays.finite_vector, [1.0, np.nan]),
        (arrays.finite_vector, [[1.0]]),
        (arrays.numbers_or_nan, [np.inf]),
        (arrays.flags, [0, 2]),
        (arrays.counts, [1.5]),
        (arrays.counts, [-1]),
        (arrays.non_negative, [-0.1]),
        (arrays.two_arms, [1, 1]),
        (arrays.two_arms, [0, 0]),
    ],
)
def test_a_refusal_names_the_argument(check, values):
    with pytest.raises(EstimatorError) as refusal:
        check("rows", values)
    assert refusal.value.parameter == "rows"


def test_a_wrong_length_is_refused():
    with pytest.raises(EstimatorError, match="3 values"):
        arrays.finite_vector("rows", [1.0], length=3)


def test_a_negative_seed_is_refused():
    with pytest.raises(EstimatorError):
        arrays.check_seed(-1)


def test_missing_values_stay_missing():
    assert np.isnan(arrays.numbers_or_nan("rows", [1.0, np.nan])).tolist() == [False, True]
