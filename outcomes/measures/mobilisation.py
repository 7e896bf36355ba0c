"""Days from insertion to getting out of bed and to walking, on the course's clock and on the route's."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from outcomes.dataset import codes
from outcomes.dataset.clock import NEVER, local_days
from outcomes.dataset.deriving import paired
from outcomes.dataset.tables import Bedside
from outcomes.estimators.arrays import Flags, Ints
from outcomes.measures.base import AALEN_JOHANSEN, CONVENTION, Measure
from outcomes.measures.incidence import Exits, incidence_figure
from outcomes.measures.making import Keys, curve_of, key_of, proportion_figure
from outcomes.measures.scope import DEATH_OUTCOME, ROUTE_LABELS, Scope
from outcomes.measures.values import Counted, Curve, Figure, Findings, Record
from registry.choices import EndReason
from registry.choices_events import OUT_OF_BED_LEVEL, WALK_LEVEL

DAYS = (1.0, 2.0, 3.0, 7.0)
RISK_DAYS = (0.0, 1.0, 2.0, 3.0, 5.0, 7.0, 10.0, 14.0)
MOBILISED, DIED, SUPPORT_ENDED, ROUTE_CHANGED = 1, 2, 3, 4
DEATH_REASON = codes.END_REASONS.index(EndReason.DEATH)
HALF_DAYS = 2  # to a day: whole numbers are counted, fractions would have to be sorted
SCALE = "Hodgson C et al., Heart Lung 2014;43:19-24, doi:10.1016/j.hrtlng.2013.11.003"


@dataclass(frozen=True, eq=False)
class Clock:
    """Stretches of support by one row each, in minutes: observed from, over at, and by which cause (0: not
    over).

    ``of_run`` maps runs to stretches (-1 for none), ``course`` names the course of each. Stretches are
    sorted by course and start, and do not overlap.
    """

    scope: Scope
    course: Ints
    of_run: Ints
    started: Ints
    observed_from: Ints
    over: Ints
    cause: Ints

    @cached_property
    def started_on(self) -> Ints:
        return local_days(self.started, self.scope.dataset.zone)

    @cached_property
    def observed_on(self) -> Ints:
        return local_days(np.minimum(self.observed_from, self.scope.dataset.cut), self.scope.dataset.zone)

    @cached_property
    def over_on(self) -> Ints:
        return local_days(self.over, self.scope.dataset.zone)

    def first_day(self, level: int, days_of_run: Ints) -> Ints:
        """Calendar day on which each stretch first reached the level; NEVER where it did not."""
        first = np.full(self.started.size, NEVER)
        for stretch, day in (self._sessions(level), self._bedside(days_of_run)):
            np.minimum.at(first, stretch, day)
        return first

    def _sessions(self, level: int) -> tuple[Ints, Ints]:
        sessions = self.scope.dataset.sessions
        reached = sessions.level >= level
        moment = sessions.started[reached]
        stretch = self._stretch_at(sessions.course[reached], moment)
        stretch, moment = stretch[stretch >= 0], moment[stretch >= 0]
        seen = (moment >= self.observed_from[stretch]) & (moment <= self.over[stretch])
        return stretch[seen], local_days(moment[seen], self.scope.dataset.zone)

    def _stretch_at(self, course: Ints, moment: Ints) -> Ints:
        span = int(max(self.started.max(initial=0), moment.max(initial=0))) + 1
        keys = paired(self.course, span, self.started)
        place = np.searchsorted(keys, paired(course, span, moment), "right") - 1
        if not self.course.size:
            return place
        return np.where((place >= 0) & (self.course[place] == course), place, -1)

    def _bedside(self, days_of_run: Ints) -> tuple[Ints, Ints]:
        stretch = self.of_run[self.scope.dataset.bedside.run]
        seen = (stretch >= 0) & (days_of_run < NEVER)
        stretch, day = stretch[seen], days_of_run[seen]
        within = (day >= self.observed_on[stretch]) & (day <= self.over_on[stretch])
        return stretch[within], day[within]

    def exits(self, rows: Flags, pks: Ints, first: Ints, *, record: Record, causes: int) -> Exits:
        """Day numbers of the chosen stretches in half-days: day 0 is that of insertion.

        Who arrives on a later day is under observation on that day but not on the one before, so observation
        begins between the two.
        """
        started_on, over_on = self.started_on[rows], self.over_on[rows]
        arrived = self.observed_on[rows] - started_on
        mobilised = first[rows] <= over_on
        day = np.where(mobilised, first[rows], over_on) - started_on
        return Exits.of(
            record,
            pks[rows],
            entry=np.where(arrived > 0, arrived * HALF_DAYS - 1, 0),
            exit=day * HALF_DAYS,
            cause=np.where(mobilised, MOBILISED, self.cause[rows]),
            causes=causes,
            level=self.scope.level,
        )


def course_clock(scope: Scope) -> Clock:
    """One stretch per course: from the first insertion until the outcome or the last removal."""
    courses, runs = scope.dataset.courses, scope.dataset.runs
    kept = np.flatnonzero(courses.run_count > 0)
    place = np.full(courses.size, -1)
    place[kept] = np.arange(kept.size)
    over = np.maximum(np.minimum(courses.ended, courses.outcome_at), courses.began)[kept]
    closed = (courses.removed | (courses.outcome >= 0))[kept]
    cause = np.where(courses.outcome[kept] == DEATH_OUTCOME, DIED, SUPPORT_ENDED)
    return Clock(
        scope=scope,
        course=kept,
        of_run=place[runs.course],
        started=courses.began[kept],
        observed_from=courses.observed_from[kept],
        over=over,
        cause=np.where(closed, cause, 0),
    )


def route_clock(scope: Scope) -> tuple[Clock, Ints]:
    """One stretch per spell on a route, and its first run: balloon pumps in a row by the same route."""
    courses, runs = scope.dataset.courses, scope.dataset.runs
    pumps = np.flatnonzero(runs.is_pump)
    course, route = runs.course[pumps], runs.route[pumps]
    new = np.ones(pumps.size, dtype=np.bool_)
    new[1:] = (np.diff(course) != 0) | (np.diff(route) != 0)
    of_run = np.full(runs.size, -1)
    of_run[pumps] = np.cumsum(new) - 1
    first = pumps[new]
    last = pumps[np.append(np.flatnonzero(new)[1:], pumps.size) - 1] if pumps.size else pumps
    goes_on = np.append(course[new][1:] == course[new][:-1], False) if pumps.size else np.zeros(0, np.bool_)
    owner, over = runs.course[first], runs.ended[last]
    dead = (courses.outcome[owner] == DEATH_OUTCOME) & (courses.outcome_at[owner] <= over)
    dead |= runs.end_reason[last] == DEATH_REASON
    cause = np.select([goes_on, dead], [ROUTE_CHANGED, DIED], SUPPORT_ENDED)
    clock = Clock(
        scope=scope,
        course=owner,
        of_run=of_run,
        started=runs.inserted[first],
        observed_from=runs.observed_from[first],
        over=over,
        cause=np.where(runs.removed_known[last] | runs.unclosed[last], cause, 0),
    )
    return clock, first


def levels(bedside: Bedside) -> tuple[tuple[str, str, int, Ints], ...]:
    """Item, label, level on the ICU Mobility Scale, and first day at the bedside."""
    return (
        ("out-of-bed", "First out of bed", int(OUT_OF_BED_LEVEL), bedside.out_of_bed_on),
        ("walk", "First walk", int(WALK_LEVEL), bedside.walked_on),
    )


def by_course(scope: Scope) -> Findings:
    """Cumulative incidence from the first insertion, by first route."""
    courses = scope.dataset.courses
    clock = course_clock(scope)
    rows, route = scope.analysed[clock.course], courses.route[clock.course]
    found = _incidence(
        scope,
        "mobilisation.course",
        clock,
        rows,
        route,
        courses.pk[clock.course],
        "courses",
        3,
        counted="courses",
    )
    return Findings((*found.figures, *_unrecorded(scope)), found.curves)


def by_route(scope: Scope) -> Findings:
    """Cumulative incidence from the first insertion by each route, change of route competing."""
    runs = scope.dataset.runs
    clock, first = route_clock(scope)
    rows = scope.begun_pumps[first] & (clock.observed_from <= clock.over)
    return _incidence(
        scope,
        "mobilisation.route",
        clock,
        rows,
        runs.route[first],
        runs.pk[first],
        "runs",
        4,
        counted="spells",
    )


def _incidence(
    scope: Scope,
    measure: str,
    clock: Clock,
    rows: Flags,
    route: Ints,
    pks: Ints,
    record: Record,
    causes: int,
    *,
    counted: Counted,
) -> Findings:
    figures: list[Figure] = []
    curves: list[Curve] = []
    for item, label, level, days_of_run in levels(scope.dataset.bedside):
        first = clock.first_day(level, days_of_run)
        for group, chosen in scope.by_group(rows, route):
            exits = clock.exits(chosen, pks, first, record=record, causes=causes)
            figures += [
                incidence_figure(
                    exits, measure=measure, group=group, item=item, label=label, cause=MOBILISED,
                    day=day, per_day=HALF_DAYS, counted=counted,
                )
                for day in DAYS
            ]  # fmt: skip
            curves += _curve(exits, measure, group, item, label, counted)
    return Findings(tuple(figures), tuple(curves))


def _curve(exits: Exits, measure: str, group: str, item: str, label: str, counted: Counted) -> list[Curve]:
    if not exits.size:
        return []
    curve = exits.curves.causes[MOBILISED - 1]
    return [
        curve_of(
            curve,
            key=key_of(measure, group, item),
            measure=measure,
            label=f"{label}, {ROUTE_LABELS[group].lower()}",
            group=group,
            quantity="cumulative incidence",
            counted=counted,
            risk_days=RISK_DAYS,
            per_day=HALF_DAYS,
        )
    ]


def _unrecorded(scope: Scope) -> list[Figure]:
    """Courses in which nobody wrote a level down: not the same as courses at level 0."""
    courses, data = scope.dataset.courses, scope.dataset
    recorded = np.zeros(courses.size, dtype=np.bool_)
    recorded[data.sessions.course] = True
    recorded[data.runs.course[data.bedside.run[data.bedside.levels_recorded > 0]]] = True
    figures = []
    for group, rows in scope.by_group(scope.analysed, courses.route):
        some, among = Keys("courses", courses.pk[rows & ~recorded]), Keys("courses", courses.pk[rows])
        figures.append(
            proportion_figure(
                scope, "mobilisation.course", group, "unrecorded", "No level ever recorded", some, among,
                counted="courses",
            )
        )  # fmt: skip
    return figures


DAY_NUMBER = (
    "A day number is the difference of calendar days in the centre's time zone, the day of insertion "
    "being day 0: implanted at 23:00 and walking at 07:00 is day 1. A level comes from a mobilisation "
    "session, which counts by its time, or from a daily row, which counts by its day, that on which support "
    "ends included. Until a level is written down the patient counts as not mobilised; courses without any "
    "level are shown, as they may have been."
)
COURSE = Measure(
    id="mobilisation.course",
    title="Days to mobilisation, course clock",
    counted="courses",
    basis="begun in the period",
    who_counts="all courses begun in the period with a balloon pump, by the route of the first run",
    what_counts=(
        "first level of 4 or more (out of bed), first level of 7 or more (walk) on the ICU Mobility Scale"
    ),
    time_zero="day of the first insertion; a transfer in is followed from the day of arrival (delayed entry)",
    censoring=(
        "death, and the end of support by outcome or removal, compete; courses going on are censored at "
        "the data cut"
    ),
    estimator="outcomes.estimators.competing.cumulative_incidence",
    unit="proportion of courses",
    definition=(
        "The share mobilised by each day among all, not among those who were. Whoever is moved to another "
        "route and walks there counts under the first: this clock does not say on which pump a patient "
        f"walked, the route clock does. {DAY_NUMBER}"
    ),
    source=f"{CONVENTION}; {SCALE}; {AALEN_JOHANSEN}",
    compute=by_course,
)
ROUTE = Measure(
    id="mobilisation.route",
    title="Days to mobilisation, route clock",
    counted="spells",
    basis="begun in the period",
    who_counts=(
        "spells on one route begun in the period: balloon pumps in a row by the same route, counted once"
    ),
    what_counts="first level of 4 or more, first level of 7 or more, while that route is in use",
    time_zero="day of the first insertion by that route; a transfer in is followed from the day of arrival",
    censoring=(
        "death, the end of support by that route, and a change of route compete; spells going on are "
        "censored at the data cut"
    ),
    estimator="outcomes.estimators.competing.cumulative_incidence",
    unit="proportion of spells",
    definition=(
        "A patient moved from femoral to axillary contributes femoral days without mobilisation to "
        f"femoral, and starts anew under axillary. Never mixed with the course clock. {DAY_NUMBER}"
    ),
    source=f"{CONVENTION}; {SCALE}; {AALEN_JOHANSEN}",
    compute=by_route,
)
MEASURES = (COURSE, ROUTE)
