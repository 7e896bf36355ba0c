"""Questions about devices and the courses they belong to."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from typing import Any

from django.db.models import Count, Exists, F, Max, OuterRef, Q, Subquery

from registry.choices import DeviceClass, ExchangeReason
from registry.choices_events import EventKind
from registry.choices_extended import CheckAngiogram
from registry.models import Course, Event, Run
from registry.models.run import AXILLARY_ROUTES
from registry.questions.question import Question, Scope, correction, course_name, shown_day

RUN = ("public_id", "course_id", "course__patient__study_no", "course__course_no", "run_no")
COURSE = ("public_id", "pk", "patient__study_no", "course_no")


def runs(scope: Scope) -> Any:
    return Run.objects.filter(**scope.within("course"))


def _of_run(row: tuple[Any, ...]) -> dict[str, Any]:
    return {"record_id": row[0], "course_id": row[1], "subject": course_name(*row[2:5])}


def _of_course(row: tuple[Any, ...]) -> dict[str, Any]:
    return {"record_id": row[0], "course_id": row[1], "subject": course_name(*row[2:4])}


def still_in(scope: Scope) -> Iterator[Question]:
    """Devices with no end although the course has one."""
    found = runs(scope).filter(removed_at__isnull=True, course__outcome__isnull=False)
    for row in found.values_list(*RUN, "course__outcome__occurred_at"):
        text = f"The course ended on {shown_day(row[5])}, the device has no removal."
        yield Question(
            "run_open",
            text=text,
            page="remove_device",
            args=(row[0],),
            field="run-removed_at",
            **_of_run(row),
        )


def no_outcome(scope: Scope) -> Iterator[Question]:
    """Courses whose last device is out for longer than the gap rule, without an outcome."""
    out_before = scope.now - timedelta(hours=scope.centre.gap_rule_hours)
    found = (
        Course.objects.filter(outcome__isnull=True, **scope.within())
        .annotate(last=Max("runs__removed_at"), still=Count("runs", filter=Q(runs__removed_at__isnull=True)))
        .filter(still=0, last__lt=out_before)
    )
    for row in found.values_list(*COURSE, "last"):
        text = f"The last device came out on {shown_day(row[4])}; how the course ended is not recorded."
        yield Question(
            "course_open",
            text=text,
            page="new_outcome",
            args=(row[0],),
            field="new-outcome",
            **_of_course(row),
        )


def not_screened(scope: Scope) -> Iterator[Question]:
    """Implanted patients of whom nobody wrote down why this route was chosen."""
    found = Course.objects.filter(
        Exists(Run.objects.filter(course=OuterRef("pk"), device_class=DeviceClass.IABP)), **scope.within()
    ).filter(Q(screening__isnull=True) | Q(screening__route_reason=[]))
    for row in found.values_list(*COURSE, "screening__public_id"):
        place = (
            correction("screening", row[4], "route_reason")
            if row[4]
            else {"page": "new_screening", "args": (row[0],), "field": "new-route_reason"}
        )
        text = (
            "Why this route was chosen is not recorded." if row[4] else "No vascular screening is recorded."
        )
        yield Question("screening_missing", text=text, **_of_course(row), **place)


def no_lot(scope: Scope) -> Iterator[Question]:
    """Balloon pumps that a recall could not find."""
    found = runs(scope).filter(device_class=DeviceClass.IABP, lot="")
    for row in found.values_list(*RUN):
        text = "Without a lot number this device cannot be excluded from a recall."
        yield Question("lot_missing", text=text, **_of_run(row), **correction("run", row[0], "lot"))


def _event_on(run: str, *kinds: str) -> Exists:
    return Exists(Event.objects.filter(run=OuterRef(run), kind__in=kinds).exclude(review="REFUTED"))


def abnormal_angiogram(scope: Scope) -> Iterator[Question]:
    """Injuries seen on the contrast check for which nobody opened an event."""
    found = runs(scope).filter(
        ~_event_on("pk", EventKind.ACCESS_SITE, EventKind.VASCULAR), check_angiogram=CheckAngiogram.ABNORMAL
    )
    for row in found.values_list(*RUN, "course__public_id"):
        text = "The contrast check of the artery was abnormal, and no event of the vessel is recorded."
        yield Question(
            "angiogram_without_event",
            text=text,
            page="new_event",
            args=(row[5], "access-site"),
            **_of_run(row),
        )


def no_angiogram(scope: Scope) -> Iterator[Question]:
    """Axillary runs of which nobody said whether the artery was checked with contrast."""
    found = runs(scope).filter(device_class=DeviceClass.IABP, route__in=AXILLARY_ROUTES, check_angiogram="")
    for row in found.values_list(*RUN):
        text = "Whether the artery was checked with contrast is not recorded."
        yield Question(
            "angiogram_missing", text=text, **_of_run(row), **correction("run", row[0], "check_angiogram")
        )


def failed_closure(scope: Scope) -> Iterator[Question]:
    """Closures that needed an unplanned step without an event."""
    kinds = (EventKind.ACCESS_SITE, EventKind.VASCULAR, EventKind.BLEEDING)
    found = runs(scope).filter(~_event_on("pk", *kinds), closure_success=False)
    for row in found.values_list(*RUN, "course__public_id"):
        text = "Haemostasis needed an unplanned step, and no event of the access site is recorded."
        yield Question(
            "closure_without_event", text=text, page="new_event", args=(row[5], "access-site"), **_of_run(row)
        )


def unexplained_exchange(scope: Scope) -> Iterator[Question]:
    """Changes of a device for which no reason, or only “other”, stands."""
    found = runs(scope).filter(
        Q(exchange_reason="") | Q(exchange_reason=ExchangeReason.OTHER, note=""), run_no__gt=1
    )
    for row in found.values_list(*RUN):
        text = "Why the device before was changed is not recorded."
        yield Question(
            "exchange_unexplained", text=text, **_of_run(row), **correction("run", row[0], "exchange_reason")
        )


def kinked_exchange(scope: Scope) -> Iterator[Question]:
    """Exchanges because of a kink or a fault whose event is missing on the device before."""
    reasons = (ExchangeReason.KINK, ExchangeReason.RUPTURE, ExchangeReason.GAS_LEAK)
    found = runs(scope).filter(~_event_on("replaces", EventKind.KINK), exchange_reason__in=reasons)
    for row in found.values_list(*RUN, "course__public_id", "inserted_at"):
        text = f"The device before was exchanged on {shown_day(row[6])} for a fault that has no event."
        yield Question(
            "exchange_without_event", text=text, page="new_event", args=(row[5], "kink"), **_of_run(row)
        )


def changed_intent(scope: Scope) -> Iterator[Question]:
    """Intents at the start that were rewritten, read from the history."""
    history: Any = Course.history.rel.related_model  # type: ignore[attr-defined]
    several = (
        history.objects.filter(pgh_obj_id=OuterRef("pk"))
        .values("pgh_obj_id")
        .annotate(intents=Count("intent", distinct=True))
        .values("intents")
    )
    found = Course.objects.filter(version__gt=1, **scope.within()).annotate(intents=Subquery(several))
    for row in found.filter(intents__gt=1).values_list(*COURSE):
        text = "The intent at the start was rewritten. A later plan is an entry of its own."
        yield Question(
            "intent_changed", text=text, page="history", args=("course", row[0]), **_of_course(row)
        )


def no_creatinine(scope: Scope) -> Iterator[Question]:
    """Courses without the creatinine against which kidney injury is judged."""
    found = Course.objects.filter(creatinine_umol_l__isnull=True, **scope.within())
    for row in found.values_list(*COURSE):
        text = "Without a creatinine at the start, injury of the kidney cannot be staged."
        yield Question(
            "creatinine_missing", text=text, **_of_course(row),
            **correction("course", row[0], "creatinine_umol_l"),
        )  # fmt: skip


def no_basis(scope: Scope) -> Iterator[Question]:
    """Patients whose record stands on no dated basis."""
    found = Course.objects.filter(patient__consent_on__isnull=True, **scope.within())
    rows = found.order_by("patient_id", "course_no").distinct("patient_id")
    for row in rows.values_list("patient__public_id", "pk", "patient__study_no"):
        yield Question(
            "basis_missing", record_id=row[0], course_id=row[1], subject=row[2],
            text="Since when the record may be held, and on what basis, is not recorded.",
            **correction("patient", row[0], "consent_on"),
        )  # fmt: skip


def expiring_listing(scope: Scope) -> Iterator[Question]:
    """Tiers of the waiting list that expire soon or have expired, of patients on support."""
    days = scope.centre.listing_reminder_days
    if not days:
        return
    found = (
        Course.objects.filter(outcome__isnull=True, **scope.within())
        .annotate(latest=Max("listing_spells__began_on"))
        .filter(
            listing_spells__began_on=F("latest"),
            listing_spells__expires_on__lte=scope.today + timedelta(days=days),
        )
    )
    columns = ("listing_spells__public_id", "listing_spells__tier", "listing_spells__expires_on")
    for row in found.values_list("pk", "patient__study_no", "course_no", "public_id", *columns):
        verb = "expires" if row[6] >= scope.today else "expired"
        yield Question(
            "listing_expiring", record_id=row[4], course_id=row[0], subject=course_name(row[1], row[2]),
            text=f"Tier {row[5]} {verb} on {shown_day(row[6])}. A reminder only: read the policy in force.",
            page="new_listing", args=(row[3],), field="new-tier",
        )  # fmt: skip


def unsaid_support(scope: Scope) -> Iterator[Question]:
    """Sets of pressures of which nobody said whether a pump or a drug was working."""
    found = Course.objects.filter(haemodynamics__on_support="", **scope.within())
    columns = ("haemodynamics__public_id", "haemodynamics__measured_at")
    for row in found.values_list("pk", "patient__study_no", "course_no", *columns):
        yield Question(
            "support_unsaid", record_id=row[3], course_id=row[0], subject=course_name(row[1], row[2]),
            text=f"Whether a pump or a drug was on at the pressures of {shown_day(row[4])} is not said.",
            **correction("haemodynamics", row[3], "on_support"),
        )  # fmt: skip
