"""The comparison read at every quarter end, beside the pages of all quarters: no outcome is told apart.

Everything that the committee can open at each of them, unfiltered and by each filter, goes into one linear
system of whole counts; the solver of test_committee looks for numbers that came in between any two quarter
ends, or stood at one, and are pinned among the small.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import fields, replace
from datetime import UTC, datetime, timedelta
from functools import cache
from itertools import combinations, pairwise, product

import numpy as np
import pytest

from outcomes import committee
from outcomes.comparison import guard
from outcomes.comparison.answers import answers
from outcomes.comparison.choices import Choices
from outcomes.comparison.cuts import (
    hit_minutes,
    last_quarter_end,
    quarter_before,
    quarter_ends,
    running_counts,
    shown_at,
)
from outcomes.comparison.endpoints import BY_CODE
from outcomes.comparison.filters import calendar_years
from outcomes.comparison.units import Programme, units_of
from outcomes.comparison.value import ARMS, Share
from outcomes.dataset.clock import minute_of
from outcomes.period import Period
from outcomes.report import build_report
from tests.outcomes.comparison.simulated import ZONE, programme, stories
from tests.outcomes.comparison.test_committee import THRESHOLD, System, seen

CODE = "BLEEDING"
QUARTERS = tuple(f"{year}-Q{quarter}" for year in (2023, 2024, 2025) for quarter in (1, 2, 3, 4))[:8]
CUTS = tuple(Period.parse(quarter, ZONE).end - timedelta(minutes=1) for quarter in QUARTERS)
LEVELS = {"sex": ("F", "M"), "stage": ("C", "D"), "period": ("2023", "2024", "2025")}
PARTS = (("all", ""), *((name, value) for name, values in LEVELS.items() for value in values))


@cache
def made(seed: int, risk: float, cut_at: datetime) -> Programme:
    story = stories(
        220,
        seed,
        chance_axillary=lambda severe, age: np.full(severe.shape, 0.5),
        risk=lambda axillary, severe, age: np.full(severe.shape, risk),
        spread_days=1000,
    )
    begun = story.start < minute_of(cut_at)
    kept = {f.name: getattr(story, f.name) for f in fields(story)}
    return programme(replace(story, **{name: rows[begun] for name, rows in kept.items()}), cut_at=cut_at)


def said(found: Programme, name: str, value: str) -> tuple[dict[str, Share], int]:
    """What a page shows of both arms, and the position of the quarter end that it stands at."""
    row = seen(found, Choices(**({name: value} if value else {}))).crude_row(CODE)
    place = QUARTERS.index(row.until) if row.until else CUTS.index(found.dataset.cut_at.astimezone(ZONE))
    return dict(zip(ARMS, (row.axillary, row.femoral), strict=True)), place


def systems(seed: int, risk: float) -> list[System]:
    """For each arm, what all pages say: ``hit`` and ``rest`` of every part, running over quarter ends."""
    return [_system(seed, risk, arm) for arm in ARMS]


def _system(seed: int, risk: float, arm: str) -> System:
    system = System()
    for k, cut_at in enumerate(CUTS):
        found = made(seed, risk, cut_at)
        sizes = sizes_of(found, arm)
        for name, value in PARTS:
            # How many began is taken as known throughout: who reads sizes at every quarter end has it.
            both = {("hit", name, value, k): 1.0, ("rest", name, value, k): 1.0}
            system.equals(both, sizes[name, value])
            if k:
                grew = {("hit", name, value, k - 1): 1.0, ("hit", name, value, k): -1.0}
                system.below(grew, 0.0)
            shares, place = said(found, name, value)
            if shares[arm].hits is not None:
                system.equals({("hit", name, value, place): 1.0}, shares[arm].hits)
        for name, values in LEVELS.items():
            parts = {("hit", name, value, k): -1.0 for value in values}
            system.equals({("hit", "all", "", k): 1.0, **parts}, 0.0)
    return system


def sizes_of(found: Programme, arm: str) -> dict[tuple[str, str], int]:
    units = units_of(found, "intended")
    mine = units.arm(arm == ARMS[0])
    years, sex, stage = (
        calendar_years(found, units),
        *(guard._levels(found, units, name)[1] for name in ("sex", "stage")),
    )
    rows = {("all", ""): mine}
    rows |= {("sex", value): mine & (sex == guard.LEVELS["sex"].index(value)) for value in LEVELS["sex"]}
    rows |= {("stage", v): mine & (stage == guard.LEVELS["stage"].index(v)) for v in LEVELS["stage"]}
    rows |= {("period", value): mine & (years == int(value)) for value in LEVELS["period"]}
    return {part: int(flags.sum()) for part, flags in rows.items()}


def told(seed: int, risk: float) -> Iterator[str]:
    """Everything pinned among the small counts: what stood at an end, and what came in between two."""
    for system in systems(seed, risk):
        for kind, (name, value) in product(("hit", "rest"), PARTS):
            for terms in _wanted(kind, name, value):
                low, high = system.bounds(terms)
                if low > 0.999 and high < THRESHOLD - 0.999:
                    yield f"{terms}: {low:.2f} to {high:.2f}"


def _wanted(kind: str, name: str, value: str) -> list[dict[tuple, float]]:
    """Counts at single ends and between all pairs of them; of a part, what came in from end to end."""
    at = [(kind, name, value, k) for k in range(len(CUTS))]
    if name != "all":
        return [{late: 1.0, early: -1.0} for early, late in pairwise(at)]
    steps = combinations(at, 2)
    return [*({end: 1.0} for end in at), *({late: 1.0, early: -1.0} for early, late in steps)]


@pytest.mark.parametrize(("seed", "risk"), [(1, 0.3), (2, 0.6), (3, 0.12)])
def test_no_two_readings_tell_a_small_number_apart(seed, risk):
    assert list(told(seed, risk)) == []


@pytest.mark.parametrize("risk", [0.3, 0.6])
def test_yet_the_counts_are_shown(risk):
    """Of a programme of 220 courses in three years, at the last of its quarters."""
    shares, _ = said(made(1, risk, CUTS[-1]), "all", "")
    assert all((share.hits or 0) >= THRESHOLD for share in shares.values())


def test_without_the_rule_they_would(monkeypatch):
    monkeypatch.setattr(guard, "shown_at", lambda counts, *rest: np.ones(counts.shape[1], dtype=np.bool_))
    assert next(told(1, 0.3), None)


@pytest.mark.parametrize("quarter", QUARTERS[::3])
def test_the_page_of_a_quarter_tells_nothing_of_what_the_comparison_counts(quarter):
    report = build_report(dataset=made(1, 0.6, CUTS[-1]).dataset, period=Period.parse(quarter, ZONE))
    shown = committee.for_committee(report, threshold=THRESHOLD)
    compared = [figure for figure in shown.figures if committee.is_compared(figure.measure)]
    assert {"complications", "outcomes", "bridge"} <= {figure.measure for figure in compared}
    assert all(figure.numerator is None and figure.estimate is None for figure in compared)
    assert any(figure.numerator for figure in shown.figures)


def test_the_counts_at_quarter_ends_are_those_that_stood_then():
    late, early = made(1, 0.3, CUTS[-1]), made(1, 0.3, CUTS[-2])
    for code in (CODE, "DIED", "BRIDGED"):
        units = units_of(late, "intended")
        at = hit_minutes(late, units, answers(late, units, BY_CODE[code]))
        then = answers(early, units_of(early, "intended"), BY_CODE[code]).hit.sum()
        assert int((at <= minute_of(CUTS[-2])).sum()) == then


def test_a_count_stands_still_until_it_has_grown_enough():
    counts = np.array([[0, 6, 8, 11, 12], [0, 5, 5, 10, 10]])
    assert shown_at(counts, 5).tolist() == [True, True, False, True, False]
    offered = np.array([True, False, True, True, True])
    assert shown_at(counts, 5, offered).tolist() == [True, False, True, False, False]


def test_a_count_that_also_falls_is_held_against_every_one_before():
    assert shown_at(np.array([[10, 17, 12, 24, 10]]), 5).tolist() == [True, True, False, True, True]


def test_running_counts_are_by_part_and_before_each_end():
    moments, part = np.array([1, 10, 5, 99]), np.array([0, 0, 1, 1])
    assert running_counts(moments, part, 2, np.array([10, 20])).tolist() == [[1, 2], [1, 1]]


def test_quarters_end_on_the_calendar_and_the_running_one_is_none():
    ends = quarter_ends(made(1, 0.3, CUTS[-1] - timedelta(days=1)))
    assert ends[0] == minute_of(datetime(2023, 4, 1, tzinfo=ZONE))
    assert [quarter_before(int(end), ZONE) for end in ends] == list(QUARTERS[:-1])
    assert quarter_ends(made(1, 0.3, CUTS[-1]))[-1] == minute_of(CUTS[-1]) + 1


def test_the_committee_reads_up_to_the_last_minute_of_the_quarter_before():
    last = last_quarter_end(datetime(2025, 8, 3, 12, tzinfo=UTC), ZONE)
    assert last == datetime(2025, 6, 30, 23, 59, tzinfo=ZONE)
