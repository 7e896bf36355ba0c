import numpy as np
import pytest
from hypothesis import given

from outcomes.estimators.base import EstimatorError
from outcomes.estimators.competing import cumulative_incidence
from outcomes.estimators.multistate import state_occupancy
from outcomes.estimators.tally import tally_exits
from tests.outcomes.estimators.times_data import PROPERTY, followed_rows, inputs, near, published

ROUTES = ["femoral", "axillary", "ended"]


def published_stays():
    """The worked example as stays: the state stayed in is the one entered before, or the first."""
    rows, current, stays = inputs("multistate-5subjects"), {}, []
    for patient, start, stop, entered in zip(*rows.values(), strict=True):
        stays.append((start, stop, current.get(patient, 0), entered + 1 if entered else 0))
        current[patient] = entered or current.get(patient, 0)
    start, stop, state, cause = (np.array(column) for column in zip(*stays, strict=True))
    return tally_exits(stop, cause, entry=start, group=state, groups=["entry", "a", "b", "c"], causes=4)


def test_published_occupancy_with_delayed_entry_and_repeated_visits():
    found = state_occupancy(published_stays())
    assert found.initial.tolist() == [1, 0, 0, 0]
    for time, expected in published("multistate-5subjects").items():
        assert found.at(float(time)) == near("multistate-5subjects", expected)
    assert found.at(1.0).tolist() == [1, 0, 0, 0]


def invented_stays(patients, seed, scale=1):
    """Femoral from day 0, perhaps exchanged for axillary later, until the run ends or is censored."""
    random = np.random.default_rng(seed)
    rows = []
    for _ in range(patients):
        exchange, end = random.integers(1, 15), random.integers(1, 20)
        ended = 3 if random.random() < 0.8 else 0
        if exchange < end and random.random() < 0.5:
            rows += [(0, exchange, 0, 2), (exchange, end, 1, ended)]
        else:
            rows.append((0, end, 0, ended))
    start, stop, state, cause = (np.array(column) for column in zip(*rows, strict=True))
    return tally_exits(stop * scale, cause, entry=start * scale, group=state, groups=ROUTES, causes=3)


def slow_occupancy(tally):
    """Occupancy by following the share in each state, one state at a time."""
    share, found = {0: 1.0, 1: 0.0, 2: 0.0}, []
    for column, _time in enumerate(tally.times):
        moved = dict(share)
        for here in range(3):
            for there in range(3):
                events = tally.exits[here, there + 1, column]
                if events:
                    flow = share[here] * events / tally.at_risk[here, column]
                    moved[here] -= flow
                    moved[there] += flow
        share = moved
        if tally.exits[:, 1:, column].any():
            found.append(list(share.values()))
    return np.array(found)


@pytest.mark.parametrize("seed", range(5))
def test_occupancy_agrees_with_a_slow_one_and_sums_to_one(seed):
    tally = invented_stays(50, seed)
    found = state_occupancy(tally)
    assert np.allclose(found.probability, slow_occupancy(tally), atol=1e-12)
    assert np.allclose(found.probability.sum(axis=1), 1.0, atol=1e-12)
    assert (found.lower <= found.probability + 1e-12).all()
    assert (found.upper >= found.probability - 1e-12).all()


@pytest.mark.parametrize("seed", range(3))
def test_without_censoring_occupancy_is_the_observed_share(seed):
    random = np.random.default_rng(seed)
    exchange, end = random.integers(1, 10, 40), random.integers(11, 20, 40)
    start = np.concatenate([np.zeros(40, int), exchange])
    stop, state = np.concatenate([exchange, end]), np.repeat([0, 1], 40)
    tally = tally_exits(stop, np.repeat([2, 3], 40), entry=start, group=state, groups=ROUTES)
    found = state_occupancy(tally)
    for time in (3, 9, 15):
        axillary = np.mean((exchange <= time) & (time < end))
        assert found.at(time)[1] == pytest.approx(axillary)


@PROPERTY
@given(followed_rows())
def test_one_state_with_several_ways_out_is_cumulative_incidence(rows):
    causes = np.where(rows["cause"] > 0, rows["cause"] + 1, 0)
    states = tally_exits(
        rows["exit"],
        causes,
        entry=rows["entry"],
        group=np.zeros_like(causes),
        groups=["on support", "1", "2", "3"],
        causes=4,
    )
    found = state_occupancy(states, initial=[1, 0, 0, 0])
    expected = cumulative_incidence(tally_exits(**rows, causes=3))
    for cause, curve in enumerate(expected.causes, start=1):
        assert np.allclose(found.probability[:, cause], curve.values, atol=1e-12)
        assert np.allclose(found.std_error[:, cause] ** 2, curve.std_error**2, atol=1e-12)


def test_unit_of_time_does_not_matter():
    hours, minutes = (state_occupancy(invented_stays(30, 4, scale)) for scale in (1, 60))
    assert np.array_equal(hours.times * 60, minutes.times)
    assert np.array_equal(hours.probability, minutes.probability)


def test_error_of_the_initial_shares_counts():
    tally = tally_exits([5, 5, 5, 6], [3, 0, 0, 0], group=[0, 0, 1, 1], groups=ROUTES, causes=3)
    found, fixed = state_occupancy(tally), state_occupancy(tally, initial=[0.5, 0.5, 0])
    assert found.initial.tolist() == fixed.initial.tolist() == [0.5, 0.5, 0]
    assert (found.std_error >= fixed.std_error).all()
    assert found.std_error[0, 1] == pytest.approx(np.sqrt(0.25 / 4))


def test_everyone_censored_stays_where_they_were():
    found = state_occupancy(tally_exits([3, 4], [0, 0], group=[0, 0], groups=ROUTES, causes=3))
    assert found.times.size == 0
    assert found.at(4).tolist() == [1, 0, 0]


@pytest.mark.parametrize(
    ("parameter", "refused"),
    [
        ("tally", lambda: state_occupancy(tally_exits([3], [4], groups=ROUTES, group=[0]))),
        ("initial", lambda: state_occupancy(invented_stays(5, 1), initial=[0.5, 0.2, 0.2])),
        ("initial", lambda: state_occupancy(invented_stays(5, 1), initial=[1.0, 0.0])),
        ("initial", lambda: state_occupancy(tally_exits([3], [2], entry=[1], group=[0], groups=ROUTES))),
    ],
)
def test_refusals_name_the_parameter(parameter, refused):
    with pytest.raises(EstimatorError) as refusal:
        refused()
    assert refusal.value.parameter == parameter
