"""The records behind a figure, named and linked, for those who may see cases."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

from django.db.models import QuerySet

from outcomes.measures.values import Cases, Record
from registry.history import shown_moment
from registry.models import Candidate, Course, DailyCheck, Event, FailedAttempt, Patient, Run, User
from registry.views.places import place_of


@dataclass(frozen=True)
class CaseRow:
    """One record: where it is read, whose it is and what it is."""

    url: str
    name: str
    facts: str
    counted: bool


@dataclass(frozen=True)
class CaseTable:
    """Records of one kind behind a figure; those counted in the numerator are marked."""

    record: str
    counted: int
    rows: tuple[CaseRow, ...]


def _run(run: Run) -> tuple[str, str]:
    until = f"to {shown_moment(run.removed_at)}" if run.removed_at else "still in place"
    return str(run), f"{run.get_route_display()}, {shown_moment(run.inserted_at)} {until}"


def _course(course: Course) -> tuple[str, str]:
    outcome = getattr(course, "outcome", None)
    ending = (
        f"{outcome.get_outcome_display()}, {shown_moment(outcome.occurred_at)}"
        if outcome
        else "no outcome yet"
    )
    first = course.run_list[0] if course.run_list else None
    begun = f"{first.get_route_display()}, {shown_moment(first.inserted_at)}; " if first else ""
    return str(course), f"{begun}{ending}"


def _patient(patient: Patient) -> tuple[str, str]:
    return str(patient), f"{patient.get_sex_display()}, born {patient.birth_year}"


def _event(event: Event) -> tuple[str, str]:
    details = "; ".join(f"{label}: {value}" for label, value in event.details)
    return str(event), f"{shown_moment(event.onset_at)}; {details}"


def _attempt(attempt: FailedAttempt) -> tuple[str, str]:
    return str(attempt), f"{attempt.get_intended_route_display()}: {attempt.get_failure_display()}"


def _candidate(line: Candidate) -> tuple[str, str]:
    return str(line), f"{line.get_route_display()}: {line.get_reason_display()}"


def _film(check: DailyCheck) -> tuple[str, str]:
    return str(
        check
    ), f"{check.get_film_verdict_display()}; {check.get_position_action_display() or 'no action noted'}"


COURSES = Course.objects.select_related("patient", "outcome").prefetch_related("runs")
SOURCES: dict[Record, tuple[QuerySet[Any], Callable[[Any], tuple[str, str]]]] = {
    "patients": (Patient.objects.all(), _patient),
    "courses": (COURSES, _course),
    "runs": (Run.objects.select_related("course__patient"), _run),
    "events": (Event.objects.select_related("course__patient"), _event),
    "failed attempts": (FailedAttempt.objects.select_related("patient"), _attempt),
    "candidates": (Candidate.objects.all(), _candidate),
    "films": (DailyCheck.objects.select_related("run__course__patient"), _film),
}


def case_rows(cases: Cases, *, user: User) -> list[CaseTable]:
    """Tables of the records behind a figure that the user may see, the counted ones first."""
    counted = {lists.record: set(lists.pks) for lists in cases.numerator}
    kinds: dict[Record, set[int]] = {record: set(pks) for record, pks in counted.items()}
    for lists in cases.denominator:
        kinds.setdefault(lists.record, set()).update(lists.pks)
    return [_table(record, pks, counted.get(record, set()), user) for record, pks in kinds.items()]


def name_cases(cases: Iterable[tuple[Record, int]], *, user: User) -> list[CaseRow]:
    """Names and links of single records; one that was removed since is named by its kind alone."""
    wanted: dict[Record, set[int]] = {}
    for record, pk in cases:
        wanted.setdefault(record, set()).add(pk)
    rows: list[CaseRow] = []
    for record, pks in wanted.items():
        table = _table(record, pks, set(), user)
        gone = len(pks) - len(table.rows)
        rows += [*table.rows, *([CaseRow("", f"{gone} removed {record}", "", False)] if gone else [])]
    return rows


def _table(record: Record, pks: set[int], counted: set[int], user: User) -> CaseTable:
    source, describe = SOURCES[record]
    rows = []
    for found in source.all().seen_by(user).filter(pk__in=pks):  # type: ignore[attr-defined]
        name, facts = describe(found)
        rows.append(CaseRow(place_of(found), name, facts, found.pk in counted))
    rows.sort(key=lambda row: (not row.counted, row.name))
    return CaseTable(record, len(counted), tuple(rows))
