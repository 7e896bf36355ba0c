import warnings

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.duration.survfunc import CumIncidenceRight

from outcomes.estimators.base import EstimatorError
from outcomes.estimators.competing import cumulative_incidence, gray_test
from outcomes.estimators.curves import area_under
from outcomes.estimators.ksample import NO_VARIANCE
from outcomes.estimators.survival import kaplan_meier, log_rank
from outcomes.estimators.tally import tally_exits
from tests.outcomes.estimators.times_data import (
    PROPERTY,
    followed_rows,
    inputs,
    invented_runs,
    marrow,
    mgus,
    near,
    published,
    scrucca,
    two_arms,
)

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # the oracle warns of its own coming changes on import
    from surpyval import gray_test as oracle_gray_test

TRANSFORMS = ["plain", "log", "log-log", "logit", "arcsine"]


def values_at(curve, times):
    return [point.value for point in curve.at(times)]


def test_curve_and_error_worked_by_hand():
    rows, known = inputs("cif-byhand-8"), published("cif-byhand-8")
    first, second = cumulative_incidence(tally_exits(rows["time"], rows["status"])).causes
    assert first.values == near("cif-byhand-8", known["F1"])
    assert second.values == near("cif-byhand-8", known["F2"])
    assert first.std_error == near("cif-byhand-8", known["se1"])
    assert second.std_error == near("cif-byhand-8", known["se2"])


@pytest.mark.parametrize("arm", ["A", "B"])
@pytest.mark.parametrize("cause", [1, 2])
def test_recorded_incidence_and_error_in_two_arms(arm, cause):
    curve = cumulative_incidence(two_arms(), group=arm).causes[cause - 1]
    points = curve.at(inputs("cif-marubini")["weeks"])
    key = f"{arm}{cause}"
    assert [point.value for point in points] == near("cif-marubini", published("cif-marubini")[key])
    assert [point.std_error for point in points] == near("cif-marubini-se", published("cif-marubini-se")[key])


@pytest.mark.parametrize("disease", ["ALL", "AML"])
def test_recorded_incidence_of_relapse(disease):
    curve = cumulative_incidence(scrucca(), group=disease).causes[0]
    assert values_at(curve, [6, 12, 24, 60]) == near("cif-bmtcrr", published("cif-bmtcrr")[disease])


@pytest.mark.parametrize("sex", ["F", "M"])
def test_recorded_incidence_of_malignancy(sex):
    curve = cumulative_incidence(mgus(), group=sex).causes[0]
    assert values_at(curve, [60, 120, 240]) == near("cif-mgus2", published("cif-mgus2")[sex])


def test_censoring_the_competing_event_overstates_the_incidence():
    known = published("cif-gray-inequality")
    curve = cumulative_incidence(mgus(), group="M").causes[0]
    naive = kaplan_meier(mgus().of_causes(1), group="M")
    month = inputs("cif-gray-inequality")["month"]
    assert values_at(curve, [month]) == near("cif-gray-inequality", [known["cif"]])
    assert 1.0 - values_at(naive, [month])[0] == pytest.approx(known["one_minus_km"], abs=6e-7)


def test_published_mean_years_in_each_state():
    found = cumulative_incidence(mgus(), group="M")
    tau = inputs("cif-mgus2-rmtis")["tau_months"]
    years = [
        area_under(curve.times, curve.values, start=curve.start, tau=tau) / 12
        for curve in (found.event_free, *found.causes)
    ]
    assert years == near("cif-mgus2-rmtis", published("cif-mgus2-rmtis"))
    assert years == pytest.approx(inputs("cif-mgus2-rmtis")["unrounded"], abs=6e-5)


@pytest.mark.parametrize(
    ("name", "tally"), [("gray-marubini", two_arms), ("gray-bmtcrr", scrucca), ("gray-km-bmt", marrow)]
)
@pytest.mark.parametrize("cause", [1, 2])
def test_recorded_gray_tests(name, tally, cause):
    found = gray_test(tally(), cause=cause)
    assert [found.statistic, found.p_value] == near(name, published(name)[str(cause)])


def arms(first, second, others=()):
    """Two arms by their times of exit, all by cause 1 but for ``others``: {place in both lists: cause}."""
    cause = np.ones(len(first) + len(second), dtype=int)
    for place, code in dict(others).items():
        cause[place] = code
    group = np.repeat([0, 1], [len(first), len(second)])
    return tally_exits([*first, *second], cause, group=group, groups=["a", "b"])


