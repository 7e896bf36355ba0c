import warnings
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.duration.survfunc import SurvfuncRight, survdiff

from outcomes.estimators.base import EstimatorError
from outcomes.estimators.survival import (
    kaplan_meier,
    log_rank,
    quantile,
    restricted_mean,
    restricted_mean_difference,
)
from outcomes.estimators.tally import tally_exits
from tests.outcomes.estimators.times_data import (
    PROPERTY,
    aml,
    followed_rows,
    grouped,
    inputs,
    invented_runs,
    leukaemia,
    marrow,
    near,
    published,
)

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # the oracle warns of its own coming changes on import
    from surpyval import KaplanMeier, rmst_diff

TRANSFORMS = ["plain", "log", "log-log", "logit", "arcsine"]


def test_published_curve_and_greenwood_error():
    curve = kaplan_meier(leukaemia(), group="6-MP")
    name = "km-6mp-greenwood"
    assert curve.times.tolist() == inputs(name)["weeks"]
    assert curve.values == near(name, published(name)["S"])
    assert curve.std_error == near(name, published(name)["se"])


def test_published_log_log_limits():
    curve = kaplan_meier(leukaemia(), group="6-MP", transform="log-log")
    limits = np.column_stack([curve.lower, curve.upper])
    assert limits == near("km-6mp-loglog", np.array(published("km-6mp-loglog")))


@pytest.mark.parametrize("transform", ["log", "log-log"])
@pytest.mark.parametrize(("group", "key"), [("6-MP", "6mp"), ("placebo", "placebo")])
def test_published_medians_and_limits(transform, group, key):
    known = published("km-6mp-median")
    median = quantile(kaplan_meier(leukaemia(), group=group, transform=transform))
    assert median.value == known[f"median_{key}"]
    lower, upper = known[f"ci_{key}_{transform.replace('-', '')}"]
    assert median.lower == lower
    assert median.upper == (None if upper == "inf" else upper)


def test_published_curves_of_both_maintenance_arms():
    known = published("km-aml")
    maintained, not_maintained = (kaplan_meier(aml(), group=index) for index in (0, 1))
    assert maintained.values == near("km-aml", known["S_main"])
    assert maintained.std_error == near("km-aml", known["se_main"])
    assert not_maintained.values == near("km-aml", known["S_non"])
    assert [quantile(maintained).value, quantile(not_maintained).value] == known["medians"]


@pytest.mark.parametrize("transform", TRANSFORMS)
def test_published_limits_of_the_25th_percentile(transform):
    known = published("km-bmt-quantile-ci")
    key = {"plain": "linear", "log-log": "cloglog", "arcsine": "asinsqrt"}.get(transform, transform)
    found = quantile(kaplan_meier(marrow(), group="1", transform=transform), 0.25)
    assert [found.lower, found.upper] == known[key]


def test_published_curve_with_delayed_entry():
    known, rows = published("km-left-truncation"), inputs("km-left-truncation")
    curve = kaplan_meier(tally_exits(rows["time"], rows["status"], entry=rows["entry"]))
    assert curve.times.tolist() == known["time"]
    assert curve.at_risk.tolist() == known["n_risk"]
    assert curve.values == near("km-left-truncation", known["S"])


def test_published_quantiles_where_the_curve_is_flat_on_the_level():
    rows = inputs("km-quantile-flat-rule")
    curve = kaplan_meier(tally_exits(rows["time"], rows["status"]))
    found = [quantile(curve, 1.0 - float(Fraction(level))).value for level in rows["survival_levels"]]
    assert found == published("km-quantile-flat-rule")


def test_published_log_rank_tests():
    known = published("logrank-6mp")
    found = log_rank(leukaemia())
    assert found.statistic == near("logrank-6mp", known["chi2"])
    assert found.observed.tolist() == known["observed"]
    assert found.expected == near("logrank-6mp", known["expected"])
    three = log_rank(marrow())
    assert three.statistic == near("logrank-bmt-3groups", published("logrank-bmt-3groups")["chi2"])
    assert three.p_value == pytest.approx(published("logrank-bmt-3groups")["p"], abs=6e-6)
    assert three.degrees_of_freedom == 2


def test_published_restricted_means():
    known = published("rmst-pbc")
    tally = grouped("pbc_rmst312.csv", "years", "event", "arm_1dpen")
    arms = [restricted_mean(kaplan_meier(tally, group=arm), tau=10) for arm in ("1", "0")]
    for arm, key in zip(arms, ("arm1", "arm0"), strict=True):
        assert [arm.value, arm.std_error] == near("rmst-pbc", known[key])
    found = restricted_mean_difference(*arms)
    assert [found.value, found.lower, found.upper] == near("rmst-pbc", known["diff"])
    assert found.p_value == near("rmst-pbc", known["p"])


