"""Cases for discussion, told without anything that names a patient, a day or a person."""

from __future__ import annotations

from dataclasses import astuple, dataclass
from datetime import datetime
from typing import Any, TypeVar

from outcomes.report import Report
from registry.choices import DeviceClass
from registry.history import stood_at
from registry.models import Event, Record, Run

M = TypeVar("M", bound=Record)

SERIOUS = "complications/ALL/SERIOUS/rate"
GRADES = ("barc", "rutherford", "kidney_stage", "severity")


@dataclass(frozen=True)
class Discussed:
    """One serious event: day of support (the insertion is day 0), kind, route in place, grade and state."""

    day: int
    kind: str
    route: str
    grade: str
    state: str
    review: str


def discussed(report: Report) -> tuple[Discussed, ...]:
    """The serious complications of the period, in the order of the day of support, then of the kind.

    That order says nothing of when in the period they happened. A report as of a moment tells them as they
    stood then.
    """
    behind = report.cases(SERIOUS).numerator
    pks = [pk for cases in behind if cases.record == "events" for pk in cases.pks]
    as_of = report.header.as_of
    events = _records(Event, as_of, id__in=pks)
    runs: dict[int, list[Run]] = {}
    for run in _records(Run, as_of, course_id__in=[event.course_id for event in events]):
        runs.setdefault(run.course_id, []).append(run)
    return tuple(sorted((_told(event, runs[event.course_id]) for event in events), key=astuple))


def _records(model: type[M], as_of: datetime | None, **which: Any) -> list[M]:
    """Records that stand in the logbook, or stood in it at a moment."""
    return stood_at(model, as_of, **which) if as_of else list(model._default_manager.filter(**which))


def _told(event: Event, runs: list[Run]) -> Discussed:
    began = min(run.inserted_at for run in runs)
    named = [run for run in runs if run.id == event.run_id]
    run = named[0] if named else _in_place(event, runs)
    return Discussed(
        day=(event.onset_at - began).days,
        kind=str(event.get_kind_display()),
        route=str(run.get_route_display()) if run else "none in place",
        grade=_grade(event),
        state=str(event.get_resolution_display()) or "not recorded",
        review=str(event.get_review_display()),
    )


def _in_place(event: Event, runs: list[Run]) -> Run | None:
    pumps = [
        run for run in runs if run.device_class == DeviceClass.IABP and run.inserted_at <= event.onset_at
    ]
    return max(pumps, key=lambda run: run.inserted_at, default=None)


def _grade(event: Event) -> str:
    given = [str(getattr(event, f"get_{name}_display")()) for name in GRADES if getattr(event, name)]
    return "; ".join(given) or "not graded"