@pytest.mark.parametrize(
    ("tally", "statistic", "p_value"),
    [
        # One arm has left before the other's first exit: the pooled curve passes 1.
        (arms(range(1, 7), range(10, 16)), 11.1296637106967, 0.000849579930173872),
        # Ties of as many as the scaled risk set, or more.
        (
            arms([1, 3, 6, 7, 7], [1, 1, 3, 3, 4, 4, 5, 5, 5, 6, 6, 7], {5: 0}),
            0.956034535184259,
            0.328188000109997,
        ),
        (
            arms([1, 3, 8, 10, 14], [2, 3, 5, 10, 10, 13, 13, 14], {0: 0, 5: 2, 6: 2}),
            2.28387912184729,
            0.130724552053317,
        ),
    ],
)
def test_gray_test_of_small_arms_agrees_with_the_program_of_its_author(tally, statistic, p_value):
    """R package cmprsk 2.2-11 by R. J. Gray: ``print(cuminc(exit, cause, group)$Tests, digits = 15)``."""
    found = gray_test(tally, cause=1)
    assert (found.statistic, found.p_value) == pytest.approx((statistic, p_value), rel=1e-12)


@PROPERTY
@given(st.integers(0, 10**6))
def test_gray_test_of_arms_without_ties_is_never_refused(seed):
    """Arms of 5 to 12 that all leave by one cause, one after the other; any warning is an error here."""
    random = np.random.default_rng(seed)
    sizes = random.integers(5, 13, 2)
    exits = random.permutation(sizes.sum()) + 1
    found = gray_test(arms(exits[: sizes[0]], exits[sizes[0] :]), cause=1)
    assert (found.note, found.statistic is not None) == ("", True)


def test_gray_test_does_not_take_a_negative_variance():
    """All who were left leave at once: the tie counts for more than the scaled risk set of arm b."""
    found = gray_test(arms([2, 2], [1, 2]), cause=1)
    assert found.covariance[0, 0] < 0
    assert (found.statistic, found.p_value, found.note) == (None, None, NO_VARIANCE)


def test_gray_test_with_the_pooled_curve_used_up_while_two_are_compared():
    """Arm b leaves at once and takes its share of the pooled curve with it; a and c use up the rest."""
    rows = {
        "exit": [2, 3, 4, 3, 1, 1, 1, 4, 2],
        "cause": [1, 1, 1, 1, 1, 1, 1, 2, 1],
        "group": [0, 0, 0, 0, 1, 1, 1, 2, 2],
    }
    found = gray_test(tally_exits(**rows, groups=["a", "b", "c"]), cause=1)
    assert (found.statistic, found.p_value, found.note) == (None, None, NO_VARIANCE)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("cause", [1, 2, 3])
def test_gray_test_agrees_with_an_independent_library(seed, cause):
    rows = invented_runs(150, seed=seed, spread=25)
    found = gray_test(
        tally_exits(rows["exit"], rows["cause"], group=rows["group"], groups=["a", "b", "c"]), cause=cause
    )
    causes = np.array([None if code == 0 else int(code) for code in rows["cause"]], dtype=object)
    oracle = oracle_gray_test(rows["exit"], causes, rows["group"], cause)
    assert found.statistic == pytest.approx(oracle.statistic, rel=1e-8)
    assert found.p_value == pytest.approx(oracle.p_value, rel=1e-8)


@pytest.mark.parametrize("seed", range(4))
def test_incidence_and_error_agree_with_an_independent_library(seed):
    rows = invented_runs(120, seed=seed)
    rows["cause"][np.argmax(rows["exit"])] = 0  # the oracle has no error once nobody is left at risk
    found = cumulative_incidence(tally_exits(rows["exit"], rows["cause"]))
    oracle = CumIncidenceRight(rows["exit"], rows["cause"])
    own = np.isin(oracle.times, found.event_free.times)  # the oracle lists censoring times too
    for curve, all_values, all_errors in zip(found.causes, oracle.cinc, oracle.cinc_se, strict=True):
        values, errors = all_values[own], all_errors[own]
        assert np.allclose(curve.values, values, atol=1e-8)
        known = ~np.isnan(errors)
        assert known[:-1].all()
        assert np.allclose(curve.std_error[known], errors[known], atol=1e-8)


def slow_incidence(rows, cause):
    """Incidence and Greenwood-type variance at each event time, by loops over times and pairs of times."""
    started = np.where(rows["entry"] > 0, rows["entry"], -1)
    times = sorted(set(rows["exit"][rows["cause"] > 0]))
    steps, survival, total = [], 1.0, 0.0
    for time in times:
        at_risk = int(((started < time) & (time <= rows["exit"])).sum())
        here = rows["cause"][rows["exit"] == time]
        any_hazard, own_hazard = (here > 0).sum() / at_risk, (here == cause).sum() / at_risk
        total += survival * own_hazard
        steps.append((survival, any_hazard, own_hazard, at_risk, total))
        survival *= 1.0 - any_hazard
    return [(now[-1], slow_variance(steps[: index + 1], now[-1])) for index, now in enumerate(steps)]


