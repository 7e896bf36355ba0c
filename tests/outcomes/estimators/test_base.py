import numpy as np
import pytest

from outcomes.estimators.base import (
    EstimatorError,
    check_count,
    check_level,
    check_positive,
    two_sided_z,
)


def test_error_names_the_parameter_and_the_rule():
    error = EstimatorError("total", "must be above zero")
    assert (error.parameter, error.rule) == ("total", "must be above zero")
    assert str(error) == "total: must be above zero"


@pytest.mark.parametrize("level", [0.0, 1.0, -0.1, 95, float("nan")])
def test_level_outside_0_and_1_is_refused(level):
    with pytest.raises(EstimatorError, match=r"^level:"):
        check_level(level)


@pytest.mark.parametrize("count", [-1, -1.0, np.int64(-1), [0, -1]])
def test_negative_counts_are_refused(count):
    with pytest.raises(EstimatorError, match=r"^events: must be a finite number of zero or more"):
        check_count("events", count)


@pytest.mark.parametrize(
    "count", [0.3, 1.5, -0.5, float("nan"), float("inf"), [1, 0.5], [1.0, float("nan")], [float("inf")]]
)
def test_what_is_no_whole_number_is_refused_as_a_count(count):
    with pytest.raises(EstimatorError, match=r"^events: must be a whole number"):
        check_count("events", count)


def test_expected_counts_may_be_fractions_but_not_missing():
    check_count("events", [0.3, 1.5], at_most=[2.5, 2.5], whole=False)
    for count in (float("nan"), float("inf"), -0.5):
        with pytest.raises(EstimatorError, match=r"^events: must be a finite number"):
            check_count("events", count, whole=False)


@pytest.mark.parametrize("count", [0, 3.0, True, np.int64(2), np.float64(2), [1, 2.0], np.array([True]), []])
def test_whole_numbers_of_any_type_are_counts(count):
    check_count("events", count)


def test_a_count_above_its_denominator_is_refused():
    check_count("events", [1, 2], at_most=[1, 2])
    with pytest.raises(EstimatorError, match=r"^events: must not exceed"):
        check_count("events", np.array([1, 3]), at_most=[1, 2])


@pytest.mark.parametrize("value", [0, -1.0, float("nan"), float("inf"), [1, 0]])
def test_denominators_must_be_positive_numbers(value):
    with pytest.raises(EstimatorError, match=r"^time:"):
        check_positive("time", value)


def test_z_of_95_percent():
    """The familiar 1.96: NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.1, doi:10.18434/M32189."""
    assert two_sided_z(0.95) == pytest.approx(1.959963984540054, abs=1e-14)
