"""From everybody considered to everybody analysed, and what was in place, by route."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from outcomes.dataset.clock import ALWAYS
from outcomes.estimators.arrays import Flags, Ints
from outcomes.measures.base import CONVENTION, WILSON, Measure
from outcomes.measures.making import Keys, count_figure, key_of, proportion_figure
from outcomes.measures.scope import Scope
from outcomes.measures.values import ALL_ROUTES, Cases, Figure, Findings
from registry.choices import BalloonVolume


@dataclass(frozen=True, eq=False)
class Attempted:
    """Every attempt at a first balloon pump in the period, one row per case: a course begun, or nothing
    placed.

    ``intended`` is the route of the first attempt, ``placed`` the route in which a pump stayed, -1 for none.
    """

    intended: Ints
    placed: Ints
    course: Ints
    attempt: Ints

    def keys(self, rows: Flags, scope: Scope) -> tuple[Keys, Keys]:
        """The courses and the failed attempts among the rows."""
        course, attempt = self.course[rows], self.attempt[rows]
        return (
            Keys("courses", scope.dataset.courses.pk[course[course >= 0]]),
            Keys("failed attempts", scope.dataset.attempts.pk[attempt[attempt >= 0]]),
        )


def attempted(scope: Scope) -> Attempted:
    """Courses begun here with the failed attempts before their first device, and attempts without one."""
    courses, attempts = scope.dataset.courses, scope.dataset.attempts
    placed_here = courses.arrived == ALWAYS
    begun = np.flatnonzero(scope.begun & ~scope.begun_otherwise & placed_here)
    intended = courses.route.copy()
    before = np.flatnonzero(attempts.run >= 0)
    order = before[np.argsort(-attempts.attempted[before], kind="stable")]
    first_of = scope.dataset.runs.course[attempts.run[order]]
    is_first = courses.first_run[first_of] == attempts.run[order]
    intended[first_of[is_first]] = attempts.intended[order[is_first]]  # the earliest one is written last
    failed = np.flatnonzero(nothing_placed(scope))
    none = np.full(failed.size, -1)
    return Attempted(
        intended=np.concatenate([intended[begun], attempts.intended[failed]]),
        placed=np.concatenate([courses.route[begun], none]),
        course=np.concatenate([begun, none]),
        attempt=np.concatenate([np.full(begun.size, -1), failed]),
    )


def nothing_placed(scope: Scope) -> Flags:
    """Attempts in the period after which no device went in, in patients without support at that time.

    Several failed attempts in one patient within the period are one case: the first of them.
    """
    attempts = scope.dataset.attempts
    alone = scope.holds(attempts.attempted) & (attempts.run < 0) & (attempts.during < 0)
    index = np.flatnonzero(alone)
    order = index[np.argsort(attempts.attempted[index], kind="stable")]
    firsts = order[np.unique(attempts.patient[order], return_index=True)[1]]
    chosen = np.zeros(alone.shape, dtype=np.bool_)
    chosen[firsts] = True
    return chosen


def considered(scope: Scope) -> Findings:
    """Candidates, failed attempts and courses, and their sum."""
    data = scope.dataset
    parts = [
        ("candidates", "Considered, nothing attempted", "candidates",
         Keys("candidates", data.candidates.pk[scope.holds_days(data.candidates.considered_on)])),
        ("failed", "Attempted, nothing placed", "failed attempts",
         Keys("failed attempts", data.attempts.pk[nothing_placed(scope)])),
        ("begun", "Courses begun", "courses", Keys("courses", data.courses.pk[scope.begun])),
    ]  # fmt: skip
    figures = [
        count_figure(scope, "flow.considered", ALL_ROUTES, item, label, keys, counted="cases")
        for item, label, _, keys in parts
    ]
    total = Figure(
        key=key_of("flow.considered", ALL_ROUTES, "total"),
        measure="flow.considered",
        label="Considered",
        group=ALL_ROUTES,
        unit="count",
        counted="cases",
        numerator=sum(keys.distinct for *_, keys in parts),
        cases=Cases(tuple(keys.cases for *_, keys in parts)),
    )
    return Findings((total, *figures))


def attempts_by_route(scope: Scope) -> Findings:
    """What came of attempts, by the route intended first."""
    cases = attempted(scope)
    figures = []
    for group, rows in scope.by_group(np.ones(cases.intended.shape, dtype=np.bool_), cases.intended):
        for item, label, outcome in (
            ("placed", "Placed by the intended route", cases.placed == cases.intended),
            ("converted", "Placed by another route", (cases.placed >= 0) & (cases.placed != cases.intended)),
            ("failed", "Nothing placed", cases.placed < 0),
        ):
            figures.append(_attempt_figure(scope, group, item, label, cases, rows & outcome, rows))
    return Findings(tuple(figures))


def _attempt_figure(
    scope: Scope, group: str, item: str, label: str, cases: Attempted, some: Flags, among: Flags
) -> Figure:
    index = np.arange(cases.intended.size)
    figure = proportion_figure(
        scope, "flow.attempted", group, item, label,
        Keys("courses", index[some]), Keys("courses", index[among]), counted="cases",
    )  # fmt: skip
    opened = Cases(
        tuple(keys.cases for keys in cases.keys(some, scope)),
        tuple(keys.cases for keys in cases.keys(among, scope)),
    )
    return replace(figure, cases=opened)


def begun(scope: Scope) -> Findings:
    """Patients, courses and runs begun, never one for another."""
    courses, runs = scope.dataset.courses, scope.dataset.runs
    figures = []
    for group, rows in scope.by_group(scope.begun & ~scope.begun_otherwise, courses.route):
        count = partial(count_figure, scope, "volume.begun", group)
        patients = Keys("patients", courses.patient[rows])
        figures += [
            count("patients", "Patients", patients, counted="patients"),
            count("courses", "Courses", Keys("courses", courses.pk[rows]), counted="courses"),
        ]
    for group, rows in scope.by_group(scope.begun_pumps, runs.route):
        keys = Keys("runs", runs.pk[rows])
        figures.append(count_figure(scope, "volume.begun", group, "runs", "Runs", keys, counted="runs"))
    for group, rows in scope.by_group(scope.analysed, courses.route):
        keys = Keys("courses", courses.pk[rows])
        figures.append(
            count_figure(
                scope, "volume.begun", group, "analysed", "Courses analysed", keys, counted="courses"
            )
        )
    return Findings(tuple(figures))


def in_place(scope: Scope) -> Findings:
    """Patients, courses, runs and device-days of the balloon pumps in place in the period."""
    runs, courses = scope.dataset.runs, scope.dataset.courses
    figures = []
    for group, rows in scope.by_group(scope.device_days > 0, runs.route):
        count = partial(count_figure, scope, "volume.in_place", group)
        keys = Keys("runs", runs.pk[rows])
        figures += [
            count("patients", "Patients", Keys("patients", runs.patient[rows]), counted="patients"),
            count("courses", "Courses", Keys("courses", courses.pk[runs.course[rows]]), counted="courses"),
            count("runs", "Runs", keys, counted="runs"),
            Figure(
                key=key_of("volume.in_place", group, "device-days"),
                measure="volume.in_place",
                label="Device-days",
                group=group,
                unit="device-days",
                counted="device-days",
                numerator=float(scope.device_days[rows].sum()),
                cases=Cases((keys.cases,)),
            ),
        ]
    return Findings(tuple(figures))


def balloon_sizes(scope: Scope) -> Findings:
    """Share of each nominal volume among balloon pump runs begun, by route."""
    runs = scope.dataset.runs
    known = scope.begun_pumps & (runs.balloon_ml > 0)
    figures = []
    for group, rows in scope.by_group(known, runs.route):
        among = Keys("runs", runs.pk[rows])
        for volume in BalloonVolume:
            some = Keys("runs", runs.pk[rows & (runs.balloon_ml == int(volume))])
            if (runs.balloon_ml[known] == int(volume)).any():
                figures.append(
                    proportion_figure(
                        scope,
                        "volume.balloon",
                        group,
                        volume.value,
                        f"{volume.label} mL",
                        some,
                        among,
                        counted="runs",
                    )
                )
    return Findings(tuple(figures))


CONSIDERED = Measure(
    id="flow.considered",
    title="Everybody considered",
    counted="cases",
    basis="considered in the period",
    who_counts=(
        "lines of candidates, attempts after which nothing stayed in place, and courses begun with any device"
    ),
    what_counts="each of the three, and their sum",
    time_zero="day considered, time of the attempt, first insertion",
    censoring="none: counts",
    estimator="count",
    unit="cases",
    definition=(
        "A candidate is a patient considered in whom nothing was attempted. A failed attempt stands for "
        "itself only if no device went in within 24 h and none was in place; several in one patient "
        "within the period are one case. Candidates carry no patient number, so a patient may stand here "
        "and later as a course."
    ),
    compute=considered,
)
ATTEMPTED = Measure(
    id="flow.attempted",
    title="Attempts at a first balloon pump, by intended route",
    counted="cases",
    basis="begun in the period",
    who_counts="courses begun here with a balloon pump, and cases in which an attempt left nothing in place",
    what_counts="pump placed by the intended route, by another route, or not at all",
    time_zero="first insertion, or the attempt",
    censoring="none: counts",
    estimator="outcomes.estimators.proportions.proportion",
    unit="proportion of cases",
    definition=(
        "The intended route is that of the first failed attempt that the first device followed, by its link "
        "or within 24 h, else the route in which it was placed. A failed axillary attempt that became "
        "femoral stays with axillary here. Pumps placed elsewhere, before a transfer in, are left out, as "
        "attempts that failed elsewhere are not known."
    ),
    source=f"{CONVENTION}; {WILSON}",
    compute=attempts_by_route,
)
BEGUN = Measure(
    id="volume.begun",
    title="Patients, courses and runs begun",
    counted="courses",
    basis="begun in the period",
    who_counts="courses begun with a balloon pump; runs: balloon pumps inserted",
    what_counts="distinct patients, courses and runs, each under its own name",
    time_zero="insertion",
    censoring="none: counts",
    estimator="count",
    unit="count",
    definition=(
        "A course is counted under the route of its first run, a run under its own. An exchange is a run, "
        "never a patient or a course. Courses analysed are those begun less those left out, which are "
        "listed with reasons."
    ),
    compute=begun,
)
IN_PLACE_VOLUME = Measure(
    id="volume.in_place",
    title="Balloon pumps in place and device-days",
    counted="device-days",
    basis="in place in the period",
    who_counts="balloon pump runs with time in place under observation in the period",
    what_counts="distinct patients, courses and runs; elapsed days in place within the period",
    time_zero="insertion, for a transfer in arrival, or the start of the period",
    censoring="clipped to the period and to the data cut",
    estimator="count",
    unit="count and device-days",
    definition=(
        "Device-days are elapsed time (hours divided by 24), not calendar days, so a clock change does "
        "not add or take an hour. A patient with pumps by both routes in the period counts under each, "
        "and once under all."
    ),
    compute=in_place,
)
BALLOONS = Measure(
    id="volume.balloon",
    title="Balloon volumes",
    counted="runs",
    basis="begun in the period",
    who_counts="balloon pump runs inserted in the period with a known volume",
    what_counts="runs with that nominal volume",
    time_zero="insertion",
    censoring="none: counts",
    estimator="outcomes.estimators.proportions.proportion",
    unit="proportion of runs",
    definition="The volume printed on the balloon in use, by the route of the run.",
    source=f"{CONVENTION}; {WILSON}",
    compute=balloon_sizes,
)
MEASURES = (CONSIDERED, ATTEMPTED, BEGUN, IN_PLACE_VOLUME, BALLOONS)