def test_restricted_means_agree_with_an_independent_library():
    rows = invented_runs(90, seed=7)
    event = rows["cause"] > 0
    tally = tally_exits(rows["exit"], event, group=rows["group"], groups=["a", "b", "c"])
    models = [
        KaplanMeier.fit(rows["exit"][mine], c=1 - event[mine])
        for mine in (rows["group"] == g for g in (0, 1))
    ]
    oracle = rmst_diff(*models, tau=25.0)
    means = [restricted_mean(kaplan_meier(tally, group=group), tau=25.0) for group in ("a", "b")]
    found = restricted_mean_difference(*means)
    assert found.value == pytest.approx(oracle["difference"], abs=1e-8)
    assert found.std_error == pytest.approx(oracle["se"], abs=1e-8)
    assert found.p_value == pytest.approx(oracle["p_value"], abs=1e-8)


@pytest.mark.parametrize("seed", range(4))
def test_curve_and_error_agree_with_an_independent_library(seed):
    rows = invented_runs(120, seed=seed, late=True)
    event = (rows["cause"] > 0).astype(int)
    curve = kaplan_meier(tally_exits(rows["exit"], event, entry=rows["entry"]))
    oracle = SurvfuncRight(rows["exit"], event, entry=rows["entry"])
    assert np.array_equal(curve.times, oracle.surv_times)
    assert np.allclose(curve.values, oracle.surv_prob, atol=1e-8)
    unfinished = curve.values > 0
    assert np.allclose(curve.std_error[unfinished], oracle.surv_prob_se[unfinished], atol=1e-8)


@pytest.mark.parametrize("seed", range(3))
def test_log_rank_agrees_with_an_independent_library(seed):
    rows = invented_runs(100, seed=seed)
    event, stratum = (rows["cause"] == 1).astype(int), rows["cause"] % 2
    names = ["a", "b", "c"]
    plain = log_rank(tally_exits(rows["exit"], event, group=rows["group"], groups=names))
    oracle = survdiff(rows["exit"], event, rows["group"])
    assert [plain.statistic, plain.p_value] == pytest.approx(list(oracle), abs=1e-8)
    strata = [
        tally_exits(rows["exit"][mine], event[mine], group=rows["group"][mine], groups=names, causes=1)
        for mine in (stratum == 0, stratum == 1)
    ]
    assert log_rank(*strata).statistic == pytest.approx(
        survdiff(rows["exit"], event, rows["group"], strata=stratum)[0], abs=1e-8
    )


def slow_curve(rows):
    """Kaplan-Meier and Greenwood error, one time and one row after the other."""
    value, total, found = 1.0, 0.0, {}
    started = np.where(rows["entry"] > 0, rows["entry"], -1)
    for time in sorted(set(rows["exit"][rows["cause"] > 0])):
        at_risk = sum(1 for a, b in zip(started, rows["exit"], strict=True) if a < time <= b)
        events = sum(1 for b, c in zip(rows["exit"], rows["cause"], strict=True) if b == time and c)
        value *= 1.0 - events / at_risk
        total += events / (at_risk * (at_risk - events)) if at_risk > events else 0.0
        found[time] = (value, value * np.sqrt(total))
    return found


@PROPERTY
@given(followed_rows())
def test_curve_agrees_with_a_slow_one(rows):
    curve = kaplan_meier(tally_exits(**rows))
    expected = slow_curve(rows)
    assert curve.times.tolist() == list(expected)
    assert np.allclose(
        np.column_stack([curve.values, curve.std_error]).ravel(), np.ravel(list(expected.values()))
    )


@PROPERTY
@given(followed_rows(), st.sampled_from(TRANSFORMS))
def test_curve_falls_inside_limits_that_are_never_nan(rows, transform):
    curve = kaplan_meier(tally_exits(**rows), transform=transform)
    assert (np.diff(curve.values, prepend=1.0) <= 0).all()
    assert (curve.lower <= curve.values + 1e-12).all()
    assert (curve.values <= curve.upper + 1e-12).all()
    assert ((curve.lower >= 0) & (curve.upper <= 1)).all()


@PROPERTY
@given(followed_rows())
def test_minutes_and_hours_give_the_same_curve(rows):
    minutes = {name: values * 60 if name != "cause" else values for name, values in rows.items()}
    hours, in_minutes = kaplan_meier(tally_exits(**rows)), kaplan_meier(tally_exits(**minutes))
    assert np.array_equal(hours.times * 60, in_minutes.times)
    assert np.array_equal(hours.values, in_minutes.values)
    first, second = quantile(hours), quantile(in_minutes)
    for mine, other in zip((first.value, first.lower), (second.value, second.lower), strict=True):
        assert (mine is None and other is None) or mine * 60 == pytest.approx(other)


