"""What the committee may ask for, and which counts stay hidden under each filter.

One filter at a time, calendar years for periods, and one way of assigning: then everything ever shown is the
whole logbook and its parts by one characteristic, and the parts of each can be protected together. Two
filters at once, or two ways of assigning, would give small groups away as differences.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from outcomes.comparison.answers import answers
from outcomes.comparison.choices import Choices
from outcomes.comparison.cuts import hit_minutes, quarter_ends, told_apart, untold
from outcomes.comparison.endpoints import ENDPOINTS
from outcomes.comparison.filters import LEVELS, calendar_years, level_of
from outcomes.comparison.suppression import hidden_levels, hidden_parts
from outcomes.comparison.units import Programme, Units, units_of
from outcomes.comparison.value import ARMS
from outcomes.estimators.arrays import Ints

ONE_FILTER = "The committee's view takes one filter at a time; the others were left out."
WHOLE_YEARS = "The committee's view takes whole calendar years only, such as 2026."
ONE_VIEW = "The committee's view assigns as intended only."
ONE_ZONE = (
    "The committee's view puts no centres together that keep different time: a day counted differently would "
    "make the sum differ from its parts. These are the figures of your own centre."
)


@dataclass(frozen=True)
class Guard:
    """``threshold`` of counts; (outcome, arm) whose hits stay hidden under the filter in use, and arms whose
    size does. ``strata`` are the same by position of the level of the chosen factor;
    ``moved`` are hits that hide because of what quarters would tell: weighted figures do not go with them.
    ``characteristics`` are rows of the baseline table that would give a hidden size away.
    """

    threshold: int
    filtered: bool
    hits: frozenset[tuple[str, str]] = frozenset()
    moved: frozenset[tuple[str, str]] = frozenset()
    sizes: frozenset[str] = frozenset()
    strata_hits: frozenset[tuple[int, str]] = frozenset()
    strata_sizes: frozenset[tuple[int, str]] = frozenset()
    years: frozenset[tuple[int, str]] = frozenset()
    characteristics: frozenset[str] = frozenset()


def committee_choices(choices: Choices, *, one_zone: bool = True) -> tuple[Choices, dict[str, str]]:
    """The choices that the committee's view allows, and what was left out.

    ``one_zone`` says that the centres asked for keep the same time.
    """
    problems: dict[str, str] = {}
    if not one_zone:
        choices, problems["centre"] = choices.changed(centre=""), ONE_ZONE
    if choices.view != "intended":
        choices, problems["view"] = choices.changed(view="intended"), ONE_VIEW
    if choices.period and not (choices.period.isdigit() and len(choices.period) == 4):
        choices, problems["period"] = choices.changed(period=""), WHOLE_YEARS
    used = list(choices.filters)
    for name in used[1:]:
        choices, problems[name] = choices.changed(**{name: ""}), ONE_FILTER
    return choices, problems


def guard_of(programme: Programme, choices: Choices, threshold: int) -> Guard:
    """Work out the patterns of the filter in use and of the chosen factor, and what quarters would tell."""
    units = units_of(programme, choices.view)
    years, by_year = _levels(programme, units, "period")
    year_sizes = _hidden_sizes(units, by_year, len(years), threshold)
    hidden_years = frozenset((years[k], arm) for k, arm in year_sizes)
    _, by_factor = _levels(programme, units, choices.factor)
    count = len(LEVELS[choices.factor]) + 1
    hidden, moved = _hidden_hits(programme, units, by_factor, count, threshold)
    _, sex = _levels(programme, units, "sex")
    few_of_a_sex = _hidden_sizes(units, sex, len(LEVELS["sex"]) + 1, threshold)
    whole = Guard(
        threshold,
        filtered=False,
        moved=_told_by_quarters(programme, units, threshold),
        strata_hits=frozenset((k, arm) for code, k, arm in hidden | moved if code == choices.outcome),
        strata_sizes=_hidden_sizes(units, by_factor, count, threshold),
        years=hidden_years,
        characteristics=frozenset({"female"}) if few_of_a_sex else frozenset(),
    )
    if not choices.filters:
        return whole
    ((name, value),) = choices.filters.items()
    values, level = _levels(programme, units, name)
    wanted = int(value) if name == "period" else value
    place = values.index(wanted) if wanted in values else len(values)
    hits, moved = _hidden_hits(programme, units, level, len(values) + 1, threshold)
    sizes = _hidden_sizes(units, level, len(values) + 1, threshold)
    return replace(
        whole,
        filtered=True,
        hits=frozenset((code, arm) for code, k, arm in hits if k == place),
        moved=whole.moved | {(code, arm) for code, k, arm in moved if k == place},
        sizes=frozenset(arm for k, arm in sizes if k == place),
    )


def _levels(programme: Programme, units: Units, name: str) -> tuple[list[Any], Ints]:
    """The values of a filter and each row's position among them; what is not recorded comes last."""
    if name == "period":
        years = calendar_years(programme, units)
        occurring = np.unique(years)
        return occurring.tolist(), np.searchsorted(occurring, years).astype(np.int64)
    level = level_of(programme, units, name)
    values: list[Any] = list(LEVELS[name])
    return values, np.where(level < 0, len(values), level)


def _hidden_sizes(units: Units, level: Ints, count: int, threshold: int) -> frozenset[tuple[int, str]]:
    found = set()
    for axillary, arm in ((True, ARMS[0]), (False, ARMS[1])):
        sizes = np.bincount(level[units.arm(axillary)], minlength=count)
        found |= {(k, arm) for k, away in enumerate(hidden_parts(sizes.tolist(), threshold)) if away}
    return frozenset(found)


def _told_by_quarters(programme: Programme, units: Units, threshold: int) -> frozenset[tuple[str, str]]:
    """(Outcome, arm) whose whole count would give away what happened in a quarter; hidden on every page.

    Both arms or neither: the page of the quarter shows their sum.
    """
    found, ends = set(), quarter_ends(programme)
    for endpoint in ENDPOINTS:
        answer = answers(programme, units, endpoint)
        if any(
            untold(programme, units, answer, ends, units.arm(axillary), threshold)
            for axillary in (True, False)
        ):
            found |= {(endpoint.code, arm) for arm in ARMS}
    return frozenset(found)


def _hidden_hits(
    programme: Programme, units: Units, level: Ints, count: int, threshold: int
) -> tuple[frozenset[tuple[str, int, str]], frozenset[tuple[str, int, str]]]:
    """(Outcome, level, arm) whose hits are hidden, and those that moved by few; a hidden size hides its hits.

    One level that moved by few would be the sum less the others, so the whole family goes with it.
    """
    found, moved, ends = set(), set(), quarter_ends(programme)
    for endpoint in ENDPOINTS:
        answer = answers(programme, units, endpoint)
        hit, at = answer.hit, hit_minutes(programme, units, answer)
        for axillary, arm in ((True, ARMS[0]), (False, ARMS[1])):
            rows = units.arm(axillary)
            sizes = np.bincount(level[rows], minlength=count)
            hits = np.bincount(level[rows & hit], minlength=count)
            unsized = np.array(hidden_parts(sizes.tolist(), threshold), dtype=np.bool_)
            away = hidden_levels(hits, sizes, unsized, threshold)
            found |= {(endpoint.code, k, arm) for k in np.flatnonzero(away).tolist()}
            if any(told_apart(at[rows & hit & (level == k)], ends, threshold) for k in range(count)):
                moved |= {(endpoint.code, k, arm) for k in range(count)}
    return frozenset(found), frozenset(moved)
