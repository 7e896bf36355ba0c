import numpy as np
import pytest

from outcomes.estimators.base import EstimatorError
from outcomes.estimators.chartsignals import Series, find_signals


def _series(values, **extra):
    values = np.array(values, dtype=float)
    return Series(
        values=values,
        lower=np.full(values.size, -3.0),
        upper=np.full(values.size, 3.0),
        scores=values,
        **extra,
    )


def _found(rule, values, **extra):
    return [(s.first, s.last, s.side) for s in find_signals(_series(values, **extra), [rule])]


@pytest.mark.parametrize(
    ("rule", "values", "expected"),
    [
        ("beyond limit", [0, 3.1, 3.0, -3.1], [(1, 1, "above"), (3, 3, "below")]),
        ("run of eight", [1] * 7, []),
        ("run of eight", [1] * 8, [(0, 7, "above")]),
        ("run of eight", [-1] * 9, [(0, 7, "below"), (1, 8, "below")]),
        ("run of eight", [1, 1, 1, 1, 0, 1, 1, 1, 1], []),  # a point on the centre breaks the run
        ("two of three", [2.1, 0, 2.1], [(0, 2, "above")]),
        ("two of three", [2.1, 2.1], [(0, 1, "above")]),
        ("two of three", [2.1, 0, -2.1], []),
        ("two of three", [2.0, 2.0, 2.0], []),  # on the line is inside
        ("four of five", [1.1, 1.1, 0, 1.1, 1.1], [(0, 4, "above")]),
        ("four of five", [-1.1] * 3, []),
        ("six in a row", [1, 2, 3, 4, 5, 6], [(0, 5, "above")]),
        ("six in a row", [1, 2, 3, 4, 5], []),
        ("six in a row", [6, 5, 4, 3, 2, 1, 0], [(0, 5, "below"), (1, 6, "below")]),
        ("six in a row", [1, 2, 3, 3, 4, 5, 6], []),
    ],
)
def test_each_rule_at_its_edge(rule, values, expected):
    assert _found(rule, values) == expected


def test_periods_without_exposure_are_passed_over():
    assert _found("two of three", [2.1, np.nan, np.nan, 2.1]) == [(0, 3, "above")]


def test_a_run_of_zeros_needs_a_length():
    assert _found("run of zeros", [0, 0, 0], zeros_to_signal=2) == [(0, 1, "below"), (1, 2, "below")]
    assert _found("run of zeros", [0, 0, 0]) == []


def test_signals_come_rule_by_rule():
    signals = find_signals(_series([3.1, 3.2]), ["two of three", "beyond limit"])
    assert [signal.rule for signal in signals] == ["beyond limit", "beyond limit", "two of three"]


def test_an_unknown_rule_is_refused():
    with pytest.raises(EstimatorError, match="rules"):
        find_signals(_series([0.0]), ["hunch"])
