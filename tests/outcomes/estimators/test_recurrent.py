import warnings

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from outcomes.estimators.base import EstimatorError
from outcomes.estimators.recurrent import mean_cumulative_function
from tests.outcomes.estimators.times_data import PROPERTY, inputs, near, published, table

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # the oracle warns of its own coming changes on import
    from surpyval import NonParametricCounting


def valve_seats():
    rows = table("valve_seats.csv")
    ends = rows.groupby("id")["time"].max()
    replaced = rows[rows["status"] == 1]
    return mean_cumulative_function(
        ends, event_row=ends.index.get_indexer(replaced["id"]), event_time=replaced["time"]
    )


def test_published_mean_number_of_replacements():
    known = inputs("mcf-valve")
    curve = valve_seats()
    points = curve.at(known["days"])
    assert [point.value for point in points] == near("mcf-valve", published("mcf-valve"))
    assert (curve.patients, int(curve.events.sum())) == (known["engines"], known["replacements"])


def invented_events(patients, seed, *, late=False, rows_each=1, spread=12):
    """Rows of follow-up with heavily tied events, some patients with several rows."""
    random = np.random.default_rng(seed)
    size = patients * rows_each
    exit = random.integers(1, spread, size)
    entry = (
        np.where(random.random(size) < 0.5, random.integers(0, spread, size) % exit, 0) if late else 0 * exit
    )
    row = np.repeat(np.arange(size), random.integers(0, 4, size))
    time = random.integers(entry[row] + 1, exit[row] + 1)
    return {
        "exit": exit,
        "entry": entry,
        "event_row": row,
        "event_time": time,
        "patient": np.arange(size) // rows_each,
    }


def slow_error(rows, curve):
    """Lawless-Nadeau error from the full matrix of patients by times."""
    started = np.where(rows["entry"] > 0, rows["entry"], -1)
    influence = np.zeros((rows["patient"].max() + 1, curve.times.size))
    for column, (time, at_risk, events) in enumerate(
        zip(curve.times, curve.at_risk, curve.events, strict=True)
    ):
        for row, patient in enumerate(rows["patient"]):
            inside = started[row] < time <= rows["exit"][row]
            own = ((rows["event_row"] == row) & (rows["event_time"] == time)).sum()
            influence[patient, column] += inside * (own - events / at_risk) / at_risk
    return np.sqrt((np.cumsum(influence, axis=1) ** 2).sum(axis=0))


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("late", [False, True])
@pytest.mark.parametrize("rows_each", [1, 3])
def test_robust_error_agrees_with_the_full_matrix(seed, late, rows_each):
    rows = invented_events(15, seed, late=late, rows_each=rows_each)
    curve = mean_cumulative_function(**rows)
    assert np.allclose(curve.std_error, slow_error(rows, curve), atol=1e-12)


@pytest.mark.parametrize("seed", range(3))
def test_mean_agrees_with_an_independent_library(seed):
    rows = invented_events(40, seed)
    curve = mean_cumulative_function(**rows)
    oracle = NonParametricCounting.fit(
        np.concatenate([rows["event_time"], rows["exit"]]),
        i=np.concatenate([rows["event_row"], np.arange(rows["exit"].size)]),
        c=np.repeat([0, 1], [rows["event_row"].size, rows["exit"].size]),
    )
    assert np.allclose(curve.values, oracle.mcf(curve.times), atol=1e-8)


@PROPERTY
@given(st.lists(st.tuples(st.integers(1, 9), st.booleans()), min_size=1, max_size=25))
def test_with_one_event_at_each_exit_it_is_the_nelson_aalen_sum(rows):
    exit, event = (np.array(column) for column in zip(*rows, strict=True))
    happened = np.flatnonzero(event)
    curve = mean_cumulative_function(exit, event_row=happened, event_time=exit[happened])
    hazard = [(event & (exit == time)).sum() / (exit >= time).sum() for time in curve.times]
    assert np.allclose(curve.values, np.cumsum(hazard))


@PROPERTY
@given(st.integers(0, 10**6))
def test_curve_rises_within_limits_whatever_the_order_and_unit(seed):
    rows = invented_events(12, seed, late=True, rows_each=2)
    curve = mean_cumulative_function(**rows)
    assert (np.diff(curve.values, prepend=0.0) >= 0).all()
    assert ((curve.lower <= curve.values) & (curve.values <= curve.upper)).all()
    order = np.random.default_rng(seed).permutation(rows["exit"].size)
    place = np.argsort(order)
    shuffled = mean_cumulative_function(
        rows["exit"][order] / 8,
        entry=rows["entry"][order] / 8,
        patient=rows["patient"][order] * 7 + 3,
        event_row=place[rows["event_row"]],
        event_time=rows["event_time"] / 8,
    )
    assert np.array_equal(curve.values, shuffled.values)
    assert np.allclose(curve.std_error, shuffled.std_error, atol=1e-12)


def test_several_events_of_one_row_at_one_time_all_count():
    curve = mean_cumulative_function([5, 5], event_row=[0, 0, 1], event_time=[2, 2, 5])
    assert curve.values == pytest.approx([1.0, 1.5])
    assert curve.events.tolist() == [2, 1]


def test_events_at_time_zero_count():
    curve = mean_cumulative_function([0, 4, 4], event_row=[0, 1], event_time=[0, 3])
    assert curve.values == pytest.approx([1 / 3, 1 / 3 + 1 / 2])
    assert curve.at_risk.tolist() == [3, 2]
    full = slow_error(
        {
            "entry": np.zeros(3),
            "exit": np.array([0, 4, 4]),
            "event_row": np.array([0, 1]),
            "event_time": np.array([0, 3]),
            "patient": np.arange(3),
        },
        curve,
    )
    assert curve.std_error == pytest.approx(full)


def test_no_events_at_all():
    curve = mean_cumulative_function([3, 4], event_row=[], event_time=[])
    (point,) = curve.at([4])
    assert (point.value, point.lower, point.upper, point.at_risk) == (0.0, 0.0, None, 1)


def test_few_patients_are_pointed_out():
    assert "too small" in mean_cumulative_function([3], event_row=[0], event_time=[2]).note
    assert valve_seats().note == ""


@pytest.mark.parametrize(
    ("parameter", "arguments"),
    [
        ("exit", {"exit": [], "event_row": [], "event_time": []}),
        ("event_row", {"exit": [3], "event_row": [1], "event_time": [2]}),
        ("event_time", {"exit": [3], "event_row": [0], "event_time": [4]}),
        ("event_time", {"exit": [3], "entry": [2], "event_row": [0], "event_time": [2]}),
        ("event_time", {"exit": [3], "event_row": [0], "event_time": [2, 3]}),
        ("patient", {"exit": [3], "event_row": [0], "event_time": [2], "patient": [1, 2]}),
        ("level", {"exit": [3], "event_row": [0], "event_time": [2], "level": 0.0}),
    ],
)
def test_refusals_name_the_parameter(parameter, arguments):
    with pytest.raises(EstimatorError) as refusal:
        mean_cumulative_function(**arguments)
    assert refusal.value.parameter == parameter


def test_a_row_that_was_never_at_risk_gives_an_empty_curve() -> None:
    curve = mean_cumulative_function([5], event_row=[], event_time=[], entry=[5])

    assert curve.values.size == 0
    assert curve.subjects == 0
