"""The learning curve, its signal rule, and trend charts from a frozen baseline."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from outcomes.comparison import limits
from outcomes.comparison import over_time as subject
from outcomes.comparison.answers import answers
from outcomes.comparison.build import chosen_units
from outcomes.comparison.choices import Choices
from outcomes.comparison.endpoints import BY_CODE
from outcomes.comparison.units import units_of
from outcomes.estimators.cusum import binary_increments, run_length
from tests.outcomes.comparison.simulated import programme, stories

SERIOUS = BY_CODE["SERIOUS"]


def steady(size: int, seed: int, risk: float = 0.3):
    return stories(
        size, seed,
        chance_axillary=lambda severe, age: np.full(severe.shape, 0.5),
        risk=lambda axillary, severe, age: np.full(severe.shape, risk),
    )  # fmt: skip


def test_the_threshold_holds_false_signals_to_the_stated_number_of_cases():
    risks = np.full(50, 0.25)
    found = subject.signal_threshold(risks, 2.0)
    assert found.mean >= limits.CUSUM_CASES_BETWEEN_FALSE_SIGNALS
    lower = run_length(binary_increments([0.25], odds_ratio=2.0), found.threshold - 0.05, states=400)
    assert lower.mean < limits.CUSUM_CASES_BETWEEN_FALSE_SIGNALS * 1.05


def test_a_programme_that_worsens_signals_and_a_steady_one_seldom_does():
    quiet = programme(steady(160, 51))
    assert len(subject.learning_curve(quiet, chosen_units(quiet, Choices()), SERIOUS).signals) <= 1
    story = steady(160, 52)
    worse = story.hit | ((np.arange(160) > 80) & (np.random.default_rng(5).random(160) < 0.6))
    bad = programme(replace(story, hit=worse))
    signals = subject.learning_curve(bad, chosen_units(bad, Choices()), SERIOUS).signals
    assert any(name == "more than expected" for name, _ in signals)


def test_expected_risks_are_frozen_on_the_first_courses():
    story = steady(160, 53)
    later = replace(story, hit=np.where(np.arange(160) >= limits.CUSUM_RISK_CASES, True, story.hit))
    one, two = (
        subject.learning_curve(made, chosen_units(made, Choices()), SERIOUS)
        for made in (programme(story), programme(later))
    )
    assert one.expected == pytest.approx(two.expected)


def test_too_few_cases_give_no_learning_curve():
    made = programme(steady(12, 54))
    found = subject.learning_curve(made, chosen_units(made, Choices()), SERIOUS)
    assert found.refusal.startswith(("too few axillary", "no expected risk"))


def test_limits_of_a_trend_do_not_move_with_what_comes_later():
    story = steady(400, 55, 0.6)
    made = programme(story)
    first = subject.trends(made, SERIOUS, axillary=True)[0]
    assert first.kind == "u"
    assert first.baseline_points == limits.BASELINE_MONTHS
    late = story.start > story.start[0] + 500 * 1440
    second = subject.trends(programme(replace(story, hit=story.hit & ~late)), SERIOUS, axillary=True)[0]
    assert second.centre == first.centre
    assert second.upper[:12] == first.upper[:12]


def test_rare_events_are_charted_as_days_between_them():
    found = subject.trends(programme(steady(400, 56, 0.1)), SERIOUS, axillary=True)[0]
    assert found.kind == "t"
    assert found.refusal == ""


def test_a_young_logbook_and_an_outcome_without_events_have_no_trend():
    young = programme(stories(
        30, 57, spread_days=200,
        chance_axillary=lambda severe, age: np.full(severe.shape, 0.5),
        risk=lambda axillary, severe, age: np.full(severe.shape, 0.3),
    ))  # fmt: skip
    assert subject.trends(young, BY_CODE["DIED"], axillary=True)[0].refusal.startswith(
        "only outcomes made of events"
    )
    quarters = subject.trends(programme(steady(400, 58, 0.6)), SERIOUS, axillary=False)[0].quarters
    assert quarters[1] - quarters[0] == 3


def test_rare_events_are_also_charted_as_pumps_between_them():
    made = programme(steady(400, 56, 0.1))
    by_days, by_pumps = subject.trends(made, SERIOUS, axillary=True)
    assert (by_days.kind, by_pumps.kind) == ("t", "g")
    units = units_of(made, "intended")
    order = np.argsort(units.started[units.axillary], kind="stable")
    hit = np.flatnonzero(answers(made, units, SERIOUS).hit[units.axillary][order])
    assert by_pumps.values == tuple((np.diff(hit) - 1).tolist())
    frozen = by_pumps.values[: by_pumps.baseline_points]
    assert by_pumps.centre == pytest.approx(np.mean(frozen))
    assert "run of zeros" in by_pumps.method
    assert by_pumps.quarters[0] == 0