@PROPERTY
@given(st.integers(0, 10**6))
def test_log_rank_does_not_depend_on_labels(seed):
    rows = invented_runs(40, seed=seed)
    relabelled = np.array([2, 0, 1])[rows["group"]]
    first, second = (
        log_rank(tally_exits(rows["exit"], rows["cause"] > 0, group=group, groups=["a", "b", "c"]))
        for group in (rows["group"], relabelled)
    )
    assert first.statistic == pytest.approx(second.statistic, rel=1e-9)


def test_median_without_censoring_is_that_of_the_sorted_times():
    curve = kaplan_meier(tally_exits([1, 2, 3, 4, 5], [1] * 5))
    assert quantile(curve).value == 3
    assert quantile(kaplan_meier(tally_exits([1, 2, 3, 4], [1] * 4))).value == 2.5


def test_everyone_censored():
    curve = kaplan_meier(tally_exits([3, 5], [0, 0]))
    (point,) = curve.at([4])
    assert (point.value, point.lower, point.upper) == (1.0, None, 1.0)
    assert (point.at_risk, point.events, point.subjects) == (1, 0, 2)
    assert "no event" in point.note
    assert quantile(curve).value is None
    assert "fewer than 50%" in quantile(curve).note
    assert restricted_mean(curve, tau=5).value == 5.0


def test_one_subject():
    curve = kaplan_meier(tally_exits([7], [1]))
    assert curve.values.tolist() == [0.0]
    assert (curve.lower[0], curve.upper[0]) == (0.0, 1.0)
    median = quantile(curve)
    assert (median.value, median.lower, median.upper) == (7.0, None, None)
    assert restricted_mean(curve, tau=10).value == 7.0


def test_events_at_time_zero_count():
    curve = kaplan_meier(tally_exits([0, 0, 4, 6], [1, 0, 1, 0]))
    assert curve.times.tolist() == [0, 4]
    assert curve.values == pytest.approx([0.75, 0.375])
    assert curve.at([0])[0].value == 0.75


def test_reading_past_the_last_follow_up_says_so():
    (point,) = kaplan_meier(tally_exits([3, 5, 6], [1, 0, 0])).at([90])
    assert point.value == pytest.approx(2 / 3)
    assert point.upper is not None
    assert point.at_risk == 0
    assert "nobody was followed that long" in point.note


def test_a_minimum_risk_set_starts_the_curve_later_and_says_so():
    rows = inputs("km-left-truncation")
    tally = tally_exits(rows["time"], rows["status"], entry=rows["entry"])
    curve = kaplan_meier(tally, minimum_at_risk=6)
    assert curve.starts_at == 3
    assert curve.values[0] == pytest.approx(5 / 6)
    before, after = curve.at([1, 3])
    assert before.value is None
    assert after.value == pytest.approx(5 / 6)
    assert "fewer than 6 at risk until 3" in after.note
    assert restricted_mean(curve, tau=5).value is None


def test_restricted_mean_beyond_follow_up_is_not_estimable():
    curve = kaplan_meier(tally_exits([3, 5], [1, 0]))
    mean = restricted_mean(curve, tau=8)
    assert (mean.value, mean.lower, mean.std_error) == (None, None, None)
    assert "follow-up ends at 5" in mean.note
    assert restricted_mean_difference(mean, mean).value is None


def test_log_rank_of_a_group_without_events():
    found = log_rank(tally_exits([3, 5, 6, 8], [1, 1, 0, 0], group=[0, 0, 1, 1], groups=["a", "b"]))
    assert found.observed.tolist() == [2, 0]
    assert found.statistic is not None
    silent = log_rank(tally_exits([3, 5], [0, 0], group=[0, 1], groups=["a", "b"]))
    assert silent.statistic is None


@pytest.mark.parametrize(
    ("parameter", "refused"),
    [
        ("group", lambda tally: kaplan_meier(tally, group="c")),
        ("group", lambda tally: log_rank(tally)),
        ("strata", lambda tally: log_rank()),
        ("level", lambda tally: kaplan_meier(tally, level=1.5)),
        ("transform", lambda tally: kaplan_meier(tally, transform="probit")),
        ("minimum_at_risk", lambda tally: kaplan_meier(tally, minimum_at_risk=50)),
        ("share", lambda tally: quantile(kaplan_meier(tally), 1.0)),
        ("tau", lambda tally: restricted_mean(kaplan_meier(tally), tau=0)),
        (
            "second",
            lambda tally: restricted_mean_difference(
                restricted_mean(kaplan_meier(tally), tau=2), restricted_mean(kaplan_meier(tally), tau=3)
            ),
        ),
    ],
)
def test_refusals_name_the_parameter(parameter, refused):
    tally = tally_exits([3, 5, 6], [1, 0, 1], group=[0, 0, 1], groups=["a", "b", "c"])
    with pytest.raises(EstimatorError) as refusal:
        refused(tally)
    assert refusal.value.parameter == parameter
