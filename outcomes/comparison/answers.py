"""For each row of a comparison: does it have the outcome, when, and how long was it exposed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from outcomes.comparison import endpoints
from outcomes.comparison.endpoints import BY_DAY, Endpoint
from outcomes.comparison.limits import EARLY_HOURS
from outcomes.comparison.units import CHANGED, Programme, Units
from outcomes.dataset import codes
from outcomes.dataset.clock import MINUTES_PER_DAY, NEVER
from outcomes.estimators.arrays import Flags, Floats, Ints
from outcomes.measures.bridge import BRIDGED, ESCALATED
from outcomes.measures.complications import REPOSITION
from registry.choices import Outcome

EARLY_MINUTES = EARLY_HOURS * 60
DEATHS = tuple(codes.OUTCOMES.index(outcome) for outcome in (Outcome.DIED, Outcome.WITHDRAWN))
BRIDGES = tuple(codes.OUTCOMES.index(outcome) for outcome in BRIDGED)


@dataclass(frozen=True, eq=False)
class Answers:
    """``known`` rows can be answered; ``hit`` ones have the outcome; ``early`` within days 0 to 2."""

    endpoint: Endpoint
    known: Flags
    hit: Flags
    early: Flags | None = None


@dataclass(frozen=True, eq=False)
class Counts:
    """Events and device-days of each row, early (days 0 to 2 of the row) and later. ``events`` are keys."""

    events: Ints
    row: Ints
    is_early: Flags
    early: Ints
    later: Ints
    early_days: Floats
    later_days: Floats


def answers(programme: Programme, units: Units, endpoint: Endpoint) -> Answers:
    """Who has the outcome."""
    if endpoint.of_events:
        return _of_events(programme, units, endpoint)
    if endpoint.family == "mobilisation":
        return _mobilised(units, endpoint)
    return _of_course(programme, units, endpoint)


def chosen_events(programme: Programme, endpoint: Endpoint) -> Flags:
    """Which of the programme's events make up the outcome."""
    happened = programme.happened
    if endpoint.code == endpoints.ANY:
        return happened.kind != REPOSITION
    if endpoint.code == endpoints.SERIOUS:
        return (happened.kind != REPOSITION) & happened.serious
    return np.asarray(happened.kind == [kind.value for kind in codes.KINDS].index(endpoint.code))


def placed_events(programme: Programme, units: Units, endpoint: Endpoint) -> tuple[Ints, Ints, Flags]:
    """Positions of the events that fall into rows, their rows, and whether they came early."""
    if endpoint.code not in units.placed:
        units.placed[endpoint.code] = _place_events(programme, units, endpoint)
    return units.placed[endpoint.code]


def _place_events(programme: Programme, units: Units, endpoint: Endpoint) -> tuple[Ints, Ints, Flags]:
    happened = programme.happened
    row = units.of_run[happened.run]
    event = np.flatnonzero(chosen_events(programme, endpoint) & (row >= 0))
    row = row[event]
    return event, row, happened.onset[event] - units.started[row] < EARLY_MINUTES


def _of_events(programme: Programme, units: Units, endpoint: Endpoint) -> Answers:
    _, row, is_early = placed_events(programme, units, endpoint)
    hit, early = np.zeros(units.size, dtype=np.bool_), np.zeros(units.size, dtype=np.bool_)
    hit[row], early[row[is_early]] = True, True
    return Answers(endpoint, np.ones(units.size, dtype=np.bool_), hit, early)


def _mobilised(units: Units, endpoint: Endpoint) -> Answers:
    first = units.walk_day if endpoint.code == endpoints.WALKED else units.out_of_bed_day
    hit = (first <= BY_DAY) & (first <= units.over_day)
    known = (units.entry_day < 0) & (hit | (units.over_day >= BY_DAY) | (units.stay_cause != 0))
    return Answers(endpoint, known, hit & known)


def _of_course(programme: Programme, units: Units, endpoint: Endpoint) -> Answers:
    outcome = programme.dataset.courses.outcome[units.course]
    known = (outcome >= 0) & (units.way_out != CHANGED)
    if endpoint.code == endpoints.ESCALATED:
        hit = units.way_out == ESCALATED
        return Answers(endpoint, known | hit, hit)
    wanted = DEATHS if endpoint.code == endpoints.DIED else BRIDGES
    return Answers(endpoint, known, known & np.isin(outcome, wanted))


def counts(programme: Programme, units: Units, endpoint: Endpoint) -> Counts:
    """Events of an outcome made of events, with the device-days under which they were counted."""
    event, row, is_early = placed_events(programme, units, endpoint)
    early_days, later_days = exposure(programme, units)
    return Counts(
        events=programme.happened.pk[event],
        row=row,
        is_early=is_early,
        early=np.bincount(row[is_early], minlength=units.size),
        later=np.bincount(row[~is_early], minlength=units.size),
        early_days=early_days,
        later_days=later_days,
    )


def exposure(programme: Programme, units: Units) -> tuple[Floats, Floats]:
    """Device-days of balloon pumps under observation in each row, early and later."""
    runs = programme.dataset.runs
    counted = np.flatnonzero((units.of_run >= 0) & runs.is_pump & runs.observed)
    row = units.of_run[counted]
    began, ended = runs.observed_from[counted], runs.ended[counted]
    edge = units.started[row] + EARLY_MINUTES
    early = np.maximum(np.minimum(ended, edge) - began, 0)
    later = np.maximum(ended - np.maximum(began, edge), 0)
    return _days(row, early, units.size), _days(row, later, units.size)


def _days(row: Ints, minutes: Ints, size: int) -> Floats:
    return np.bincount(row, weights=minutes.astype(np.float64), minlength=size) / MINUTES_PER_DAY


def mobilised_by(first_day: Ints, over_day: Ints) -> Flags:
    """Rows that reached the level while they stayed."""
    return (first_day < NEVER) & (first_day <= over_day)
