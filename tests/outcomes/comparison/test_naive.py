"""Immortal time: the naive figure is wrong and ours right, on open data and on simulated courses."""

from __future__ import annotations

import numpy as np
import pytest

from outcomes.comparison.build import chosen_units
from outcomes.comparison.choices import Choices
from outcomes.comparison.naive import histories, naive, naive_hazard, state_hazard
from tests.outcomes.comparison.simulated import Stories, programme, stories
from tests.outcomes.estimators.times_data import table


def test_heart_transplants_look_wonderful_until_the_waiting_is_counted_as_waiting():
    """Hazard ratios 0.27 for "ever transplanted" and 1.14 from the day of the transplant on.

    Crowley J, Hu M, J Am Stat Assoc 1977;72:27-36, "Covariance analysis of heart transplant survival data",
    doi:10.1080/01621459.1977.10479903; data: R package survival, jasa. Values from R's coxph.
    """
    patients = table("jasa.csv")
    ended = patients["futime"].to_numpy() + 1.0
    reached = patients["wait.time"].to_numpy() + 1.0
    # A transplant on the day of death came before it.
    reached = np.where(reached >= ended, ended - 0.5, reached)
    found = histories(
        ended=ended, died=patients["fustat"] == 1, reached=np.where(np.isnan(reached), np.inf, reached)
    )
    assert naive_hazard(found, 0.95).value == pytest.approx(0.27, abs=0.005)
    ours = state_hazard(found, 0.95)
    assert ours.value == pytest.approx(1.14, abs=0.005)
    assert ours.lower < 1.0 < ours.upper


def crossing(size: int, seed: int) -> Stories:
    """Everybody begins femoral and dies at one rate whatever the route; the move comes at another rate."""
    random = np.random.default_rng(seed)
    base = stories(
        size,
        seed,
        chance_axillary=lambda severe, age: np.zeros(severe.shape),
        risk=lambda axillary, severe, age: np.zeros(severe.shape),
    )
    death, leave, move = (
        random.exponential(25, size),
        random.exponential(30, size),
        random.exponential(8, size),
    )
    ended = np.minimum(death, leave) + 0.01
    switched = np.where(move < ended - 0.01, move, np.inf)
    return Stories(
        base.axillary, base.severe, base.age, base.hit, death < leave, ended, switched, base.start, base.sex
    )


def test_simulated_crossovers_make_axillary_look_better_only_to_the_naive():
    made = programme(crossing(1_200, 1))
    found = naive(made, chosen_units(made, Choices()))
    assert found.naive_hazard.upper < 0.75
    assert found.state_hazard.lower < 1.0 < found.state_hazard.upper
    assert abs(np.log(found.state_hazard.value)) < 0.25


def test_immortal_days_are_the_days_before_the_first_axillary_pump():
    stories_ = crossing(300, 2)
    found = naive(made := programme(stories_), chosen_units(made, Choices()))
    moved = np.isfinite(stories_.switched_day)
    assert found.crossed.hits == moved.sum()
    assert found.immortal_days == pytest.approx(stories_.switched_day[moved].sum(), abs=0.5)


def test_too_few_deaths_give_no_hazard_ratio():
    quiet = stories(
        60, 3,
        chance_axillary=lambda severe, age: np.full(severe.shape, 0.5),
        risk=lambda axillary, severe, age: np.zeros(severe.shape),
    )  # fmt: skip
    quiet = Stories(**{**quiet.__dict__, "died": np.zeros(60, dtype=bool)})
    found = naive(made := programme(quiet), chosen_units(made, Choices()))
    assert found.state_hazard.value is None
    assert "too few deaths" in found.state_hazard.note