def slow_variance(steps, value):
    variance = 0.0
    for before, any_hazard, own_hazard, at_risk, then in steps:
        lost = (value - then) / (1.0 - any_hazard) if any_hazard < 1.0 else 0.0
        moves = np.array([before - lost, -lost, 0.0])
        shares = np.array([own_hazard, any_hazard - own_hazard, 1.0 - any_hazard])
        variance += (shares @ moves**2 - (shares @ moves) ** 2) / at_risk
    return variance


@PROPERTY
@given(followed_rows())
def test_incidence_agrees_with_a_slow_one(rows):
    found = cumulative_incidence(tally_exits(**rows, causes=3))
    for cause, curve in enumerate(found.causes, start=1):
        expected = np.array(slow_incidence(rows, cause)).reshape(-1, 2)
        assert np.allclose(curve.values, expected[:, 0], atol=1e-12)
        assert np.allclose(curve.std_error**2, expected[:, 1], atol=1e-10)


def jackknife_variance(rows, cause, time):
    """Sum over rows of the squared derivative of the incidence by the weight of the row, numerically."""
    total, step = 0.0, 1e-5
    for row in range(rows["exit"].size):
        ends = []
        for sign in (1, -1):
            weights = np.ones(rows["exit"].size)
            weights[row] += sign * step
            ends.append(weighted_incidence(rows, cause, time, weights))
        total += ((ends[0] - ends[1]) / (2 * step)) ** 2
    return total


def weighted_incidence(rows, cause, time, weights):
    survival, value = 1.0, 0.0
    for now in sorted(set(rows["exit"][(rows["cause"] > 0) & (rows["exit"] <= time)])):
        at_risk = weights[rows["exit"] >= now].sum()
        here = rows["exit"] == now
        value += survival * weights[here & (rows["cause"] == cause)].sum() / at_risk
        survival *= 1.0 - weights[here & (rows["cause"] > 0)].sum() / at_risk
    return value


def test_variance_is_the_infinitesimal_jackknife_without_delayed_entry():
    rows = invented_runs(40, seed=11, spread=15)
    curve = cumulative_incidence(tally_exits(rows["exit"], rows["cause"])).causes[1]
    for point in curve.at([3, 8, 14]):
        assert point.std_error**2 == pytest.approx(jackknife_variance(rows, 2, point.time), rel=1e-6)


@PROPERTY
@given(followed_rows(), st.sampled_from(TRANSFORMS))
def test_parts_sum_to_one_and_limits_hold(rows, transform):
    found = cumulative_incidence(tally_exits(**rows, causes=3), transform=transform)
    total = found.event_free.values + sum(curve.values for curve in found.causes)
    assert np.allclose(total, 1.0, atol=1e-12)
    for curve in found.causes:
        assert (np.diff(curve.values, prepend=0.0) >= 0).all()
        assert (curve.lower <= curve.values + 1e-12).all()
        assert (curve.upper >= curve.values - 1e-12).all()
        assert np.isfinite(curve.std_error).all()


@PROPERTY
@given(followed_rows())
def test_one_cause_is_the_complement_of_survival(rows):
    rows = {**rows, "cause": (rows["cause"] > 0).astype(int)}
    found = cumulative_incidence(tally_exits(**rows, causes=1), transform="plain")
    curve, free = found.causes[0], found.event_free
    assert np.allclose(curve.values, 1.0 - free.values, atol=1e-12)
    assert np.allclose(curve.std_error**2, free.std_error**2, atol=1e-12)
    inner = free.values > 1e-9
    assert np.allclose(curve.lower[inner], 1.0 - free.upper[inner], atol=1e-7)


@PROPERTY
@given(followed_rows())
def test_incidence_is_at_most_the_complement_of_survival_with_others_censored(rows):
    tally = tally_exits(**rows, causes=3)
    naive = kaplan_meier(tally.of_causes(1))
    curve = cumulative_incidence(tally).causes[0]
    own = np.isin(curve.times, naive.times)
    assert (curve.values[own] <= 1.0 - naive.values + 1e-12).all()


@PROPERTY
@given(followed_rows())
def test_unit_and_cause_labels_do_not_matter(rows):
    order = np.array([0, 3, 1, 2])
    other = {**rows, "exit": rows["exit"] / 8, "entry": rows["entry"] / 8, "cause": order[rows["cause"]]}
    first, second = (cumulative_incidence(tally_exits(**kind, causes=3)) for kind in (rows, other))
    for cause in (1, 2, 3):
        mine, theirs = first.causes[cause - 1], second.causes[order[cause] - 1]
        assert np.array_equal(mine.times / 8, theirs.times)
        assert np.array_equal(mine.values, theirs.values)
        assert np.allclose(mine.std_error, theirs.std_error, atol=1e-12)


