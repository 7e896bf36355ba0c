"""The comparison read at two quarter ends, beside the pages of all quarters: no hidden outcome is told.

Everything that the committee can open on both pages, unfiltered and by each filter, goes into one linear
system of whole counts; the solver of test_committee looks for hidden counts that are pinned among the small.
"""

from __future__ import annotations

from dataclasses import fields, replace
from datetime import datetime
from functools import cache

import numpy as np
import pytest

from outcomes import committee
from outcomes.comparison import guard
from outcomes.comparison.answers import answers
from outcomes.comparison.choices import Choices
from outcomes.comparison.cuts import hit_minutes, one_small_quarter, quarter_ends, told_apart
from outcomes.comparison.endpoints import BY_CODE
from outcomes.comparison.units import Programme, units_of
from outcomes.comparison.value import ARMS
from outcomes.dataset.clock import minute_of
from outcomes.measures.values import ALL_ROUTES
from outcomes.period import Period
from outcomes.report import build_report
from tests.outcomes.comparison.simulated import ZONE, programme, stories
from tests.outcomes.comparison.test_committee import THRESHOLD, System, seen

CODE = "BLEEDING"
QUARTERS = tuple(f"{year}-Q{quarter}" for year in (2023, 2024, 2025) for quarter in (1, 2, 3, 4))
LEVELS = {"sex": ("F", "M"), "stage": ("C", "D"), "period": ("2023", "2024", "2025")}
FIRST_CUT, SECOND_CUT = (datetime(2025, month, 1, tzinfo=ZONE) for month in (4, 7))


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


def hits(found: Programme, choices: Choices, arm: str) -> int | None:
    row = seen(found, choices).crude_row(CODE)
    return (row.axillary if arm == ARMS[0] else row.femoral).hits


def system_of(seed: int, risk: float) -> tuple[System, list[tuple]]:
    """What quarters and comparison say at both cuts, and everything that could be told."""
    system, wanted = System(), []
    cuts = (FIRST_CUT, SECOND_CUT)
    late = made(seed, risk, SECOND_CUT)
    quarters = [q for q in QUARTERS if Period.parse(q, ZONE).end <= SECOND_CUT]
    for quarter in quarters:
        wanted += _quarter(system, late, quarter)
    for arm in ARMS:
        for k, cut_at in enumerate(cuts):
            found = made(seed, risk, cut_at)
            past = [q for q in quarters if Period.parse(q, ZONE).end <= cut_at]
            system.equals({("all", arm, k): 1.0, **{("quarter", q, arm): -1.0 for q in past}}, 0.0)
            _say(system, ("all", arm, k), hits(found, Choices(), arm))
            for name, values in LEVELS.items():
                parts = {(name, value, arm, k): -1.0 for value in values}
                system.equals({("all", arm, k): 1.0, **parts}, 0.0)
                for value in values:
                    _say(system, (name, value, arm, k), hits(found, Choices(**{name: value}), arm))
        for name, values in LEVELS.items():
            for value in values:
                step = {(name, value, arm, 1): 1.0, (name, value, arm, 0): -1.0}
                system.below({place: -factor for place, factor in step.items()}, 0.0)
                wanted += [step, {(name, value, arm, 1): 1.0}, {(name, value, arm, 0): 1.0}]
        wanted.append({("all", arm, 1): 1.0, ("all", arm, 0): -1.0})
    return system, wanted


def _quarter(system: System, found: Programme, quarter: str) -> list[dict]:
    """What the page of one quarter says of patients with the outcome, by route and together."""
    report = build_report(dataset=found.dataset, period=Period.parse(quarter, ZONE))
    shown = {figure.key: figure for figure in committee.for_committee(report, threshold=THRESHOLD).figures}
    for arm in ARMS:
        figure = shown.get(f"complications/{arm}/{CODE}/patients")
        _say(system, ("quarter", quarter, arm), figure.numerator if figure else None)
    both = shown.get(f"complications/{ALL_ROUTES}/{CODE}/patients")
    if both and both.numerator is not None:
        system.equals({("quarter", quarter, arm): 1.0 for arm in ARMS}, both.numerator)
    return [{("quarter", quarter, arm): 1.0} for arm in ARMS]


def _say(system: System, name: tuple, value: float | None) -> None:
    if value is not None:
        system.equals({name: 1.0}, value)


def told(seed: int, risk: float) -> list[str]:
    """Everything that is pinned among the small counts."""
    system, wanted = system_of(seed, risk)
    bounds = [(terms, system.bounds(terms)) for terms in wanted]
    return [
        f"{terms}: {low:.2f} to {high:.2f}"
        for terms, (low, high) in bounds
        if low > 0.999 and high < THRESHOLD - 0.999
    ]


@pytest.mark.parametrize(("seed", "risk"), [(1, 0.3), (2, 0.6), (3, 0.12)])
def test_two_cuts_and_all_quarters_together_tell_no_hidden_outcome(seed, risk):
    assert told(seed, risk) == []


def test_without_these_rules_they_would(monkeypatch):
    monkeypatch.setattr(guard, "told_apart", lambda moments, ends, threshold: False)
    monkeypatch.setattr(guard, "untold", lambda *known: False)
    assert told(1, 0.3)


def test_the_counts_at_quarter_ends_are_those_that_stood_then():
    late, early = made(1, 0.3, SECOND_CUT), made(1, 0.3, FIRST_CUT)
    for code in (CODE, "DIED", "BRIDGED"):
        units = units_of(late, "intended")
        at = hit_minutes(late, units, answers(late, units, BY_CODE[code]))
        then = answers(early, units_of(early, "intended"), BY_CODE[code]).hit.sum()
        assert int((at < minute_of(FIRST_CUT)).sum()) == then


def test_a_small_step_hides_a_count_until_it_has_grown_enough():
    ends = np.array([10, 20, 30, 40])
    six_then_two = np.array([1] * 6 + [15] * 2)
    assert told_apart(six_then_two, ends[:2], 5)
    assert told_apart(six_then_two, ends[:3], 5)
    assert not told_apart(np.append(six_then_two, [25] * 3), ends[:3], 5)
    assert one_small_quarter(six_then_two, ends, 5)
    assert not one_small_quarter(np.append(six_then_two, [35]), ends, 5)


def test_quarters_end_on_the_calendar_and_at_the_cut():
    ends = quarter_ends(made(1, 0.3, SECOND_CUT))
    assert ends[0] == minute_of(datetime(2023, 4, 1, tzinfo=ZONE))
    assert ends[-2] == minute_of(SECOND_CUT)
    assert ends[-1] == minute_of(SECOND_CUT) + 1
