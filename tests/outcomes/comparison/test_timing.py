"""Curves, test and restricted means of the routes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from outcomes.comparison import timing as subject
from outcomes.comparison.build import build_comparison, chosen_units
from outcomes.comparison.choices import Choices
from outcomes.comparison.page import further_tables
from outcomes.comparison.page.later_sections import time_section
from outcomes.comparison.page.section import Words
from outcomes.comparison.value import Incidence, Share, Timing
from outcomes.dataset import deriving
from outcomes.dataset.clock import minute_of
from outcomes.estimators.competing import gray_test
from outcomes.estimators.tally import tally_exits
from tests.outcomes.comparison.simulated import CUT, DAY, programme, stories


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


def mean_days(day, cause):
    """Of one arm, a row a patient; cause 0 is censored, 1 mobilised, 2 died."""
    size = len(day)
    cells = subject._cells(np.arange(size), np.ones(size, bool), np.array(day), np.array(cause))
    return subject._mean_days(cells.sum(axis=0))[0]


def test_restricted_mean_days_by_hand():
    """Four followed to day 7: walked on day 1 and 3, died on day 2, still in bed on day 9."""
    # Share walking: 1/4 from day 1, 2/4 from day 3; mean days not walking within 7 = 7 - 6/4 - 4/4.
    assert mean_days([1, 3, 2, 9], [1, 1, 2, 0]) == pytest.approx(7 - 6 / 4 - 4 / 4)


def test_restricted_mean_allows_for_the_censored():
    """Censored on day 1 of two, the other walks on day 2: half of the weight moves to it."""
    assert mean_days([1, 2], [0, 1]) == pytest.approx(7 - 5)


@pytest.mark.parametrize(("last_day", "known"), [(1, False), (5, False), (6, True), (7, True)])
def test_restricted_mean_needs_somebody_followed_on_the_last_of_the_days(last_day, known):
    """Days are numbered from 0, so day 6 is the seventh."""
    assert np.isfinite(mean_days([last_day] * 10, [0] * 10)) == known


def test_an_arm_lost_before_the_horizon_has_no_restricted_mean_but_a_reason():
    """Twenty axillary patients began a day before the data cut; none was seen mobilised."""
    found = stories(
        60, 35,
        chance_axillary=lambda severe, age: np.arange(60) >= 40,
        risk=lambda axillary, severe, age: np.full(60, 0.2),
    )  # fmt: skip
    start = np.where(found.axillary, minute_of(CUT) - DAY, found.start)
    made = programme(replace(found, start=start))
    for _, axillary, femoral, contrast in subject.timing(
        made, chosen_units(made, Choices())
    ).restricted_means:
        assert (axillary, femoral) == (None, 7.0)
        assert (contrast.value, contrast.lower, contrast.upper) == (None, None, None)
        assert contrast.note == (
            "follow-up ends before 7 days are over, with people still waiting, in the axillary group"
        )


def spread_of(patient, axillary, day):
    cells = subject._cells(patient, axillary, day, np.ones(day.size, dtype=int))
    lower, upper = subject._resampled(cells, 0.95)
    return upper - lower


def test_rows_of_one_patient_are_drawn_together():
    """Three like rows of each patient say no more than one of them."""
    random = np.random.default_rng(36)
    axillary, day = np.repeat([True, False], 40), random.integers(0, 7, 80)
    once = spread_of(np.arange(80), axillary, day)
    thrice = [np.repeat(column, 3) for column in (np.arange(80), axillary, day)]
    assert spread_of(*thrice) == pytest.approx(once, rel=1e-12)
    assert spread_of(np.arange(240), *thrice[1:]) < 0.7 * once


def test_no_limits_where_too_many_resamples_lose_an_arm():
    """One patient alone was followed to the last day: a third of the resamples are without that one."""
    day, cause = np.array([1] * 9 + [9] + [9] * 10), np.zeros(20, dtype=int)
    cells = subject._cells(np.arange(20), np.arange(20) < 10, day, cause)
    assert np.isfinite(subject._mean_days(cells.sum(axis=0))).all()
    assert subject._resampled(cells, 0.95) is None


def changed(*, walked_day: float, ended_day: float = 9.0, change_day: float = 4.0):
    """Twelve femoral courses, of which six were changed to axillary, and six axillary ones; all walked."""
    size = 18
    found = stories(
        size, 35,
        chance_axillary=lambda severe, age: np.arange(size) >= 12,
        risk=lambda axillary, severe, age: np.zeros(size),
    )  # fmt: skip
    switched = np.where(np.arange(size) < 6, change_day, np.inf)
    made = programme(replace(found, switched_day=switched, ended_day=np.full(size, ended_day)))
    rows = {
        "pk": np.arange(1, size + 1),
        "course": np.arange(1, size + 1),
        "started": found.start + int(walked_day * DAY),
        "level": np.full(size, 8),
    }
    sessions = deriving.derive_sessions(rows, made.dataset.courses, cut=made.dataset.cut)
    return replace(made, dataset=replace(made.dataset, sessions=sessions))


@pytest.mark.parametrize(("walked_day", "moved"), [(2.0, 0), (6.0, 6)])
def test_who_walked_after_the_change_of_route_is_counted(walked_day, moved):
    made = changed(walked_day=walked_day)
    for found in subject.timing(made, chosen_units(made, Choices())).mobilisation:
        axillary, femoral = found.moved
        assert (femoral.hits, femoral.total) == (moved, 12)
        assert (axillary.hits, axillary.total) == (0, 6)
        assert femoral.total == found.counts[1].hits
    as_used = subject.timing(made, chosen_units(made, Choices(view="used")))
    assert all(found.moved == () for found in as_used.mobilisation)


def test_the_page_says_who_walked_after_the_change_of_route():
    made = changed(walked_day=6.0)
    comparison = build_comparison(dataset=made.dataset, facts=made.facts, parts=("timing",))
    said = [part.text for part in time_section(comparison).parts if isinstance(part, Words)]
    assert "First walk: in the femoral group 6 of 12 came after the change to axillary." in said


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


def test_a_test_without_a_value_says_why() -> None:
    nobody = Share(key="", arm="", hits=0, total=0, value=None)
    found = Incidence(
        code="died",
        label="Died",
        lines=(),
        counts=(nobody, nobody),
        p_value=None,
        method="",
        note="an arm is empty",
    )
    timing = Timing(mobilisation=(found,), bridge=(), restricted_means=(), not_followed=())
    (row,) = further_tables.tests_table(timing).rows
    assert row.cells[-1].instead == "not estimable: an arm is empty"
