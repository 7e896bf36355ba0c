import numpy as np
import pytest
from scipy import stats

from outcomes.estimators.ksample import group_test


def test_statistic_is_the_quadratic_form_whichever_group_is_dropped():
    covariance = np.array([[3.0, -1.0, -2.0], [-1.0, 2.0, -1.0], [-2.0, -1.0, 3.0]])
    score = np.array([1.5, -0.5, -1.0])
    found = group_test(
        score, covariance, observed=np.array([5.0, 4.0, 3.0]), groups=("a", "b", "c"), method="m"
    )
    expected = score[1:] @ np.linalg.inv(covariance[1:, 1:]) @ score[1:]
    assert found.statistic == pytest.approx(expected, rel=1e-12)
    assert found.degrees_of_freedom == 2
    assert found.p_value == pytest.approx(stats.chi2.sf(expected, 2), rel=1e-12)
    assert found.expected == pytest.approx([3.5, 4.5, 4.0])


def test_groups_without_information_leave_the_degrees_of_freedom():
    covariance = np.array([[2.0, -2.0, 0.0], [-2.0, 2.0, 0.0], [0.0, 0.0, 0.0]])
    found = group_test(
        np.array([1.0, -1.0, 0.0]), covariance, observed=np.zeros(3), groups=("a", "b", "c"), method="m"
    )
    assert found.degrees_of_freedom == 1
    assert found.statistic == pytest.approx(0.5)


def test_without_any_information_nothing_is_estimated():
    found = group_test(np.zeros(2), np.zeros((2, 2)), observed=np.zeros(2), groups=("a", "b"), method="m")
    assert found.statistic is None
    assert found.p_value is None
    assert found.note
