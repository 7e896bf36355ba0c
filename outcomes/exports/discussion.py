"""Cases for discussion, told without anything that names a patient, a day or a person."""

from __future__ import annotations

from dataclasses import dataclass

from outcomes.report import Report
from registry.choices import DeviceClass
from registry.models import Event, Run

SERIOUS = "complications/ALL/SERIOUS/rate"
GRADES = ("barc", "rutherford", "kidney_stage", "severity")


@dataclass(frozen=True)
class Discussed:
    """One serious event: day of support (the insertion is day 0), route in place, kind, grade and state."""

    day: int
    route: str
    kind: str
    grade: str
    state: str
    review: str


def discussed(report: Report) -> tuple[Discussed, ...]:
    """The serious complications of the period, in the order of the day of support, then of the kind.

    That order says nothing of when in the period they happened.
    """
    behind = report.cases(SERIOUS).numerator
    pks = [pk for cases in behind if cases.record == "events" for pk in cases.pks]
    events = Event.objects.filter(pk__in=pks).select_related("run", "course").prefetch_related("course__runs")
    told = [_told(event) for event in events]
    return tuple(sorted(told, key=lambda case: (case.day, case.kind, case.route, case.grade)))


def _told(event: Event) -> Discussed:
    runs = list(event.course.runs.all())
    began = min(run.inserted_at for run in runs)
    run = event.run or _in_place(event, runs)
    return Discussed(
        day=(event.onset_at - began).days,
        route=str(run.get_route_display()) if run else "none in place",
        kind=str(event.get_kind_display()),
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
