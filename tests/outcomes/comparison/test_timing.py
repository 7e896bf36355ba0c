"""Curves, test and restricted means of the routes."""

from __future__ import annotations

import numpy as np
import pytest

from outcomes.comparison import timing as subject
from outcomes.comparison.build import chosen_units
from outcomes.comparison.choices import Choices
from outcomes.estimators.competing import gray_test
from outcomes.estimators.tally import tally_exits
from tests.outcomes.comparison.simulated import programme, stories


@pytest.fixture(scope="module")
def made():
    return programme(
        stories(
            150, 31,
            chance_axillary=lambda severe, age: np.full(severe.shape, 0.5),
            risk=lambda axillary, severe, age: np.full(severe.shape, 0.2),
        )
    )  # fmt: skip


def test_grays_test_of_one_way_out_does_not_depend_on_how_the_others_are_split(made):
    units = chosen_units(made, Choices())
    found = {way.code: way for way in subject.timing(made, units).bridge}
    tally = tally_exits(
        units.exit_minutes, units.way_out, group=np.where(units.axillary, 0, 1), groups=("a", "f"), causes=6
    )
    assert found["died"].p_value == pytest.approx(gray_test(tally, cause=5).p_value, rel=1e-9)


def test_curves_start_at_0_never_fall_and_count_everybody(made):
    for way in subject.timing(made, chosen_units(made, Choices())).bridge:
        for line, share in zip(way.lines, way.counts, strict=True):
            assert np.all(np.diff(line.values) >= 0)
            assert line.reached[-1] == share.hits
            assert line.risk_counts[0] == line.subjects == share.total


def test_restricted_mean_days_by_hand():
    """Four followed to day 7: walked on day 1 and 3, died on day 2, still in bed on day 9."""
    cells = subject._cells(np.array([1, 3, 2, 9]), np.array([1, 1, 2, 0]))
    # Share walking: 1/4 from day 1, 2/4 from day 3; mean days not walking within 7 = 7 - 6/4 - 4/4.
    assert subject._mean_days(cells[None])[0] == pytest.approx(7 - 6 / 4 - 4 / 4)


def test_restricted_mean_allows_for_the_censored():
    """Censored on day 1 of two, the other walks on day 2: half of the weight moves to it."""
    cells = subject._cells(np.array([1, 2]), np.array([0, 1]))
    assert subject._mean_days(cells[None])[0] == pytest.approx(7 - 5)


def test_transfers_in_are_not_in_the_curves_and_are_counted():
    found = stories(
        60, 32,
        chance_axillary=lambda severe, age: np.full(severe.shape, 0.5),
        risk=lambda axillary, severe, age: np.full(severe.shape, 0.2),
    )  # fmt: skip
    transferred = ~found.axillary & (np.arange(60) % 2 == 0)
    made = programme(found, transferred=transferred)
    timing = subject.timing(made, chosen_units(made, Choices()))
    assert timing.not_followed[1].hits == transferred.sum()
    assert timing.bridge[0].lines[1].subjects == (~found.axillary & ~transferred).sum()


def test_too_few_give_no_curve_but_a_reason():
    made = programme(
        stories(
            6, 33,
            chance_axillary=lambda severe, age: np.arange(6) < 2,
            risk=lambda axillary, severe, age: np.full(6, 0.2),
        )
    )  # fmt: skip
    timing = subject.timing(made, chosen_units(made, Choices()))
    assert timing.bridge[0].lines == ()
    assert "too few followed from the start" in timing.bridge[0].note
