import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from outcomes.estimators.base import EstimatorError
from outcomes.estimators.curves import area_under, first_usable, probability_limits
from tests.outcomes.estimators.times_data import PROPERTY, inputs, near, published

TRANSFORMS = ["plain", "log", "log-log", "logit", "arcsine"]
shares = st.floats(0.0, 1.0)


def test_published_log_log_limits_of_an_incidence():
    known = inputs("cif-ci-pintilie")
    value, error = np.array([known["F"]]), np.sqrt([known["var"]])
    found = np.concatenate(probability_limits(value, error, level=0.95, transform="log-log"))
    assert found == near("cif-ci-pintilie", published("cif-ci-pintilie"))


@pytest.mark.parametrize("transform", TRANSFORMS)
@PROPERTY
@given(value=shares, error=shares, level=st.floats(0.5, 0.999))
def test_limits_enclose_the_value_and_are_never_nan(transform, value, error, level):
    lower, upper = probability_limits(np.array([value]), np.array([error]), level=level, transform=transform)
    assert 0.0 <= lower[0] <= value + 1e-12
    assert value - 1e-12 <= upper[0] <= 1.0


@pytest.mark.parametrize("transform", ["plain", "logit", "arcsine"])
def test_symmetric_transforms_mirror_a_probability(transform):
    value, error = np.array([0.2, 0.6]), np.array([0.05, 0.1])
    lower, upper = probability_limits(value, error, level=0.9, transform=transform)
    mirrored = probability_limits(1.0 - value, error, level=0.9, transform=transform)
    assert np.allclose([1.0 - upper, 1.0 - lower], mirrored, atol=1e-12)


def test_refusals_name_the_parameter():
    half = np.array([0.5])
    with pytest.raises(EstimatorError, match="transform"):
        probability_limits(half, half, level=0.95, transform="probit")
    with pytest.raises(EstimatorError, match="level"):
        probability_limits(half, half, level=1.0, transform="log")


def test_only_small_risk_sets_before_the_largest_are_left_out():
    assert first_usable(np.array([1, 5, 2, 9, 7, 1]), 4) == 3
    assert first_usable(np.array([9, 7, 1]), 4) == 0
    assert first_usable(np.array([2, 9]), 0) == 0
    with pytest.raises(EstimatorError, match="minimum_at_risk"):
        first_usable(np.array([1, 3]), 4)


def test_area_under_a_step_curve():
    times, values = np.array([2.0, 5.0]), np.array([0.5, 0.25])
    assert area_under(times, values, start=1.0, tau=6.0) == pytest.approx(2 + 1.5 + 0.25)
    assert area_under(times, values, start=1.0, tau=2.0) == pytest.approx(2.0)
