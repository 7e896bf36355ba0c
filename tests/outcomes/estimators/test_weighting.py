import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st

from outcomes.estimators import weighting
from outcomes.estimators.base import EstimatorError
from outcomes.estimators.propensity import SeparationError, fit_propensity
from outcomes.estimators.weighting import (
    compare_weighted,
    compare_with_weights,
    effective_sample_size,
    interval_method,
    inverse_probability_weights,
    overlap_weights,
)
from tests.outcomes.estimators.weighting_charts_data import PUBLISHED, nhefs_terms, table, two_route_data

KINDS = ["stabilised inverse probability", "overlap"]


@pytest.fixture(scope="module")
def nhefs():
    return table("nhefs1566.csv")


@pytest.fixture(scope="module")
def nhefs_model(nhefs):
    return fit_propensity(nhefs_terms(nhefs), nhefs["qsmk"])


# Published values ----------------------------------------------------------------------------------------


def test_published_weighted_effect(nhefs, nhefs_model):
    case = PUBLISHED["iptw-nhefs"]
    published, tolerance = case["published"], case["tolerance"]
    own = np.where(nhefs_model.treated, nhefs_model.scores, 1.0 - nhefs_model.scores)
    smallest, mean, largest = published["weights"]  # of the weights before stabilising
    assert (1.0 / own).min() == pytest.approx(smallest, abs=tolerance)
    assert (1.0 / own).mean() == pytest.approx(mean, abs=tolerance)
    assert (1.0 / own).max() == pytest.approx(largest, abs=0.06)
    weights = inverse_probability_weights(nhefs_model)
    result = compare_with_weights(nhefs["wt82_71"], nhefs["qsmk"], weights, np.arange(1566))
    assert result.difference.value == pytest.approx(published["estimate"], abs=1e-4)
    assert result.difference.standard_error == pytest.approx(published["se"], abs=1e-4)
    assert [result.difference.lower, result.difference.upper] == pytest.approx(published["ci"], abs=tolerance)


def test_published_odds_ratio_of_death(nhefs, nhefs_model):
    case = PUBLISHED["iptw-nhefs-death"]
    weights = inverse_probability_weights(nhefs_model)
    result = compare_with_weights(nhefs["death"], nhefs["qsmk"], weights, np.arange(1566))
    odds = [arm.weighted / (1.0 - arm.weighted) for arm in (result.treated, result.control)]
    assert odds[0] / odds[1] == pytest.approx(case["published"]["or_"], abs=case["tolerance"])


def test_published_crude_difference(nhefs):
    case = PUBLISHED["crude-nhefs"]["published"]
    result = compare_with_weights(nhefs["wt82_71"], nhefs["qsmk"], np.ones(1566), np.arange(1566))
    assert result.difference.value == pytest.approx(case["diff"], abs=0.06)
    # The printed limits assume equal variances; ours do not, so the error is checked against a library.
    other = sm.OLS(nhefs["wt82_71"], sm.add_constant(nhefs["qsmk"])).fit(cov_type="HC0")
    assert result.difference.standard_error == pytest.approx(other.bse["qsmk"], rel=1e-8)


def test_overlap_weights_balance_every_term_exactly(nhefs_model):
    weights, arm = overlap_weights(nhefs_model), nhefs_model.treated
    means = [weights[side] @ nhefs_model.design[side] / weights[side].sum() for side in (arm, ~arm)]
    scale = nhefs_model.design.std(axis=0) + (nhefs_model.design.std(axis=0) == 0.0)
    assert np.abs((means[0] - means[1]) / scale).max() < PUBLISHED["overlap-exact-balance"]["tolerance"]


def test_published_cluster_variance_of_a_crude_share():
    """The published errors carry the factor m / (m - 1) with m = 16 litters; the sandwich has none."""
    data, published = table("rats_litters.csv"), PUBLISHED["prop-cluster-ratio-rats"]["published"]
    rows = data.loc[data.index.repeat(data["n"])].reset_index()
    alive = np.concatenate([np.arange(n) < y for n, y in zip(data["n"], data["y"], strict=True)])
    result = compare_with_weights(alive, rows["group"] == "TREAT", np.ones(len(rows)), rows["index"])
    expected = np.hypot(published["CTRL"]["se"], published["TREAT"]["se"]) * np.sqrt(15.0 / 16.0)
    assert result.difference.standard_error == pytest.approx(expected, abs=1e-8)
    assert result.treated.weighted == pytest.approx(published["TREAT"]["p"], abs=1e-8)
    assert (result.treated.clusters, result.control.clusters) == (16, 16)


