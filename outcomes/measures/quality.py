"""How far the figures can be trusted: what is recorded, entered in time and reviewed."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from outcomes.dataset import codes
from outcomes.dataset.clinical import LATE_ENTRY_DAYS
from outcomes.dataset.clock import local_days
from outcomes.estimators.arrays import Flags
from outcomes.measures.after_therapy import Aftermath
from outcomes.measures.base import CONVENTION, WILSON, Measure
from outcomes.measures.making import Keys, proportion_figure
from outcomes.measures.scope import Scope
from outcomes.measures.values import Counted, Figure, Findings, Record
from registry.choices import Outcome

FOLLOW_UP_DAYS = 30
Line = tuple[str, str, Flags, Flags]  # name, label, those that have it, those that should


def complete(scope: Scope) -> Findings:
    """What should be recorded of courses and runs begun in the period, by route."""
    courses, runs = scope.dataset.courses, scope.dataset.runs
    figures: list[Figure] = []
    for record, pk, route, lines in (
        ("courses", courses.pk, courses.route, _of_courses(scope)),
        ("runs", runs.pk, runs.route, _of_runs(scope)),
    ):
        kind: Record = record  # type: ignore[assignment]
        counted: Counted = kind
        for name, label, has, should in lines:
            for group, rows in scope.by_group(should, route):
                some, among = Keys(kind, pk[rows & has]), Keys(kind, pk[rows])
                figures.append(
                    proportion_figure(
                        scope, "quality.complete", group, name, label, some, among, counted=counted
                    )
                )
    return Findings(tuple(figures))


def _of_courses(scope: Scope) -> list[Line]:
    data = scope.dataset
    courses, facts, sets = data.courses, data.clinical.course, data.clinical.pressures
    after = Aftermath(scope)
    today = int(local_days(np.array([data.cut]), data.zone)[0])
    treated = after.had(Outcome.TRANSPLANT, Outcome.DURABLE)
    due = treated & (after.therapy_on + FOLLOW_UP_DAYS <= today)
    known = (after.died_on <= today) | (after.seen_alive_on >= after.therapy_on + FOLLOW_UP_DAYS)
    measured = np.zeros(courses.size, dtype=np.bool_)
    measured[sets["course"][sets["measured"] <= courses.began[sets["course"]]]] = True
    return [
        ("outcome", "Outcome, all devices out", courses.outcome >= 0, scope.analysed & courses.removed),
        ("size", "Height and weight", (facts["height_cm"] >= 0) & (facts["weight_kg"] >= 0), scope.analysed),
        ("creatinine", "Creatinine at the start", facts["creatinine_umol_l"] >= 0, scope.analysed),
        ("pressures", "Pressures before insertion", measured, scope.analysed),
        ("follow-up", "State 30 days after therapy", known, due),
    ]


def _of_runs(scope: Scope) -> list[Line]:
    data = scope.dataset
    runs = data.runs
    finished = np.append(data.courses.outcome, codes.UNRECORDED)[runs.course] >= 0
    position = data.clinical.run["first_position"] >= 0
    return [
        ("removal", "Removal, course with its outcome", ~runs.unclosed, scope.begun_pumps & finished),
        ("position", "First position of the balloon", position, scope.begun_pumps),
        ("daily", "A daily row for every day in place", _every_day(scope), scope.begun_pumps),
    ]


def _every_day(scope: Scope) -> Flags:
    """Runs with as many daily rows as calendar days, from the first day here to the last in place."""
    data = scope.dataset
    runs, zone = data.runs, data.zone
    written = np.zeros(runs.size, dtype=np.int64)
    written[data.bedside.run] = data.bedside.rows
    days = local_days(runs.ended, zone) - local_days(np.minimum(runs.observed_from, runs.ended), zone) + 1
    return written >= days


def events(scope: Scope) -> Findings:
    """Of the events with onset in the period: not reviewed yet, and entered late."""
    data = scope.dataset
    all_events = scope.holds(data.events.onset)
    lines: list[tuple[str, str, Callable[[], Flags]]] = [
        ("unreviewed", "Not yet reviewed", lambda: ~data.events.reviewed),
        ("refuted", "Reviewed: not an event", lambda: data.events.refuted),
        ("late", f"Entered more than {LATE_ENTRY_DAYS} days after onset", lambda: data.clinical.late_entered),
    ]
    figures = []
    for name, label, which in lines:
        for group, rows in scope.by_group(all_events, scope.event_route):
            some = Keys("events", data.events.pk[rows & which()])
            among = Keys("events", data.events.pk[rows])
            figures.append(
                proportion_figure(
                    scope, "quality.events", group, name, label, some, among, counted="events", interval=False
                )
            )
    return Findings(tuple(figures))


COMPLETE = Measure(
    id="quality.complete",
    title="What is recorded",
    counted="courses",
    basis="begun in the period",
    who_counts=(
        "courses begun in the period with a balloon pump, and balloon pumps inserted in it, that should have "
        "the entry by the data cut"
    ),
    what_counts="courses, or runs, that have it",
    time_zero="first insertion, or insertion",
    censoring="none: only what is due by the data cut is asked for",
    estimator="outcomes.estimators.proportions.proportion",
    unit="proportion of courses; proportion of runs",
    definition=(
        "An outcome is due once all devices are out; a removal once the course has its outcome; a daily row "
        "for every calendar day in place here, the first and the last included; the state after therapy, "
        "alive or dead, from 30 days on. How complete every single field is stands under open questions, and "
        "what has moved since it was issued under the issued report."
    ),
    source=f"{CONVENTION}; {WILSON}",
    compute=complete,
)
EVENTS = Measure(
    id="quality.events",
    title="Events: entry and review",
    counted="events",
    basis="in place in the period",
    who_counts="events with onset in the period, refuted ones too, by the route of their run",
    what_counts="events reported and not yet reviewed; found to be none; entered late",
    time_zero="onset",
    censoring="none: as it stood at the data cut",
    estimator="share of events, without an interval",
    unit="proportion of events",
    definition=(
        f"Late is a first entry more than {LATE_ENTRY_DAYS} days after the onset given in it, by the history "
        "of entries; events taken over from another record all count by the day they were taken over. Events "
        "not reviewed count in every table until review refutes them."
    ),
    compute=events,
)
MEASURES = (COMPLETE, EVENTS)
