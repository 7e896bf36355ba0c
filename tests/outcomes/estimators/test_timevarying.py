import itertools
import warnings

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.duration.hazard_regression import PHReg

from outcomes.estimators.base import EstimatorError
from outcomes.estimators.timevarying import cox
from tests.outcomes.estimators.times_data import PROPERTY, inputs, near, published, table

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # the oracle warns of its own coming changes on import
    from surpyval import CoxPH


def fit_table(rows, names, *, ties="efron", patient="id"):
    return cox(
        entry=rows["start"],
        exit=rows["stop"],
        event=rows["event"],
        covariates=rows[names],
        names=names,
        patient=rows[patient],
        ties=ties,
    )


def test_published_recurrences_with_patient_robust_errors():
    known = published("ag-bladder-robust")
    fit = fit_table(table("bladder2.csv"), inputs("ag-bladder-robust")["terms"], ties="breslow")
    assert fit.coefficients == near("ag-bladder-robust", known["coef"])
    assert fit.std_error == near("ag-bladder-robust", known["se"])
    assert fit.robust_std_error == near("ag-bladder-robust", known["robust_se"])
    assert (fit.events, fit.clusters) == (112, 85)


def test_recorded_recurrences_under_efron_ties():
    known = published("ag-bladder-efron")
    fit = fit_table(table("bladder2.csv"), inputs("ag-bladder-efron")["terms"])
    assert fit.coefficients[0] == near("ag-bladder-efron", known["coef_rx"])
    assert fit.robust_std_error[0] == near("ag-bladder-efron", known["robust_se_rx"])


def test_recorded_heart_transplants_with_the_transplant_varying_in_time():
    known = published("immortal-stanford")
    fit = fit_table(table("heart.csv"), list(known["coef"]))
    assert fit.coefficients == near("immortal-stanford", list(known["coef"].values()))
    assert fit.std_error == near("immortal-stanford", list(known["se"].values()))


def test_immortal_time_makes_a_neutral_treatment_look_protective():
    known = published("immortal-stanford-bias")
    rows = table("jasa.csv")
    ever = cox(
        exit=rows["futime"], event=rows["fustat"], covariates=rows[["transplant"]], names=["transplant"]
    )
    after = fit_table(table("heart.csv"), ["transplant"]).hazard_ratio("transplant")
    biased = ever.hazard_ratio("transplant")
    assert biased.value == near("immortal-stanford-bias", known["ever_transplanted"])
    assert after.value == near("immortal-stanford-bias", known["after_transplant"])
    assert biased.upper < 1.0 < after.upper
    assert after.lower < 1.0


def test_published_transplant_model_on_times_counted_from_zero():
    # The 1980 analysis counted the first day as 0: one day less, half a day for a death on it, no empty rows.
    rows = table("heart.csv")
    rows["start"], rows["stop"] = np.maximum(rows["start"] - 1, 0), rows["stop"] - 1
    rows.loc[(rows["stop"] == 0) & (rows["event"] == 1), "stop"] = 0.5
    rows = rows[rows["stop"] > 0].copy()
    for name in ("age", "surgery"):
        rows[f"{name}:transplant"] = rows[name] * rows["transplant"]
    fit = fit_table(rows, inputs("immortal-kp-jasa1")["terms"], ties="breslow")
    assert fit.rows == 170
    assert fit.coefficients == near("immortal-kp-jasa1", published("immortal-kp-jasa1"))


