"""What a reader must know was left out, or kept but censored, or counted apart; each with its reason."""

from __future__ import annotations

import numpy as np

from outcomes.estimators.arrays import Flags, Ints
from outcomes.measures.after_therapy import Aftermath
from outcomes.measures.bridge import ways_out
from outcomes.measures.making import Keys
from outcomes.measures.scope import Scope
from outcomes.measures.values import Counted, LeftOut, Record, Treatment

Line = tuple[str, str, Treatment, Flags]


def left_out(scope: Scope) -> tuple[LeftOut, ...]:
    """Every reason that applies in this report, courses first; reasons without a record are not listed."""
    data = scope.dataset
    tables: list[tuple[Record, Ints, list[Line]]] = [
        ("courses", data.courses.pk, _courses(scope)),
        ("runs", data.runs.pk, _runs(scope)),
        ("events", data.events.pk, _events(scope)),
        ("failed attempts", data.attempts.pk, _attempts(scope)),
    ]
    found = []
    for record, pks, lines in tables:
        for key, reason, treatment, rows in lines:
            if rows.any():
                found.append(_line(record, key, reason, treatment, pks[rows]))
    return tuple(found)


def _line(record: Record, key: str, reason: str, treatment: Treatment, pks: Ints) -> LeftOut:
    keys = Keys(record, pks)
    counted: Counted = record
    return LeftOut(
        key=f"{record}/{key}",
        reason=reason,
        treatment=treatment,
        counted=counted,
        count=keys.distinct,
        cases=keys.cases,
    )


def _courses(scope: Scope) -> list[Line]:
    courses = scope.dataset.courses
    end, _ = ways_out(scope)
    followed = scope.analysed
    over_at_arrival = followed & (courses.observed_from >= end) & (courses.observed_from > courses.began)
    return [
        ("no-run", "no device recorded, so no period either", "left out", courses.run_count == 0),
        (
            "other-device",
            "the course began with another device than a balloon pump",
            "left out",
            scope.begun_otherwise,
        ),
        ("never-seen", "over before the patient arrived here", "left out", scope.never_seen),
        ("out-of-order", "the outcome lies before the first insertion", "left out", scope.out_of_order),
        (
            "died-before-therapy",
            "recorded dead before the transplant or the durable pump: not in the survival after it",
            "left out",
            Aftermath(scope).died_before,
        ),
        (
            "over-at-arrival",
            "over or escalated by the time the patient arrived here: not in the bridge curves",
            "left out",
            over_at_arrival,
        ),
        (
            "no-outcome",
            "all devices are out but no outcome is recorded; censored at the last removal",
            "kept, censored",
            followed & courses.removed & (courses.outcome < 0),
        ),
        (
            "supported",
            "still supported at the data cut",
            "kept, censored",
            followed & ~courses.removed & (courses.outcome < 0),
        ),
    ]


def _runs(scope: Scope) -> list[Line]:
    runs = scope.dataset.runs
    concerned = scope.begun_pumps | scope.at_risk
    begun = scope.holds(runs.inserted) & runs.is_pump
    return [
        (
            "no-removal",
            "no removal recorded although the course has its outcome; censored at the outcome",
            "kept, censored",
            concerned & runs.unclosed,
        ),
        ("never-seen", "removed before the patient arrived here", "left out", begun & ~runs.observed),
    ]


def _events(scope: Scope) -> list[Line]:
    refuted = scope.holds(scope.dataset.events.onset) & scope.dataset.events.refuted
    return [
        ("late", "more than 24 h after the removal of the device", "counted apart", scope.late),
        ("no-device", "before insertion or arrival, or in a gap between devices", "left out", scope.unplaced),
        ("other-device", "on another device than a balloon pump", "left out", scope.on_other_devices),
        ("refuted", "reviewed and found to be no event", "left out", refuted),
    ]


def _attempts(scope: Scope) -> list[Line]:
    attempts = scope.dataset.attempts
    on_support = scope.holds(attempts.attempted) & _before_later_device(scope)
    return [
        (
            "on-support",
            "attempt in a patient already on support: not in the flow",
            "counted apart",
            on_support,
        )
    ]


def _before_later_device(scope: Scope) -> Flags:
    """Attempts during a course, or followed by a device that was not the first of its course."""
    attempts, data = scope.dataset.attempts, scope.dataset
    followed = attempts.run >= 0
    course = np.append(data.runs.course, 0)[attempts.run]
    later = followed & (data.courses.first_run[course] != attempts.run) if data.courses.size else followed
    return later | (~followed & (attempts.during >= 0))
