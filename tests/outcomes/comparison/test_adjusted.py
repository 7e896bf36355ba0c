"""Confounding by indication is taken out, no effect gives about 5 % false alarms, and what cannot be
adjusted is refused in words. Effects are known because the patients are simulated.
"""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm
from statsmodels.stats.contingency_tables import StratifiedTable

from outcomes.comparison import adjusted as subject
from outcomes.comparison import limits
from outcomes.comparison.answers import answers
from outcomes.comparison.build import build_comparison, chosen_units
from outcomes.comparison.choices import Choices
from outcomes.comparison.endpoints import BY_CODE
from outcomes.comparison.filters import calendar_years, level_of
from outcomes.comparison.propensity import Weighings
from outcomes.comparison.units import Programme
from tests.outcomes.comparison.simulated import programme, stories

SERIOUS = BY_CODE["SERIOUS"]


def confounded(size: int, seed: int, effect: float) -> Programme:
    """The sick go femoral and bleed more; axillary changes the risk by ``effect``, whatever the patient."""
    found = stories(
        size,
        seed,
        chance_axillary=lambda severe, age: np.where(severe, 0.2, 0.75) - (age - 52) / 200,
        risk=lambda axillary, severe, age: (
            np.where(severe, 0.50, 0.15) + (age - 52) / 200 + effect * axillary
        ),
    )
    return programme(found)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_crude_difference_is_wrong_and_the_weighted_one_right_under_confounding_by_indication(seed):
    effect = 0.10
    comparison = build_comparison(
        dataset=(made := confounded(1_500, seed, effect)).dataset,
        facts=made.facts,
        parts=("crude", "adjusted"),
    )
    crude = comparison.crude_row("SERIOUS").difference
    assert crude.upper < effect  # axillary even looks better, as its patients are fitter
    assert crude.value < 0.02
    weighted = comparison.adjusted_row("SERIOUS").difference
    assert weighted.lower < effect < weighted.upper
    assert abs(weighted.value - effect) < 0.05


def test_strata_take_the_same_confounding_out():
    made = confounded(4_000, 4, 0.10)
    pooled = subject.stratified(made, chosen_units(made, Choices()), SERIOUS, "stage").difference
    assert pooled.lower < 0.10 < pooled.upper


def test_without_an_effect_about_one_comparison_in_twenty_is_a_false_alarm(monkeypatch):
    monkeypatch.setattr(limits, "CLOSED_FORM_FROM_ROWS", 0)
    simulations, crude_alarms, alarms = 150, 0, 0
    for seed in range(simulations):
        made = programme(
            stories(
                300,
                1_000 + seed,
                chance_axillary=lambda severe, age: np.full(severe.shape, 0.5),
                risk=lambda axillary, severe, age: np.where(severe, 0.4, 0.2),
            )
        )
        units = chosen_units(made, Choices())
        row = subject.adjusted_row(made, units, SERIOUS, Choices(), Weighings(made))
        alarms += row.difference.lower > 0 or row.difference.upper < 0
        crude_alarms += row.crude.lower > 0 or row.crude.upper < 0
    # Binomial limits of 150 trials at 5 %, with 0.1 % beyond each end: 1 to 17.
    assert 1 <= alarms <= 17
    assert 1 <= crude_alarms <= 17


def test_overlap_weights_are_those_of_a_logistic_regression_by_statsmodels():
    made = confounded(600, 5, 0.0)
    units = chosen_units(made, Choices())
    fitted = Weighings(made).of(units, "overlap")
    assert fitted.rows.all()
    oracle = sm.Logit(units.axillary * 1.0, sm.add_constant(fitted.design.columns)).fit(disp=0).predict()
    weights = np.where(units.axillary, 1 - oracle, oracle)
    assert fitted.weights == pytest.approx(weights, abs=1e-8)
    hit = answers(made, units, SERIOUS).hit
    means = [np.average(hit[arm], weights=weights[arm]) for arm in (units.axillary, ~units.axillary)]
    row = subject.adjusted_row(made, units, SERIOUS, Choices(), Weighings(made))
    assert row.difference.value == pytest.approx(means[0] - means[1], abs=1e-8)