def invented_patients(size, seed, *, columns=2, spread=15):
    random = np.random.default_rng(seed)
    exit = random.integers(2, spread, size)
    return {
        "exit": exit,
        "entry": np.where(random.random(size) < 0.4, random.integers(0, spread, size) % exit, 0),
        "event": random.random(size) < 0.7,
        "covariates": random.normal(size=(size, columns)),
        "names": [f"x{column}" for column in range(columns)],
        "patient": random.integers(0, max(2, size // 2), size),
    }


def slow_likelihood(rows, beta, ties):
    """Log partial likelihood, one event time after the other."""
    total = 0.0
    hazard = np.exp(rows["covariates"] @ beta)
    started = np.where(rows["entry"] > 0, rows["entry"], -1)
    for time in np.unique(rows["exit"][rows["event"]]):
        at_risk = (started < time) & (time <= rows["exit"])
        died = np.flatnonzero(rows["event"] & (rows["exit"] == time))
        for passed, row in enumerate(died):
            part = passed / died.size if ties == "efron" else 0.0
            total += rows["covariates"][row] @ beta
            total -= np.log(hazard[at_risk].sum() - part * hazard[died].sum())
    return total


@pytest.mark.parametrize("ties", ["efron", "breslow"])
@pytest.mark.parametrize("seed", range(3))
def test_fit_is_the_top_of_a_slow_likelihood(seed, ties):
    rows = invented_patients(60, seed)
    fit = cox(**rows, ties=ties)
    step = 1e-4
    shifted = {
        signs: slow_likelihood(rows, fit.coefficients + step * np.array(signs), ties)
        for signs in itertools.product([-1, 0, 1], repeat=2)
    }
    slopes = [shifted[1, 0] - shifted[-1, 0], shifted[0, 1] - shifted[0, -1]]
    assert np.array(slopes) / (2 * step) == pytest.approx([0.0, 0.0], abs=1e-5)
    curve = (2 * shifted[0, 0] - shifted[1, 0] - shifted[-1, 0]) / step**2
    assert np.linalg.inv(fit.covariance)[0, 0] == pytest.approx(curve, rel=1e-4)


@pytest.mark.parametrize("ties", ["efron", "breslow"])
def test_fixed_covariates_agree_with_an_independent_library(ties):
    rows = invented_patients(80, 3)
    plain = {**rows, "entry": None, "patient": None}
    fit = cox(**plain, ties=ties)
    oracle = PHReg(rows["exit"], rows["covariates"], status=rows["event"].astype(int), ties=ties).fit()
    assert np.allclose(fit.coefficients, oracle.params, atol=1e-8)
    assert np.allclose(fit.std_error, oracle.bse, atol=1e-8)
    assert fit.log_likelihood == pytest.approx(oracle.llf, abs=1e-8)


@pytest.mark.parametrize("ties", ["efron", "breslow"])
def test_robust_errors_agree_with_an_independent_library(ties):
    rows = invented_patients(80, 4)
    fit = cox(**rows, ties=ties)
    model = CoxPH.fit(
        rows["exit"].astype(float),
        rows["covariates"],
        c=1 - rows["event"].astype(int),
        tl=rows["entry"].astype(float),
        tie_method=ties,
    )
    assert np.allclose(fit.coefficients, model.beta, atol=1e-7)
    assert np.allclose(fit.robust_covariance, model.robust_covariance(cluster=rows["patient"]), atol=1e-7)


@PROPERTY
@given(st.integers(0, 10**6), st.sampled_from(["efron", "breslow"]))
def test_order_unit_and_splitting_of_rows_do_not_matter(seed, ties):
    rows = invented_patients(40, seed)
    first = cox(**rows, ties=ties)
    halves = np.where(rows["exit"] - rows["entry"] > 1, rows["exit"] - 1, rows["exit"])
    cut = halves < rows["exit"]
    split = {
        "entry": np.concatenate([rows["entry"], halves[cut]]) / 8,
        "exit": np.concatenate([halves, rows["exit"][cut]]) / 8,
        "event": np.concatenate([rows["event"] & ~cut, rows["event"][cut]]),
        "covariates": np.vstack([rows["covariates"], rows["covariates"][cut]]),
        "patient": np.concatenate([rows["patient"], rows["patient"][cut]]),
    }
    order = np.random.default_rng(seed).permutation(split["exit"].size)
    second = cox(**{name: values[order] for name, values in split.items()}, names=rows["names"], ties=ties)
    assert np.allclose(first.coefficients, second.coefficients, atol=1e-7)
    assert np.allclose(first.robust_covariance, second.robust_covariance, atol=1e-7)


def test_swapping_a_coded_arm_inverts_the_hazard_ratio():
    rows = invented_patients(60, 6, columns=1)
    arm = (rows["covariates"] > 0).astype(float)
    one, other = (cox(**{**rows, "covariates": code}).hazard_ratio("x0") for code in (arm, 1 - arm))
    assert one.value == pytest.approx(1 / other.value)
    assert one.lower == pytest.approx(1 / other.upper)
    assert one.p_value == pytest.approx(other.p_value)


def test_events_at_time_zero_count():
    arguments = {"event": [1, 1, 1, 0, 1], "covariates": [[1], [0], [1], [0], [0]], "names": ["x"]}
    shifted = cox(exit=[1, 2, 3, 4, 5], **arguments)
    assert cox(exit=[0, 1, 2, 3, 4], **arguments).coefficients == pytest.approx(shifted.coefficients)


@pytest.mark.parametrize(
    ("parameter", "changes"),
    [
        ("exit", {"exit": [3, 4, -1, 6]}),
        ("exit", {"entry": [3, 0, 0, 0]}),
        ("entry", {"entry": [0, 0]}),
        ("event", {"event": [0, 0, 0, 0]}),
        ("event", {"event": [0, 2, 0, 0]}),
        ("covariates", {"covariates": [[1], [0], [1]]}),
        ("covariates", {"covariates": [[1], [0], [np.nan], [0]]}),
        ("covariates", {"covariates": [[1], [1], [1], [1]]}),
        ("covariates", {"covariates": [[1], [1], [0], [0]], "event": [1, 1, 0, 0]}),
        ("ties", {"ties": "exact"}),
        ("patient", {"patient": [1, 2]}),
    ],
)
def test_refusals_name_the_parameter(parameter, changes):
    sound = {"exit": [3, 4, 5, 6], "event": [1, 1, 1, 0], "covariates": [[1], [0], [1], [0]], "names": ["x"]}
    with pytest.raises(EstimatorError) as refusal:
        cox(**{**sound, **changes})
    assert refusal.value.parameter == parameter


@pytest.mark.parametrize("seed", range(4))
def test_a_covariate_that_repeats_others_is_refused(seed):
    rows = invented_patients(50, seed)
    mixed = np.column_stack([rows["covariates"], rows["covariates"] @ [1.0, 3.0]])
    with pytest.raises(EstimatorError, match="covariates"):
        cox(**{**rows, "covariates": mixed, "names": ["x0", "x1", "x2"]})


def test_the_scale_of_a_covariate_does_not_matter():
    rows = invented_patients(50, 1)
    scaled = cox(**{**rows, "covariates": rows["covariates"] * [1e6, 1e-4]})
    assert scaled.coefficients * [1e6, 1e-4] == pytest.approx(cox(**rows).coefficients, rel=1e-7)


def test_an_unknown_covariate_name_is_refused():
    with pytest.raises(EstimatorError, match="name"):
        fit_table(table("heart.csv"), ["age"]).hazard_ratio("transplant")
