"""Questions about events and what comes after a course."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta
from typing import Any

import numpy as np
from django.db.models import Exists, F, OuterRef, Q

from registry.choices import FollowUpPoint, VitalStatus
from registry.choices import Outcome as OutcomeCode
from registry.choices_events import (
    Attribution,
    EventKind,
    NeuroKind,
    Precision,
    Relatedness,
    Resolution,
    ReviewState,
)
from registry.models import Course, Event, FollowUp
from registry.questions.question import Question, Scope, correction, course_name, shown_day

REVIEW_AFTER = timedelta(days=30)
EVENT = ("public_id", "course_id", "course__patient__study_no", "course__course_no", "kind", "onset_at")
STROKES = (
    *(NeuroKind.ISCHAEMIC, NeuroKind.ISCHAEMIC_BLEED, NeuroKind.INTRACEREBRAL),
    *(NeuroKind.SUBARACHNOID, NeuroKind.STROKE_OTHER),
)
GRADES: dict[str, str] = {
    EventKind.BLEEDING: "barc", EventKind.LIMB: "rutherford", EventKind.RENAL: "kidney_stage",
    EventKind.NEURO: "neuro_kind", EventKind.INFECTION: "infection_kind",
    **dict.fromkeys(
        (EventKind.KINK, EventKind.ACCESS_SITE, EventKind.VASCULAR, EventKind.VISCERAL, EventKind.NERVE,
         EventKind.HAEMATOLOGICAL, EventKind.ARRHYTHMIA, EventKind.OTHER), "severity"),
}  # fmt: skip


def events(scope: Scope) -> Any:
    return Event.objects.standing().filter(**scope.within("course"))


def _of_event(row: tuple[Any, ...]) -> dict[str, Any]:
    kind = EventKind(row[4]).label.lower()
    subject = f"{course_name(row[2], row[3])}, {kind} of {shown_day(row[5])}"
    return {"record_id": row[0], "course_id": row[1], "subject": subject}


def _empty(column: str) -> Q:
    return Q(**{f"{column}__isnull": True}) if column == "kidney_stage" else Q(**{column: ""})


def ungraded(scope: Scope) -> Iterator[Question]:
    """Events without the grade of their kind."""
    wanted = Q()
    for kind, column in GRADES.items():
        wanted |= Q(kind=kind) & _empty(column)
    for row in events(scope).filter(wanted).values_list(*EVENT):
        text = "The event has no grade; a later grade is a remembered grade."
        place = correction("event", row[0], GRADES[row[4]])
        yield Question("event_ungraded", text=text, **_of_event(row), **place)


PROPOSED = (
    (EventKind.BLEEDING, "barc", "proposed_barc"),
    (EventKind.LIMB, "rutherford", "proposed_rutherford"),
    (EventKind.RENAL, "kidney_stage", "proposed_kidney_stage"),
)


def differing(scope: Scope) -> Iterator[Question]:
    """Events graded otherwise than their values proposed when they were saved."""
    for kind, chosen, kept in PROPOSED:
        found = events(scope).filter(kind=kind).exclude(**{chosen: F(kept)})
        found = found.exclude(**{f"{kept}__isnull": True} if kind == EventKind.RENAL else {kept: ""})
        for row in found.values_list(*EVENT, chosen, kept):
            text = f"Graded {row[6]}; the entered values proposed {row[7]}."
            place = correction("event", row[0], chosen)
            yield Question(f"{chosen}_differs", text=text, **_of_event(row), **place)


def undated(scope: Scope) -> Iterator[Question]:
    """Events of which only the day is known."""
    for row in events(scope).filter(onset_precision=Precision.DAY).values_list(*EVENT):
        text = "Only the day of the onset is known."
        yield Question("onset_vague", text=text, **_of_event(row), **correction("event", row[0], "onset_at"))


def unreviewed(scope: Scope) -> Iterator[Question]:
    """Events that nobody reviewed within a month."""
    old = scope.now - REVIEW_AFTER
    found = events(scope).filter(review=ReviewState.REPORTED, onset_at__lt=old)
    for row in found.values_list(*EVENT):
        text = "Reported more than 30 days ago and not yet reviewed."
        yield Question(
            "event_unreviewed", text=text, **_of_event(row), **correction("event", row[0], "review")
        )


def unresolved(scope: Scope) -> Iterator[Question]:
    """Events said to go on, or with no state, although the course has ended."""
    open_states = ("", Resolution.ONGOING)
    found = events(scope).filter(resolution__in=open_states, course__outcome__isnull=False)
    for row in found.values_list(*EVENT):
        text = "How the event ended is not recorded, and the course is over."
        place = correction("event", row[0], "resolution")
        yield Question("event_unresolved", text=text, **_of_event(row), **place)


def work_days_after(day: date, count: int) -> date:
    """The day ``count`` working days, Monday to Friday, after ``day``; holidays are not known here."""
    after: date = np.busday_offset(day, count, roll="backward").astype(date)
    return after


def device_reports(scope: Scope) -> Iterator[Question]:
    """Serious events of a device: the clock of the report, from the day the programme became aware."""
    allowed = scope.centre.report_reminder_days
    if not allowed:
        return
    related = (Relatedness.DEFINITE, Relatedness.PROBABLE, Relatedness.POSSIBLE)
    of_device = Q(kind=EventKind.KINK) | Q(attribution=Attribution.DEVICE) | Q(relatedness__in=related)
    for row in events(scope).filter(of_device, serious=True).values_list(*EVENT, "detected_at"):
        aware = row[6] or row[5]
        due = work_days_after(aware.astimezone(scope.centre.zone).date(), allowed)
        state = "is due by" if due >= scope.today else "was due by"
        text = (
            f"A serious event of a device: a report {state} {shown_day(due)} ({allowed} work days). "
            "A reminder only; note what was decided."
        )
        yield Question("device_report", text=text, **_of_event(row), **correction("event", row[0], "serious"))


# Follow-up: the middle of the window in days after the outcome, and its half width (project convention)
WINDOWS: dict[str, tuple[int, int]] = {
    FollowUpPoint.D30: (30, 7), FollowUpPoint.D90: (90, 14), FollowUpPoint.M6: (183, 14),
    FollowUpPoint.Y1: (365, 14),
}  # fmt: skip
COURSE = ("public_id", "pk", "patient__study_no", "course_no", "outcome__occurred_at")


def _survivors(scope: Scope) -> Any:
    dead = FollowUp.objects.filter(course=OuterRef("pk"), status=VitalStatus.DEAD)
    return (
        Course.objects.filter(outcome__isnull=False, **scope.within())
        .exclude(outcome__outcome=OutcomeCode.DIED)
        .exclude(outcome__discharge_status=VitalStatus.DEAD)
        .exclude(Exists(dead))
    )


def follow_ups(scope: Scope) -> Iterator[Question]:
    """Follow-ups whose window has opened and that are not recorded; nobody is assumed to be alive."""
    kept = set(FollowUp.objects.filter(**scope.within("course")).values_list("course_id", "point"))
    opened = scope.now - timedelta(days=WINDOWS[FollowUpPoint.D30][0] - WINDOWS[FollowUpPoint.D30][1])
    points = [
        (point, FollowUpPoint(point).label, timedelta(days=middle - half), timedelta(days=middle + half))
        for point, (middle, half) in WINDOWS.items()
    ]
    zone, today = scope.centre.zone, scope.today
    for row in _survivors(scope).filter(outcome__occurred_at__lte=opened).values_list(*COURSE):
        ended = row[4].astimezone(zone).date()
        for point, label, after, until in points:
            first, last = ended + after, ended + until
            if first > today or (row[1], point) in kept:
                continue
            state = "is due from" if last >= today else "was due from"
            yield Question(
                f"follow_up_{point}", record_id=row[0], course_id=row[1], subject=course_name(row[2], row[3]),
                text=f"The follow-up at {label} {state} {shown_day(first)} to {shown_day(last)}.",
                page="new_follow_up", args=(row[0],), field="new-point",
            )  # fmt: skip


def strokes_without_rankin(scope: Scope) -> Iterator[Question]:
    """Strokes whose 90-day follow-up has no Rankin."""
    visits = FollowUp.objects.filter(
        Exists(Event.objects.standing().filter(course=OuterRef("course"), neuro_kind__in=STROKES)),
        point=FollowUpPoint.D90, status=VitalStatus.ALIVE, mrs__isnull=True, **scope.within("course"),
    )  # fmt: skip
    for row in visits.values_list("public_id", "course_id", "course__patient__study_no", "course__course_no"):
        yield Question(
            "rankin_missing", record_id=row[0], course_id=row[1], subject=course_name(row[2], row[3]),
            text="After a stroke the Rankin at 90 days is not recorded.",
            **correction("follow_up", row[0], "mrs"),
        )  # fmt: skip
