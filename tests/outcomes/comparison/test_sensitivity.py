"""Other ways to count, and what it would take."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from outcomes.comparison.build import build_comparison
from outcomes.comparison.choices import Choices
from outcomes.comparison.sensitivity import rows_needed
from outcomes.comparison.summary import robustness
from outcomes.comparison.value import Share
from outcomes.estimators.differences import risk_difference
from tests.outcomes.comparison.simulated import programme, stories


def share(arm: str, hits: int, total: int) -> Share:
    return Share(key=arm, arm=arm, hits=hits, total=total, value=hits / total)


def test_rows_needed_is_where_newcombes_limits_reach_the_width():
    more = rows_needed(share("AXILLARY", 20, 100), share("FEMORAL", 10, 100), 0.05, 0.95)
    half = (200 + more) / 2

    def width(n: float) -> float:
        found = risk_difference(
            events=round(0.2 * n), total=round(n), reference_events=round(0.1 * n), reference_total=round(n)
        )
        return (found.upper - found.lower) / 2

    assert width(half * 1.02) < 0.05 < width(half * 0.98)


def test_nothing_more_is_needed_when_the_width_is_reached():
    assert rows_needed(share("AXILLARY", 20, 100), share("FEMORAL", 10, 100), 0.5, 0.95) == 0
    assert rows_needed(share("AXILLARY", 20, 100), share("FEMORAL", 10, 100), 1e-6, 0.95) is None


@pytest.fixture(scope="module")
def found():
    made = programme(
        stories(
            200, 41,
            chance_axillary=lambda severe, age: np.where(severe, 0.4, 0.6),
            risk=lambda axillary, severe, age: np.where(severe, 0.5, 0.2),
        )
    )  # fmt: skip
    return build_comparison(dataset=made.dataset, facts=made.facts, parts=("sensitivity",)).sensitivity


def test_all_ways_are_there_and_the_usual_one_first(found):
    assert [row.code for row in found.rows] == [
        "main", "first-run", "first-course", "percutaneous", "no-transfers", "learned", "complete", "weights",
        "first", "used",
    ]  # fmt: skip


def test_ways_that_leave_nobody_out_give_the_same_figures(found):
    rows = {row.code: row for row in found.rows}
    for code in ("first-course", "percutaneous", "no-transfers", "complete", "first"):
        assert rows[code].crude == rows["main"].crude


def test_the_learning_curve_is_left_out_by_time(found):
    rows = {row.code: row for row in found.rows}
    assert rows["learned"].axillary.total == rows["main"].axillary.total - 20


def test_what_it_would_take_is_said_in_two_figures(found):
    said = " ".join(robustness(found, "courses", of_events=True))
    assert "Counted in" in said
    assert "more courses" in said


@pytest.mark.parametrize(("usual", "unlike"), [((-0.30, 0.18), True), ((0.02, 0.18), False)])
def test_a_way_that_shuts_out_no_difference_is_named(found, usual, unlike):
    """As in the invented programme: −6 (−32 to +19) as intended, +23 (+4 to +41) as used."""
    main, *others = found.rows
    low, high = usual
    main = replace(main, adjusted=replace(main.adjusted, value=-0.05, lower=low, upper=high))
    used = replace(others[-1], adjusted=replace(main.adjusted, value=0.23, lower=0.04, upper=0.41))
    said = " ".join(robustness(replace(found, rows=(main, used)), "courses", of_events=False))
    assert f"in 1: {used.label.lower()} (+23)" in said
    assert ("unlike those of the usual way" in said) == unlike


def test_a_finer_answer_needs_more(found):
    more = [wanted.adjusted_more for wanted in found.wanted]
    assert more == sorted(more)
    assert Choices().outcome == "SERIOUS"
