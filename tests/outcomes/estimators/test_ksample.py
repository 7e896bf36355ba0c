import numpy as np
import pytest
from scipy import stats

from outcomes.estimators.ksample import NO_CONTRAST, NO_VARIANCE, group_test


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


def test_groups_never_at_risk_together_are_compared_within_their_own_blocks():
    pair = np.array([[2.0, -2.0], [-2.0, 2.0]])
    found = group_test(
        np.array([1.0, -1.0, 2.0, -2.0]),
        np.block([[pair, np.zeros((2, 2))], [np.zeros((2, 2)), pair]]),
        observed=np.zeros(4),
        groups=("a", "b", "c", "d"),
        method="m",
    )
    assert (found.statistic, found.degrees_of_freedom) == (pytest.approx(0.5 + 2.0), 2)


@pytest.mark.parametrize(
    ("covariance", "note"),
    [
        (np.zeros((2, 2)), NO_CONTRAST),
        (np.full((2, 2), np.nan), NO_VARIANCE),
        (np.array([[-1.0, 1.0], [1.0, -1.0]]), NO_VARIANCE),
    ],
)
def test_without_a_variance_nothing_is_estimated_and_the_note_says_why(covariance, note):
    found = group_test(np.zeros(2), covariance, observed=np.zeros(2), groups=("a", "b"), method="m")
    assert (found.statistic, found.degrees_of_freedom, found.p_value) == (None, None, None)
    assert found.note == note