# Other libraries -----------------------------------------------------------------------------------------


def test_known_weights_agree_with_weighted_least_squares(nhefs, nhefs_model):
    weights = inverse_probability_weights(nhefs_model)
    other = sm.WLS(nhefs["wt82_71"], sm.add_constant(nhefs["qsmk"]), weights=weights).fit(cov_type="HC0")
    result = compare_with_weights(nhefs["wt82_71"], nhefs["qsmk"], weights, np.arange(1566))
    assert result.difference.value == pytest.approx(other.params["qsmk"], rel=1e-8)
    assert result.difference.standard_error == pytest.approx(other.bse["qsmk"], rel=1e-8)


def test_known_weights_agree_with_estimating_equations_by_patient():
    outcome, arm, covariates, patient = two_route_data(200, seed=11)
    weights = inverse_probability_weights(fit_propensity(covariates, arm))
    result = compare_with_weights(outcome, arm, weights, patient)
    design = sm.add_constant(arm.astype(float))
    order = np.argsort(patient, kind="stable")
    other = sm.GEE(outcome[order], design[order], patient[order], weights=weights[order]).fit()
    assert result.difference.value == pytest.approx(other.params[1], rel=1e-8)
    assert result.difference.standard_error == pytest.approx(other.bse[1], rel=1e-8)


def test_log_ratio_error_agrees_with_poisson_regression():
    outcome, arm, covariates, _ = two_route_data(200, seed=12)
    weights = inverse_probability_weights(fit_propensity(covariates, arm))
    result = compare_with_weights(outcome, arm, weights, np.arange(200))
    design = sm.add_constant(arm.astype(float))
    model = sm.GLM(outcome, design, family=sm.families.Poisson(), freq_weights=weights)
    other = model.fit(tol=1e-12, cov_type="HC0")
    assert np.log(result.ratio.value) == pytest.approx(other.params[1], rel=1e-8)
    # freq_weights of statsmodels enter the middle of the sandwich once, ours (known weights) squared.
    residual = design * (weights * (outcome - other.fittedvalues))[:, None]
    bread = np.linalg.inv((design * (weights * other.fittedvalues)[:, None]).T @ design)
    assert result.ratio.standard_error == pytest.approx(
        np.sqrt((bread @ residual.T @ residual @ bread)[1, 1]), rel=1e-8
    )


# A slow second version of the closed form ----------------------------------------------------------------


def _refitted_means(outcome, arm, covariates, case_weights, kind):
    model = fit_propensity(covariates, arm, case_weights=case_weights)
    own = np.where(arm, model.scores, 1.0 - model.scores)
    used = case_weights * (1.0 - own if kind == "overlap" else 1.0 / own)
    return np.array([used[side] @ outcome[side] / used[side].sum() for side in (arm, ~arm)])


@pytest.mark.parametrize("kind", KINDS)
def test_closed_form_agrees_with_the_infinitesimal_jackknife(kind):
    """Each patient's count is nudged, the model refitted, and the slope taken numerically.

    Efron B. J R Stat Soc B 1992;54:83-127, "Jackknife-after-bootstrap standard errors and influence
    functions", doi:10.1111/j.2517-6161.1992.tb01866.x.
    """
    outcome, arm, covariates, patient = two_route_data(90, seed=13)
    nudge, slopes = 1e-4, []
    for one in np.unique(patient):
        means = [
            _refitted_means(outcome, arm, covariates, 1.0 + sign * nudge * (patient == one), kind)
            for sign in (1.0, -1.0)
        ]
        slopes.append((means[0] - means[1]) / (2.0 * nudge))
    slope = np.array(slopes)
    expected = np.sqrt(((slope[:, 0] - slope[:, 1]) ** 2).sum())
    result = compare_weighted(outcome, arm, covariates, patient, kind=kind, seed=1, interval="closed form")
    assert result.difference.standard_error == pytest.approx(expected, rel=1e-6)


# Properties ----------------------------------------------------------------------------------------------

SEEDS = st.integers(0, 10**6)


@settings(max_examples=30, deadline=None)
@given(seed=SEEDS, weight=st.floats(0.1, 10.0))
def test_equal_weights_give_the_crude_figures(seed, weight):
    outcome, arm, _, patient = two_route_data(60, seed)
    result = compare_with_weights(outcome, arm, np.full(60, weight), patient)
    crude = outcome[arm].mean(), outcome[~arm].mean()
    assert result.difference.value == pytest.approx(crude[0] - crude[1], abs=1e-12)
    assert result.treated.crude == pytest.approx(result.treated.weighted, abs=1e-12)
    assert result.treated.effective_sample_size == pytest.approx(arm.sum())
    empty = compare_weighted(
        outcome, arm, np.empty((60, 0)), patient, kind="overlap", seed=1, interval="closed form"
    )
    assert empty.difference.value == pytest.approx(crude[0] - crude[1], abs=1e-12)


