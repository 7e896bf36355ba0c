import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from outcomes.estimators.base import EstimatorError
from outcomes.estimators.tally import tally_exits
from tests.outcomes.estimators.times_data import PROPERTY, followed_rows, invented_runs

GROUPS = ["femoral", "axillary", "other"]


def tally_of(rows, **kind):
    return tally_exits(
        rows["exit"], rows["cause"], entry=rows["entry"], group=rows["group"], groups=GROUPS, **kind
    )


def same(first, second):
    return (
        np.array_equal(first.times, second.times)
        and np.array_equal(first.exits, second.exits)
        and np.array_equal(first.at_risk, second.at_risk)
        and np.array_equal(first.never_at_risk, second.never_at_risk)
    )


def test_risk_sets_and_exits_by_counting_each_row():
    rows = invented_runs(60, seed=1, late=True)
    tally = tally_of(rows)
    for column, time in enumerate(tally.times):
        for group in range(3):
            mine = rows["group"] == group
            inside = (rows["entry"] < time) & (time <= rows["exit"]) & mine
            assert tally.at_risk[group, column] == inside.sum()
            for cause in range(4):
                leaving = mine & (rows["exit"] == time) & (rows["cause"] == cause)
                assert tally.exits[group, cause, column] == leaving.sum()


def test_a_row_that_enters_late_is_not_at_risk_at_its_own_entry():
    tally = tally_exits([5, 9], [1, 1], entry=[0, 5])
    assert tally.at_risk_at([5, 6, 9, 10], 0).tolist() == [1, 1, 1, 0]


def test_rows_followed_from_the_origin_are_at_risk_at_time_zero():
    tally = tally_exits([0, 3, 3], [1, 0, 1], entry=[0, -2, 1])
    assert tally.at_risk_at([0, 1, 2], 0).tolist() == [2, 1, 2]


def test_a_row_that_leaves_at_its_late_entry_is_in_no_risk_set():
    tally = tally_exits([4, 7], [1, 1], entry=[4, 0])
    assert tally.never_at_risk.tolist() == [1]
    assert tally.subjects.tolist() == [1]
    assert tally.times.tolist() == [7]


def test_grid_and_sorted_counting_agree():
    rows = invented_runs(80, seed=2, late=True)
    as_floats = {**rows, "exit": rows["exit"].astype(float), "entry": rows["entry"].astype(float)}
    assert same(tally_of(rows), tally_of(as_floats))


@PROPERTY
@given(st.integers(0, 10**6), st.integers(1, 58))
def test_tallies_of_two_centres_add_up_to_the_tally_of_all_rows(seed, cut):
    rows = invented_runs(60, seed=seed, late=True)
    parts = [{name: values[part] for name, values in rows.items()} for part in (slice(cut), slice(cut, None))]
    assert same(tally_of(parts[0], causes=3) + tally_of(parts[1], causes=3), tally_of(rows, causes=3))


@PROPERTY
@given(followed_rows(), st.randoms(use_true_random=False))
def test_row_order_does_not_matter(rows, shuffler):
    order = list(range(rows["exit"].size))
    shuffler.shuffle(order)
    shuffled = {name: values[order] for name, values in rows.items()}
    assert same(tally_exits(**rows, causes=3), tally_exits(**shuffled, causes=3))


@PROPERTY
@given(followed_rows())
def test_nobody_is_left_at_risk_after_the_last_exit(rows):
    tally = tally_exits(**rows)
    assert (tally.at_risk >= 0).all()
    assert tally.at_risk_at([1000], 0).tolist() == [0]


def test_chosen_causes_count_as_one_and_the_rest_as_censored():
    rows = invented_runs(50, seed=3)
    tally = tally_of(rows).of_causes(1, 3)
    expected = tally_of({**rows, "cause": np.isin(rows["cause"], [1, 3]).astype(int)})
    assert same(tally, expected)


def test_adding_tallies_of_different_groups_is_refused():
    with pytest.raises(EstimatorError, match="other"):
        tally_exits([1], [1], groups=["a"]) + tally_exits([1], [1], groups=["b"])


@pytest.mark.parametrize(
    ("parameter", "arguments"),
    [
        ("exit", {"exit": [], "cause": []}),
        ("exit", {"exit": [[1, 2]], "cause": [1]}),
        ("exit", {"exit": [-1, 2], "cause": [1, 0]}),
        ("exit", {"exit": [1.0, np.nan], "cause": [1, 0]}),
        ("cause", {"exit": [1, 2], "cause": [1]}),
        ("cause", {"exit": [1, 2], "cause": [1, 0.5]}),
        ("cause", {"exit": [1, 2], "cause": [1, -1]}),
        ("cause", {"exit": [1, 2], "cause": [1, 3], "causes": 2}),
        ("entry", {"exit": [1, 2], "cause": [1, 0], "entry": [0, 3]}),
        ("group", {"exit": [1, 2], "cause": [1, 0], "group": [0, 1]}),
    ],
)
def test_refusals_name_the_parameter(parameter, arguments):
    with pytest.raises(EstimatorError) as refusal:
        tally_exits(**arguments)
    assert refusal.value.parameter == parameter


@pytest.mark.parametrize("group", ["other", 2, 3, -1, "unknown"])
def test_an_empty_or_unknown_group_is_refused(group):
    tally = tally_exits([1, 2], [1, 1], group=[0, 1], groups=GROUPS)
    with pytest.raises(EstimatorError, match="group"):
        tally.group_index(group)
