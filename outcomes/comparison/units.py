"""Who is compared: rows of one unit each, with their route, for the three ways of assigning them.

As intended and by first route the unit is a support course; as used it is a spell on a route, that is balloon
pumps in a row by the same route. Only the axillary and the femoral route are compared.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from outcomes.comparison.reading import Facts
from outcomes.dataset import Dataset, codes
from outcomes.dataset.clock import NEVER
from outcomes.estimators.arrays import Flags, Floats, Ints
from outcomes.measures.bridge import CAUSES, ways_out
from outcomes.measures.mobilisation import ROUTE_CHANGED, Clock, course_clock, levels, route_clock
from outcomes.measures.scope import Scope
from outcomes.measures.values import Record
from outcomes.period import Period
from registry.choices import RouteGroup

AXILLARY, FEMORAL = (codes.ROUTES.index(route) for route in (RouteGroup.AXILLARY, RouteGroup.FEMORAL))
CHANGED = len(CAUSES) + 1  # way out of a spell: the next pump went in by another route
UNIT_WORDS = {"intended": "courses", "first": "courses", "used": "spells"}


@dataclass(frozen=True, eq=False)
class Happened:
    """Events put down to a balloon pump run (``run`` is its position), none refuted; sorted by course."""

    pk: Ints
    run: Ints
    kind: Ints
    onset: Ints
    serious: Flags


@dataclass(frozen=True, eq=False)
class Programme:
    """Everything the logbook says, over all time."""

    dataset: Dataset
    facts: Facts
    level: float = 0.95

    @cached_property
    def scope(self) -> Scope:
        """The whole logbook as one period."""
        zone = self.dataset.zone
        return Scope(self.dataset, Period.parse("1990..2100", zone), self.level)

    @cached_property
    def happened(self) -> Happened:
        """Events that count, as in the quarter's measures."""
        events, rows = self.dataset.events, self.scope.attributed
        return Happened(
            events.pk[rows],
            events.run[rows],
            events.kind[rows],
            events.onset[rows],
            events.serious[rows] == 1,
        )

    @cached_property
    def attempt_before(self) -> Ints:
        """For each course the first failed attempt that led to its first run; -1 for none."""
        attempts, courses = self.dataset.attempts, self.dataset.courses
        first = np.full(courses.size, -1)
        led = np.flatnonzero(attempts.run >= 0)
        if not led.size:
            return first
        course = self.dataset.runs.course[attempts.run[led]]
        began = courses.first_run[course] == attempts.run[led]
        latest_first = np.argsort(-attempts.attempted[led[began]], kind="stable")
        first[course[began][latest_first]] = led[began][latest_first]
        return first

    @cached_property
    def intended_route(self) -> Ints:
        """Route group tried first in each course, whatever came of it."""
        before = self.attempt_before
        tried = np.append(self.dataset.attempts.intended, -1)[before]
        return np.where(before >= 0, tried, self.dataset.courses.route)

    @cached_property
    def unplaced(self) -> Ints:
        """Positions of failed attempts after which no pump went in at all, one for each patient."""
        attempts = self.dataset.attempts
        lost = np.flatnonzero((attempts.run < 0) & (attempts.during < 0))
        order = lost[np.lexsort((attempts.attempted[lost], attempts.patient[lost]))]
        return order[np.unique(attempts.patient[order], return_index=True)[1]]