@settings(max_examples=30, deadline=None)
@given(seed=SEEDS)
def test_overlap_weights_balance_the_means(seed):
    _, arm, covariates, _ = two_route_data(60, seed)
    weights = overlap_weights(fit_propensity(covariates, arm))
    means = [weights[side] @ covariates[side] / weights[side].sum() for side in (arm, ~arm)]
    assert means[0] == pytest.approx(means[1], abs=1e-7)


@settings(max_examples=20, deadline=None)
@given(seed=SEEDS, kind=st.sampled_from(KINDS), interval=st.sampled_from(["closed form", "converged refit"]))
def test_row_order_does_not_matter(seed, kind, interval):
    rows = two_route_data(60, seed)
    order = np.random.default_rng(seed).permutation(60)
    moved = compare_weighted(
        *(part[order] for part in rows), kind=kind, seed=3, interval=interval, resamples=100
    )
    plain = compare_weighted(*rows, kind=kind, seed=3, interval=interval, resamples=100)
    _same(moved.difference, plain.difference)
    _same(moved.ratio, plain.ratio)


@settings(max_examples=20, deadline=None)
@given(seed=SEEDS, kind=st.sampled_from(KINDS), interval=st.sampled_from(["closed form", "converged refit"]))
def test_swapped_arms_flip_the_difference_and_invert_the_ratio(seed, kind, interval):
    outcome, arm, covariates, patient = two_route_data(60, seed)
    common = {"kind": kind, "seed": 3, "interval": interval, "resamples": 100}
    plain = compare_weighted(outcome, arm, covariates, patient, **common)
    swapped = compare_weighted(outcome, ~arm, covariates, patient, **common)
    assert swapped.difference.value == pytest.approx(-plain.difference.value, abs=1e-8)
    if plain.difference.lower is not None:
        assert swapped.difference.lower == pytest.approx(-plain.difference.upper, abs=1e-8)
    if plain.ratio.upper is not None and plain.ratio.lower:
        assert swapped.ratio.value == pytest.approx(1.0 / plain.ratio.value, rel=1e-8)
        assert swapped.ratio.upper == pytest.approx(1.0 / plain.ratio.lower, rel=1e-8)


@settings(max_examples=20, deadline=None)
@given(seed=SEEDS)
def test_patient_labels_do_not_matter_to_the_closed_form(seed):
    outcome, arm, covariates, patient = two_route_data(60, seed)
    names = np.array([f"patient {7919 * (int(p) + 1) % 101}" for p in patient])
    results = [
        compare_weighted(outcome, arm, covariates, label, kind="overlap", seed=1, interval="closed form")
        for label in (patient, names)
    ]
    _same(results[0].difference, results[1].difference)


def _same(one, other):
    for field in ("value", "lower", "upper", "standard_error"):
        first, second = getattr(one, field), getattr(other, field)
        assert first == (None if second is None else pytest.approx(second, abs=1e-8))


# The result and its edges --------------------------------------------------------------------------------


def test_the_result_says_how_it_was_made():
    rows = two_route_data(150, seed=21)
    result = compare_weighted(*rows, kind="overlap", seed=42, level=0.9, resamples=200)
    assert (result.seed, result.resamples, result.failed_resamples) == (42, 200, 0)
    assert result.weights == "overlap"
    assert result.difference.level == 0.9
    assert "refitted to convergence" in result.difference.method
    assert result.treated.rows + result.control.rows == 150
    assert result.difference.lower < result.difference.value < result.difference.upper
    assert compare_weighted(*rows, kind="overlap", seed=42, level=0.9, resamples=200) == result


def test_stabilised_weights_average_to_one():
    _, arm, covariates, _ = two_route_data(500, seed=22)
    weights = inverse_probability_weights(fit_propensity(covariates, arm))
    assert weights.mean() == pytest.approx(1.0, abs=0.05)


def test_interval_method_by_size():
    sizes = [1, 1_999, 2_000, 20_000, 20_001]
    expected = ["converged refit"] * 2 + ["two-step refit"] * 2 + ["closed form"]
    assert [interval_method(size) for size in sizes] == expected


