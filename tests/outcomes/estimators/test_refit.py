import numpy as np
import pytest

from outcomes.estimators.propensity import fit_propensity
from outcomes.estimators.refit import block_size, refit_resamples, resample_counts
from tests.outcomes.estimators.weighting_charts_data import two_route_data


def _counts(seed, clusters, resamples, rows):
    return np.concatenate(list(resample_counts(seed, clusters, resamples, block=block_size(rows))))


def _one_refit(outcome, arm, covariates, case_weights, overlap):
    """Repeat the rows in full, fit anew from nothing, weight, average."""
    model = fit_propensity(covariates, arm, case_weights=case_weights)
    own = np.where(arm, model.scores, 1.0 - model.scores)
    used = case_weights * (1.0 - own if overlap else 1.0 / own)
    return [used[side] @ outcome[side] / used[side].sum() for side in (arm, ~arm)]


@pytest.mark.parametrize("overlap", [False, True])
@pytest.mark.parametrize("alone", [False, True])
def test_a_plain_loop_over_the_same_counts_gives_the_same_resamples(overlap, alone):
    outcome, arm, covariates, patient = two_route_data(120, seed=31)
    cluster = np.arange(120) if alone else np.unique(patient, return_inverse=True)[1]
    model = fit_propensity(covariates, arm)
    drawn = refit_resamples(model, outcome, cluster, overlap=overlap, resamples=40, seed=8, converge=True)
    counts = _counts(8, cluster.max() + 1, 40, 120)
    slow = np.array([_one_refit(outcome, arm, covariates, row[cluster], overlap) for row in counts])
    assert drawn.failed == 0
    assert drawn.treated == pytest.approx(slow[:, 0], abs=1e-8)
    assert drawn.control == pytest.approx(slow[:, 1], abs=1e-8)


def test_two_steps_are_two_newton_steps_from_the_full_fit():
    outcome, arm, covariates, _ = two_route_data(300, seed=32)
    model = fit_propensity(covariates, arm)
    drawn = refit_resamples(
        model, outcome, np.arange(300), overlap=False, resamples=10, seed=9, converge=False
    )
    slow = []
    for weights in _counts(9, 300, 10, 300):
        beta = model.coefficients
        for _ in range(2):
            p = 1.0 / (1.0 + np.exp(-model.design @ beta))
            information = (model.design * (weights * p * (1.0 - p))[:, None]).T @ model.design
            beta = beta + np.linalg.solve(information, model.design.T @ (weights * (arm - p)))
        p = 1.0 / (1.0 + np.exp(-model.design @ beta))
        used = weights / np.where(arm, p, 1.0 - p)
        slow.append(used[arm] @ outcome[arm] / used[arm].sum())
    assert drawn.treated == pytest.approx(np.array(slow), abs=1e-9)


def test_counts_are_multinomial():
    counts = _counts(1, 50, 2_000, 50)
    assert (counts.sum(axis=1) == 50).all()
    assert counts.mean(axis=0) == pytest.approx(np.ones(50), abs=0.12)
    assert counts.var() == pytest.approx(1.0 - 1.0 / 50.0, rel=0.03)


def test_blocks_do_not_change_the_draws():
    whole = np.concatenate(list(resample_counts(4, 30, 100, block=100)))
    parts = np.concatenate(list(resample_counts(4, 30, 100, block=7)))
    assert (whole == parts).all()


def test_a_resample_that_separates_is_counted_as_failed():
    random = np.random.default_rng(33)
    arm = np.arange(40) % 2 == 0
    rare = np.zeros(40)
    rare[[0, 2, 4, 1]] = 1.0  # one control row keeps the arms apart from separating; many resamples lose it
    outcome = (random.random(40) < 0.4).astype(float)
    model = fit_propensity(rare[:, None], arm)
    drawn = refit_resamples(model, outcome, np.arange(40), overlap=True, resamples=400, seed=2, converge=True)
    counts = _counts(2, 40, 400, 40)
    with_rare = counts * rare
    separated = (with_rare[:, arm].sum(axis=1) == 0) ^ (with_rare[:, ~arm].sum(axis=1) == 0)
    assert drawn.failed == separated.sum()
    assert drawn.treated.size == 400 - drawn.failed