def test_with_one_cause_the_gray_score_is_the_log_rank_score():
    rows = invented_runs(90, seed=5)
    tally = tally_exits(rows["exit"], rows["cause"] > 0, group=rows["group"], groups=["a", "b", "c"])
    assert gray_test(tally, cause=1).score == pytest.approx(log_rank(tally).score, abs=1e-10)


@PROPERTY
@given(st.integers(0, 10**6))
def test_gray_test_does_not_depend_on_labels_or_unit(seed):
    rows = invented_runs(45, seed=seed)
    relabelled = np.array([2, 0, 1])[rows["group"]]
    names = ["a", "b", "c"]
    first = gray_test(tally_exits(rows["exit"], rows["cause"], group=rows["group"], groups=names), cause=1)
    second = gray_test(tally_exits(rows["exit"] / 8, rows["cause"], group=relabelled, groups=names), cause=1)
    assert first.statistic == pytest.approx(second.statistic, rel=1e-8)


@pytest.mark.parametrize(("last_cause", "note"), [(2, ""), (0, "nobody was followed that long")])
def test_limits_stay_after_the_last_patient_leaves(last_cause, note):
    """Of those who left by a cause everything is known; of those censored nothing more is."""
    found = cumulative_incidence(tally_exits([2, 4, 5, 9], [1, 2, 1, last_cause]))
    last, later = found.causes[0].at([9, 90])
    assert last.value == later.value == 0.5
    assert (later.lower, later.upper) == (last.lower, last.upper)
    assert 0.0 < later.lower < 0.5 < later.upper < 1.0
    assert later.at_risk == 0
    assert later.note.startswith(note)
    assert bool(later.note) is bool(note)


def test_a_cause_without_events_has_no_upper_limit():
    found = cumulative_incidence(tally_exits([2, 4, 5], [1, 0, 0], causes=2))
    (point,) = found.causes[1].at([5])
    assert (point.value, point.lower, point.upper, point.events) == (0.0, 0.0, None, 0)
    assert "no event" in point.note


def test_a_curve_that_reaches_one_keeps_its_lower_limit():
    curve = cumulative_incidence(tally_exits([2, 4, 5, 6], [1, 1, 1, 1])).causes[0]
    assert curve.values[-1] == pytest.approx(1.0)
    assert curve.lower[-1] == curve.lower[-2] > 0.0
    assert curve.upper[-1] == pytest.approx(1.0)


def test_events_at_time_zero_count():
    found = cumulative_incidence(tally_exits([0, 0, 3, 4], [1, 2, 1, 0]))
    assert values_at(found.causes[0], [0, 3]) == pytest.approx([0.25, 0.5])
    assert found.causes[1].values == pytest.approx([0.25, 0.25])


def test_everyone_censored_and_one_subject():
    censored = cumulative_incidence(tally_exits([3, 4], [0, 0], causes=2))
    assert [curve.at([4])[0].value for curve in censored.causes] == [0.0, 0.0]
    single = cumulative_incidence(tally_exits([3], [2], causes=2)).causes[1].at([3])[0]
    assert (single.value, single.lower, single.upper) == (1.0, 0.0, 1.0)


def test_gray_test_of_a_group_without_events():
    rows = {"exit": [3, 5, 6, 8], "cause": [1, 2, 0, 0], "group": [0, 0, 1, 1]}
    found = gray_test(tally_exits(**rows, groups=["a", "b"]), cause=1)
    assert found.observed.tolist() == [1, 0]
    assert found.statistic is not None


@pytest.mark.parametrize(
    ("parameter", "refused"),
    [
        ("group", lambda tally: cumulative_incidence(tally, group="c")),
        ("cause", lambda tally: gray_test(tally, cause=3)),
        ("group", lambda tally: gray_test(tally, cause=1)),
        ("entry", lambda tally: gray_test(late_tally(), cause=1)),
    ],
)
def test_refusals_name_the_parameter(parameter, refused):
    tally = tally_exits([3, 5, 6], [1, 2, 1], group=[0, 0, 1], groups=["a", "b", "c"])
    with pytest.raises(EstimatorError) as refusal:
        refused(tally)
    assert refusal.value.parameter == parameter


def late_tally():
    return tally_exits([3, 5, 6], [1, 2, 1], entry=[0, 1, 0], group=[0, 0, 1], groups=["a", "b"])