def test_pooled_ratio_is_that_of_statsmodels():
    made = confounded(900, 6, 0.05)
    units = chosen_units(made, Choices())
    hit = answers(made, units, SERIOUS).hit
    stratum = level_of(made, units, "stage") * 10_000 + calendar_years(made, units)
    tables = []
    for value in np.unique(stratum):
        cells = [
            [np.sum(hit & arm & (stratum == value)), np.sum(~hit & arm & (stratum == value))]
            for arm in (units.axillary, ~units.axillary)
        ]
        if min(map(sum, cells)):
            tables.append(np.array(cells))
    found = subject.stratified(made, units, SERIOUS, "stage")
    assert found.strata == len(tables)
    assert found.ratio.value == pytest.approx(StratifiedTable(tables).riskratio_pooled, rel=1e-10)


def test_few_events_are_refused_in_words():
    made = programme(
        stories(
            200, 7,
            chance_axillary=lambda severe, age: np.full(severe.shape, 0.5),
            risk=lambda axillary, severe, age: np.full(severe.shape, 0.02),
        )
    )  # fmt: skip
    row = subject.adjusted_row(made, chosen_units(made, Choices()), SERIOUS, Choices(), Weighings(made))
    assert row.difference.value is None
    assert row.refusal == "not adjusted, too few events: at least 10 are needed"


def test_few_patients_in_an_arm_are_refused_in_words():
    made = programme(
        stories(
            100, 8,
            chance_axillary=lambda severe, age: np.full(severe.shape, 0.1),
            risk=lambda axillary, severe, age: np.full(severe.shape, 0.5),
        )
    )  # fmt: skip
    row = subject.adjusted_row(made, chosen_units(made, Choices()), SERIOUS, Choices(), Weighings(made))
    assert row.refusal == "too few patients in the axillary arm: at least 20 are needed"


def test_arms_without_overlap_are_refused_in_words():
    made = programme(
        stories(
            300, 9,
            chance_axillary=lambda severe, age: np.where(severe, 0.04, 0.96),
            risk=lambda axillary, severe, age: np.full(severe.shape, 0.5),
        )
    )  # fmt: skip
    fitted = Weighings(made).of(chosen_units(made, Choices()), "overlap")
    assert fitted.refusal == (
        "no overlap: fewer than 15 courses of the axillary arm had a real chance of either route (between "
        "10% and 90%)"
    )


def test_separated_arms_are_refused_and_the_term_named():
    made = programme(
        stories(
            300, 10,
            chance_axillary=lambda severe, age: (age < 52) * 1.0,
            risk=lambda axillary, severe, age: np.full(severe.shape, 0.5),
        )
    )  # fmt: skip
    fitted = Weighings(made).of(chosen_units(made, Choices()), "overlap")
    assert fitted.refusal.startswith("nothing to compare: ")
    assert "age" in fitted.refusal


def test_who_could_not_have_had_either_route_is_left_out_and_named():
    found = stories(
        400, 11,
        chance_axillary=lambda severe, age: np.full(severe.shape, 0.6),
        risk=lambda axillary, severe, age: np.full(severe.shape, 0.4),
    )  # fmt: skip
    transferred = ~found.axillary & (np.arange(400) % 3 == 0)
    made = programme(found, transferred=transferred)
    fitted = Weighings(made).of(chosen_units(made, Choices()), "overlap")
    (left_out,) = fitted.restricted
    assert (left_out.what, left_out.never) == ("arrived with a device in place", "AXILLARY")
    assert left_out.count == transferred.sum()
    assert not fitted.rows[transferred].any()
    assert fitted.every_weight[transferred].sum() == 0.0


def test_calendar_time_is_always_among_the_terms():
    made = confounded(300, 12, 0.0)
    fitted = Weighings(made).of(chosen_units(made, Choices()), "overlap")
    assert fitted.design.names[0] == "calendar time"
