import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog

from outcomes.estimators.base import EstimatorError
from outcomes.estimators.propensity import SeparationError, fit_propensity
from tests.outcomes.estimators.weighting_charts_data import nhefs_terms, table, two_route_data


def test_agrees_with_statsmodels_logit():
    _, arm, covariates, _ = two_route_data(300, seed=1)
    covariates = covariates * [1.0, 1e3, 1e-2] + [50.0, 0.0, 7.0]
    model = fit_propensity(covariates, arm, terms=["age", "weight", "lactate"])
    other = sm.Logit(arm.astype(float), sm.add_constant(covariates)).fit(
        disp=0, tol=1e-14, warn_convergence=False
    )
    assert model.coefficients == pytest.approx(other.params, rel=1e-8)
    assert np.sqrt(np.diag(model.covariance)) == pytest.approx(other.bse, rel=1e-8)
    assert model.log_likelihood == pytest.approx(other.llf, rel=1e-10)
    assert model.scores == pytest.approx(other.predict(), abs=1e-10)
    assert model.terms == ("intercept", "age", "weight", "lactate")


def test_agrees_on_a_collinear_published_data_set():
    data = table("nhefs1566.csv")
    model = fit_propensity(nhefs_terms(data), data["qsmk"])
    other = sm.GLM(data["qsmk"], model.design, family=sm.families.Binomial()).fit(tol=1e-12)
    assert model.scores == pytest.approx(other.fittedvalues.to_numpy(), abs=1e-8)


def test_case_weights_are_repeats():
    _, arm, covariates, _ = two_route_data(60, seed=2)
    times = np.random.default_rng(3).multinomial(60, np.full(60, 1 / 60))
    weighted = fit_propensity(covariates, arm, case_weights=times)
    repeated = fit_propensity(np.repeat(covariates, times, axis=0), np.repeat(arm, times))
    assert weighted.coefficients == pytest.approx(repeated.coefficients, abs=1e-9)
    assert weighted.covariance == pytest.approx(repeated.covariance, abs=1e-9)


def test_no_covariates_give_the_share():
    model = fit_propensity(np.empty((5, 0)), [1, 1, 0, 0, 0])
    assert model.scores == pytest.approx([0.4] * 5)


def test_complete_separation_names_the_terms():
    x = np.arange(10.0)
    with pytest.raises(SeparationError) as refusal:
        fit_propensity(
            np.column_stack([x, np.tile([0.0, 1.0, 1.0, 0.0, 1.0], 2)]), x > 4.5, terms=["age", "sex"]
        )
    assert refusal.value.parameter == "covariates"
    assert "age" in refusal.value.terms


def test_quasi_complete_separation_names_the_term():
    _, arm, covariates, _ = two_route_data(80, seed=4, columns=2)
    shock = np.zeros(80)
    shock[np.flatnonzero(arm)[:6]] = 1.0  # only treated rows have it
    with pytest.raises(SeparationError) as refusal:
        fit_propensity(np.column_stack([covariates, shock]), arm, terms=["age", "sex", "shock"])
    assert refusal.value.terms == ("shock",)


def _separable(design, arm):
    """Whether some direction never points to the wrong arm, by linear programming (Albert, Anderson 1984)."""
    signed = np.where(arm[:, None], design, -design)
    bounds = [(-1.0, 1.0)] * design.shape[1]
    best = linprog(-signed.sum(axis=0), A_ub=-signed, b_ub=np.zeros(arm.size), bounds=bounds)
    return -best.fun > 1e-7


@settings(max_examples=80, deadline=None)
@given(seed=st.integers(0, 10**6), rows=st.integers(8, 30), columns=st.integers(1, 4))
def test_separation_is_found_exactly_when_it_is_there(seed, rows, columns):
    random = np.random.default_rng(seed)
    covariates, arm = random.normal(size=(rows, columns)), np.arange(rows) % 2 == 0
    expected = _separable(np.column_stack([np.ones(rows), covariates]), arm)
    try:
        fit_propensity(covariates, arm)
        found = False
    except SeparationError:
        found = True
    assert found == expected


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 10**6))
def test_row_order_and_swapped_arms(seed):
    _, arm, covariates, _ = two_route_data(60, seed=seed)
    order = np.random.default_rng(seed).permutation(60)
    model = fit_propensity(covariates, arm)
    moved = fit_propensity(covariates[order], arm[order])
    swapped = fit_propensity(covariates, ~arm)
    assert moved.scores == pytest.approx(model.scores[order], abs=1e-9)
    assert swapped.scores == pytest.approx(1.0 - model.scores, abs=1e-9)


@pytest.mark.parametrize(
    ("call", "parameter"),
    [
        (lambda: fit_propensity([[1.0], [2.0], [1.5]], [1, 1, 1]), "treated"),
        (lambda: fit_propensity([[1.0], [np.nan], [1.5]], [1, 0, 1]), "covariates"),
        (lambda: fit_propensity([1.0, 2.0, 3.0], [1, 0, 1]), "covariates"),
        (lambda: fit_propensity([[1.0], [1.0], [1.0]], [1, 0, 1]), "covariates"),
        (
            lambda: fit_propensity([[1.0, 2.0], [2.0, 4.0], [0.0, 0.0], [5.0, 10.0]], [1, 0, 1, 0]),
            "covariates",
        ),
        (lambda: fit_propensity([[1.0], [2.0], [1.5]], [1, 0, 1], terms=["a", "b"]), "terms"),
        (lambda: fit_propensity([[1.0], [2.0], [1.5]], [1, 0, 1], case_weights=[1, 0, 1]), "case_weights"),
    ],
)
def test_refusals_name_the_parameter(call, parameter):
    with pytest.raises(EstimatorError) as refusal:
        call()
    assert refusal.value.parameter == parameter