@dataclass(frozen=True, eq=False)
class Units:
    """Rows of a comparison, shape (N,); ``of_run`` has one entry per run of the dataset, -1 for no row.

    Minutes are since 1970. ``entry_day``, ``over_day`` and the first days of mobilisation are day numbers
    (the day of insertion is 0). ``stay_cause`` says how the stay ended for mobilisation, ``way_out`` how it
    ended for bridging, in minutes ``entry_minutes`` to ``exit_minutes`` from the start; 0 is censored.
    """

    view: str
    record: Record
    pks: Ints
    patient: Ints
    course: Ints
    run: Ints
    axillary: Flags
    started: Ints
    observed_from: Ints
    of_run: Ints
    entry_day: Ints
    over_day: Ints
    stay_cause: Ints
    out_of_bed_day: Ints
    walk_day: Ints
    entry_minutes: Ints
    exit_minutes: Ints
    way_out: Ints

    @property
    def size(self) -> int:
        return self.pks.size

    @property
    def words(self) -> str:
        """What one row is called, in the plural."""
        return UNIT_WORDS[self.view]

    @property
    def followed_from_start(self) -> Flags:
        """Rows seen from their first minute: no transfer in."""
        return self.observed_from <= self.started

    @cached_property
    def placed(self) -> dict[str, tuple[Ints, Ints, Flags]]:
        """Events placed into these rows so far, by outcome; ``answers.placed_events`` fills it."""
        return {}

    def arm(self, axillary: bool) -> Flags:
        """Rows of one route."""
        return self.axillary if axillary else ~self.axillary

    def chosen(self, rows: Flags) -> Units:
        """Only the flagged rows."""
        if rows.all():
            return self
        new = np.append(np.where(rows, np.cumsum(rows) - 1, -1), -1)
        taken = {name: getattr(self, name)[rows] for name in ROW_COLUMNS}
        return replace(self, **taken, of_run=new[self.of_run])

    def first_runs_only(self) -> Units:
        """The same rows, each with the events and device-days of its first run alone."""
        kept = np.full(self.of_run.size, -1)
        kept[self.run] = np.arange(self.size)
        return replace(self, of_run=kept)


ROW_COLUMNS = (
    "pks", "patient", "course", "run", "axillary", "started", "observed_from", "entry_day", "over_day",
    "stay_cause", "out_of_bed_day", "walk_day", "entry_minutes", "exit_minutes", "way_out",
)  # fmt: skip


def units_of(programme: Programme, view: str) -> Units:
    """All rows of a way of assigning: ``intended``, ``first`` or ``used``."""
    if view == "used":
        clock, first = route_clock(programme.scope)
        runs = programme.dataset.runs
        kept = programme.scope.begun_pumps[first] & (clock.observed_from <= clock.over)
        return _units(programme, view, clock, first, runs.route[first], kept)
    clock = course_clock(programme.scope)
    route = programme.intended_route if view == "intended" else programme.dataset.courses.route
    first = programme.dataset.courses.first_run[clock.course]
    kept = programme.scope.analysed[clock.course]
    return _units(programme, view, clock, first, route[clock.course], kept)


def _units(programme: Programme, view: str, clock: Clock, first: Ints, route: Ints, kept: Flags) -> Units:
    data = programme.dataset
    record: Record = "runs" if view == "used" else "courses"
    exit_minutes, way_out = _ways_out(programme, view, clock)
    started_on = clock.started_on
    days = {item: clock.first_day(level, days_of_run) for item, _, level, days_of_run in levels(data.bedside)}
    every = Units(
        view=view,
        record=record,
        pks=data.runs.pk[first] if record == "runs" else data.courses.pk[clock.course],
        patient=data.courses.patient[clock.course],
        course=clock.course,
        run=first,
        axillary=route == AXILLARY,
        started=clock.started,
        observed_from=clock.observed_from,
        of_run=clock.of_run,
        entry_day=clock.observed_on - started_on - 1,
        over_day=clock.over_on - started_on,
        stay_cause=clock.cause,
        out_of_bed_day=_day_number(days["out-of-bed"], started_on),
        walk_day=_day_number(days["walk"], started_on),
        entry_minutes=clock.observed_from - clock.started,
        exit_minutes=exit_minutes - clock.started,
        way_out=way_out,
    )
    return every.chosen(kept & np.isin(route, (AXILLARY, FEMORAL)))


def _day_number(day: Ints, started_on: Ints) -> Ints:
    return np.where(day < NEVER, day - started_on, NEVER)


def _ways_out(programme: Programme, view: str, clock: Clock) -> tuple[Ints, Ints]:
    """Minute and cause of the end of each row on the bridge clock (0: censored)."""
    end, cause = ways_out(programme.scope)
    end, cause = end[clock.course], cause[clock.course]
    if view == "used":
        changed = clock.cause == ROUTE_CHANGED
        end, cause = np.where(changed, clock.over, end), np.where(changed, CHANGED, cause)
    return end, cause


def distinct(ordered: Ints) -> int:
    """How many different values in a column whose equal values stand together, as patients and courses do."""
    return int(np.count_nonzero(ordered[1:] != ordered[:-1])) + 1 if ordered.size else 0


def start_years(programme: Programme, units: Units) -> Floats:
    """Years from the programme's first insertion to the start of each row."""
    began = programme.dataset.runs.inserted
    first = int(began.min()) if began.size else 0
    return np.asarray((units.started - first) / (365.25 * 24 * 60), dtype=np.float64)