def test_the_three_intervals_agree_on_many_rows():
    rows = two_route_data(3_000, seed=23)
    limits = [
        compare_weighted(*rows, kind=KINDS[0], seed=5, interval=method).difference
        for method in weighting.METHOD_NAMES
    ]
    widths = [limit.upper - limit.lower for limit in limits]
    assert widths == pytest.approx([widths[2]] * 3, rel=0.08)
    assert limits[0].lower == pytest.approx(limits[1].lower, abs=1e-4)  # two steps against convergence


def test_an_arm_without_events_has_no_limits():
    outcome, arm, covariates, patient = two_route_data(80, seed=24)
    result = compare_weighted(outcome * ~arm, arm, covariates, patient, kind="overlap", seed=1)
    assert result.difference.value is not None
    assert (result.difference.lower, result.difference.upper) == (None, None)
    assert (result.ratio.value, result.ratio.upper) == (None, None)
    assert "not estimable" in result.difference.note
    assert "not estimable" in result.ratio.note


def test_few_patients_are_remarked_on():
    outcome, arm, _, _ = two_route_data(60, seed=25)
    result = compare_with_weights(outcome, arm, np.ones(60), np.arange(60) % 10)
    assert "fewer than 20 patients" in result.difference.note


def test_separated_arms_are_refused():
    outcome, arm, covariates, patient = two_route_data(60, seed=26)
    with pytest.raises(SeparationError):
        compare_weighted(outcome, arm, np.column_stack([covariates, arm]), patient, kind="overlap", seed=1)


def test_effective_sample_size():
    assert effective_sample_size([2.0, 2.0, 2.0]) == pytest.approx(3.0)
    assert effective_sample_size([1.0, 0.0]) == pytest.approx(1.0)
    with pytest.raises(EstimatorError):
        effective_sample_size([0.0, 0.0])


@pytest.mark.parametrize(
    ("change", "parameter"),
    [
        ({"kind": "trimmed"}, "kind"),
        ({"seed": -1}, "seed"),
        ({"level": 1.0}, "level"),
        ({"resamples": 10}, "resamples"),
        ({"clusters": np.zeros(60)}, "clusters"),
        ({"clusters": np.zeros(59)}, "clusters"),
        ({"outcome": np.full(60, np.nan)}, "outcome"),
    ],
)
def test_refusals_name_the_parameter(change, parameter):
    outcome, arm, covariates, patient = two_route_data(60, seed=27)
    given_ = {"outcome": outcome, "treated": arm, "covariates": covariates, "clusters": patient}
    with pytest.raises(EstimatorError) as refusal:
        compare_weighted(**{**given_, "kind": "overlap", "seed": 1, **change})
    assert refusal.value.parameter == parameter


def test_weights_that_empty_an_arm_are_refused():
    outcome, arm, _, patient = two_route_data(60, seed=28)
    with pytest.raises(EstimatorError, match="weights"):
        compare_with_weights(outcome, arm, arm.astype(float), patient)


TIMED = """
import sys, time
from outcomes.estimators.weighting import compare_weighted
assert not {"scipy.stats", "pandas", "django"} & set(sys.modules), "the estimators import too much"
from tests.outcomes.estimators.weighting_charts_data import two_route_data
rows = two_route_data(int(sys.argv[1]), seed=29, columns=10)
best = float("inf")
for _ in range(3):
    begun = time.process_time()
    compare_weighted(*rows, kind="overlap", seed=1, resamples=1_000)
    best = min(best, time.process_time() - begun)
print(best)
"""


@pytest.mark.parametrize(("rows", "seconds"), [("200", 0.1), ("10000", 1.0)])
def test_time_of_a_thousand_resamples(rows, seconds):
    """Processor time on one thread, so that other work on the machine hardly counts."""
    environment = {**os.environ, "OPENBLAS_NUM_THREADS": "1"}
    root = Path(__file__).parents[3]
    done = subprocess.run(
        [sys.executable, "-c", TIMED, rows],
        env=environment,
        cwd=root,
        capture_output=True,
        text=True,
        check=True,
    )
    assert float(done.stdout) < seconds


@pytest.mark.parametrize("kind", KINDS)
def test_a_model_serves_several_outcomes(kind):
    outcome, arm, covariates, patient = two_route_data(120, seed=31)
    model = fit_propensity(covariates, arm)
    for value in (outcome, 1 - outcome):
        common = {"kind": kind, "seed": 2, "resamples": 100}
        assert weighting.compare_by_model(model, value, patient, **common) == compare_weighted(
            value, arm, covariates, patient, **common
        )
