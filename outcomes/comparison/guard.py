"""What the committee may ask for, and which counts stay hidden under each filter.

One filter at a time, calendar years for periods, and one way of assigning: then everything ever shown is the
whole logbook and its parts by one characteristic, and the parts of each can be protected together, in time
as well (``cuts.py``). Two filters at once, or two ways of assigning, would give small groups away as
differences.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np

from outcomes.comparison.answers import Answers, answers, placed_events
from outcomes.comparison.choices import Choices
from outcomes.comparison.cuts import hit_minutes, quarter_before, quarter_ends, running_counts, shown_at
from outcomes.comparison.endpoints import BY_CODE
from outcomes.comparison.filters import LEVELS, calendar_years, level_of
from outcomes.comparison.limits import OLDEST_STANDING
from outcomes.comparison.suppression import both_safe, hidden_parts
from outcomes.comparison.units import Programme, Units, units_of
from outcomes.comparison.value import ARMS
from outcomes.dataset.clock import NEVER
from outcomes.estimators.arrays import Flags, Ints

ONE_FILTER = "The committee's view takes one filter at a time; the others were left out."
WHOLE_YEARS = "The committee's view takes whole calendar years only, such as 2026."
ONE_VIEW = "The committee's view assigns as intended only."
ONE_ZONE = (
    "The committee's view puts no centres together that keep different time: a day counted differently would "
    "make the sum differ from its parts. These are the figures of your own centre."
)


@dataclass(frozen=True)
class Standing:
    """How many rows of an arm had the outcome, of all begun, at the quarter end that it stands at."""

    hits: int
    rows: int


@dataclass(frozen=True)
class Guard:
    """What may be shown under the filter in use; ``threshold`` is the smallest count other than zero.

    ``shown`` holds counts by (outcome, arm), ``until`` the quarter they stand at, of outcomes held back from
    the data cut of the page. ``adjustable`` are outcomes whose weighted figures are shown, ``early`` and
    ``rates`` those whose early counts and events are. ``sizes`` are arms whose size stays hidden,
    ``strata_hits`` and ``strata_sizes`` (position of the level, arm) of the chosen factor;
    ``characteristics`` are rows of the baseline table that would give a hidden size away.
    """

    threshold: int
    filtered: bool
    shown: Mapping[tuple[str, str], Standing] = field(default_factory=dict)
    until: Mapping[str, str] = field(default_factory=dict)
    adjustable: frozenset[str] = frozenset()
    early: frozenset[str] = frozenset()
    rates: frozenset[str] = frozenset()
    sizes: frozenset[str] = frozenset()
    strata_hits: frozenset[tuple[int, str]] = frozenset()
    strata_sizes: frozenset[tuple[int, str]] = frozenset()
    years: frozenset[tuple[int, str]] = frozenset()
    characteristics: frozenset[str] = frozenset()

    def current(self, code: str) -> bool:
        """Whether the counts of an outcome are shown up to the data cut of the page."""
        return all((code, arm) in self.shown for arm in ARMS) and code not in self.until


@dataclass(frozen=True, eq=False)
class History:
    """Running counts of an outcome at quarter ends, of every level of something in both arms.

    ``hits`` and ``rows`` have shape (2 x levels, ends): first the levels of the axillary arm. ``shown``
    are the ends that they were brought up to.
    """

    hits: Ints
    rows: Ints
    shown: Flags

    @property
    def last(self) -> int:
        """Position of the end that they stand at; -1 for none."""
        return int(np.flatnonzero(self.shown)[-1]) if self.shown.any() else -1

    def standing(self, level: int) -> dict[str, Standing]:
        """Counts of a level by arm as they stand, unless that is long ago."""
        levels, k = self.hits.shape[0] // 2, self.last
        if k < 0 or self.rows[:, k].sum() < OLDEST_STANDING * self.rows[:, -1].sum():
            return {}
        places = {arm: level + n * levels for n, arm in enumerate(ARMS)}
        return {arm: Standing(int(self.hits[p, k]), int(self.rows[p, k])) for arm, p in places.items()}

    def safe_now(self, level: int, threshold: int) -> bool:
        """Whether neither those with the outcome nor those without are few, as far as the last end goes."""
        if not self.shown.size:
            return False
        levels = self.hits.shape[0] // 2
        places = (level, level + levels)
        return all(both_safe(int(self.hits[p, -1]), int(self.rows[p, -1]), threshold) for p in places)


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


def guard_of(programme: Programme, choices: Choices, threshold: int, units: Units | None = None) -> Guard:
    """Work out what may be shown of the whole logbook, or of the part that the filter in use lets in.

    ``units`` are all rows of one centre, where the logbook holds several.
    """
    watch = Watch(programme, units or units_of(programme, choices.view), threshold)
    whole = {code: watch.whole(code) for code in BY_CODE}
    if choices.filters:
        return _filtered(watch, whole, choices)
    units = watch.units
    years, by_year = _levels(programme, units, "period")
    _, by_factor = _levels(programme, units, choices.factor)
    _, sex = _levels(programme, units, "sex")
    count = len(LEVELS[choices.factor]) + 1
    factor = watch.family(choices.outcome, by_factor, count, whole[choices.outcome])
    every = {(k, arm) for k in range(count) for arm in ARMS}
    few_of_a_sex = _hidden_sizes(units, sex, len(LEVELS["sex"]) + 1, threshold)
    current = [code for code, found in whole.items() if watch.current(found)]
    return Guard(
        threshold,
        filtered=False,
        shown=_standing(whole, 0),
        until=watch.until(whole),
        adjustable=frozenset(code for code, found in whole.items() if found.safe_now(0, threshold)),
        early=frozenset(code for code in current if watch.early_too(code, whole[code])),
        rates=frozenset(code for code in current if watch.repeats_too(code, whole[code])),
        strata_hits=frozenset() if watch.current(factor) else frozenset(every),
        strata_sizes=_hidden_sizes(units, by_factor, count, threshold),
        years=frozenset((years[k], arm) for k, arm in _hidden_sizes(units, by_year, len(years), threshold)),
        characteristics=frozenset({"female"}) if few_of_a_sex else frozenset(),
    )


def _filtered(watch: Watch, whole: Mapping[str, History], choices: Choices) -> Guard:
    ((name, value),) = choices.filters.items()
    values, level = _levels(watch.programme, watch.units, name)
    wanted = int(value) if name == "period" else value
    place = values.index(wanted) if wanted in values else len(values)
    count = len(values) + 1
    parts = {code: watch.family(code, level, count, found) for code, found in whole.items()}
    sizes = _hidden_sizes(watch.units, level, count, watch.threshold)
    safe = frozenset(code for code, found in parts.items() if found.safe_now(place, watch.threshold))
    return Guard(
        watch.threshold,
        filtered=True,
        shown=_standing(parts, place),
        until=watch.until(parts),
        adjustable=safe,
        sizes=frozenset(arm for k, arm in sizes if k == place),
    )


def _standing(found: Mapping[str, History], level: int) -> dict[tuple[str, str], Standing]:
    return {
        (code, arm): stands for code, each in found.items() for arm, stands in each.standing(level).items()
    }


@dataclass(frozen=True, eq=False)
class Watch:
    """Looks back over the quarter ends of a logbook, one outcome at a time."""

    programme: Programme
    units: Units
    threshold: int

    @cached_property
    def ends(self) -> Ints:
        return quarter_ends(self.programme)

    @cached_property
    def _answers(self) -> dict[str, Answers]:
        return {code: answers(self.programme, self.units, endpoint) for code, endpoint in BY_CODE.items()}

    @cached_property
    def _moments(self) -> dict[str, Ints]:
        return {code: hit_minutes(self.programme, self.units, a) for code, a in self._answers.items()}

    def current(self, found: History) -> bool:
        """Whether counts stand at the data cut, which must then be the end of a quarter."""
        return found.last >= 0 and int(self.ends[found.last]) == self.programme.dataset.cut + 1

    def until(self, found: Mapping[str, History]) -> dict[str, str]:
        """The quarter whose end counts stand at, of those that are shown but held back."""
        held = {code: each.last for code, each in found.items() if each.last >= 0 and not self.current(each)}
        zone = self.programme.dataset.zone
        labels = {k: quarter_before(int(self.ends[k]), zone) for k in set(held.values())}
        return {code: labels[k] for code, k in held.items()}

    def whole(self, code: str) -> History:
        """An outcome in both arms."""
        return self._history(code, np.zeros(self.units.size, dtype=np.int64), 1, None)

    def family(self, code: str, level: Ints, levels: int, whole: History) -> History:
        """An outcome by level in both arms, brought up only to ends that the whole is: else what the whole
        less some levels leaves for the others would be of another time.
        """
        return self._history(code, level, levels, whole.shown)

    def _history(self, code: str, level: Ints, levels: int, offered: Flags | None) -> History:
        part = level + np.where(self.units.axillary, 0, levels)
        hits = running_counts(self._moments[code], part, 2 * levels, self.ends)
        rows = running_counts(self.units.started, part, 2 * levels, self.ends)
        counts = np.concatenate([hits, rows - hits])
        return History(hits, rows, shown_at(counts, self.threshold, offered))

    def early_too(self, code: str, whole: History) -> bool:
        """Whether early and later-only counts may stand beside the whole at the last end."""
        answer = self._answers[code]
        if answer.early is None:
            return False
        event, row, is_early = placed_events(self.programme, self.units, answer.endpoint)
        moment = np.full(self.units.size, NEVER)
        np.minimum.at(moment, row[is_early], self.programme.happened.onset[event[is_early]])
        early = running_counts(moment, (~self.units.axillary).astype(np.int64), 2, self.ends)
        return self._beside(whole, [early, whole.hits - early])

    def repeats_too(self, code: str, whole: History) -> bool:
        """Whether events, and those beyond the first of a row, may stand beside the whole at the last end."""
        answer = self._answers[code]
        if not answer.endpoint.of_events:
            return False
        event, row, _ = placed_events(self.programme, self.units, answer.endpoint)
        arm = (~self.units.axillary[row]).astype(np.int64)
        events = running_counts(self.programme.happened.onset[event], arm, 2, self.ends)
        return self._beside(whole, [events, events - whole.hits])

    def _beside(self, whole: History, counts: list[Ints]) -> bool:
        return bool(shown_at(np.concatenate(counts), self.threshold, whole.shown)[-1])


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
