"""Finding a case and reading it whole."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Any

from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone

from registry.access import LOGBOOK, WRITING, SignedInRequest, allow, own
from registry.beside import EMPTY, columns_of, computed, entered, value_of
from registry.choices_events import EventKind
from registry.forms.round import SHORT_LABELS
from registry.history import shown
from registry.models import Course, DailyCheck, HaemodynamicSet, IssuedReport, Patient, Record, Run, Screening
from registry.round import shown_days
from registry.timeline import draw

PAGE_SIZE = 25
MOST_FOUND = 100
CONDITION = ("baseline", "risk", "labs")
PROCEDURE = ("procedure", "device", "removal")
MEASURED_DAILY = ("film", "pressures", "labs")


@allow(LOGBOOK, methods=WRITING)
def find(request: SignedInRequest) -> HttpResponse:
    """All patients in pages, one of them by address, or those that a search matches.

    A search is posted, so that no record number stands in an address and from there in a server's log.
    """
    text = request.POST.get("q", "").replace("\x00", "").strip()[:40]
    patients = Patient.objects.seen_by(request.user).prefetch_related("courses__runs", "courses__outcome")
    if one := request.GET.get("patient"):
        patients = patients.filter(pk=own(Patient.objects.all(), one, user=request.user).pk)
    if text:
        page = Paginator(patients.matching(text), MOST_FOUND).page(1)
    else:
        page = Paginator(patients, PAGE_SIZE).get_page(request.GET.get("page"))
    empty = request.method == "POST" and not text
    context = {"q": text, "page": page, "empty": empty}
    return render(request, "find.html", context, status=422 if empty else 200)


def _run_rows(course: Course, now: datetime) -> list[dict[str, Any]]:
    return [{"run": run, "dwell": shown_days(run.dwell(now))} for run in course.run_list]


def _facts(course: Course, now: datetime) -> list[dict[str, str]]:
    patient, zone = course.patient, course.centre.zone
    year = timezone.localtime(course.first_inserted_at or now, zone).year
    height, weight = course.height_cm, course.weight_kg
    return [
        {"label": "Sex", "value": patient.get_sex_display()},
        {"label": "Age at the start", "value": f"about {year - patient.birth_year} years"},
        {"label": "Height", "value": f"{height:.0f} cm" if height else ""},
        {"label": "Weight", "value": f"{weight:.0f} kg" if weight else ""},
        {"label": "Intent at the start", "value": course.get_intent_display()},
        {"label": "Shock stage", "value": course.get_shock_stage_display()},
        {"label": "Cause", "value": course.get_aetiology_display()},
        {"label": "Arrived with a device", "value": "yes" if course.transferred_in else "no"},
    ]


def whole_course(courses: Any) -> Any:
    """A query that brings everything the case page shows."""
    return courses.select_related("patient", "centre", "outcome", "screening").prefetch_related(
        "haemodynamics",
        "listing_spells",
        "runs__checks",
        "runs__failed_attempt_before",
        "events__run",
        "mobilisations",
        "plan_changes",
        "follow_ups",
    )


def issued_with(course: Course) -> list[IssuedReport]:
    """The latest issued report of each period that this course began in."""
    began = course.first_inserted_at
    reports = IssuedReport.objects.filter(centre_id=course.centre_id)
    return list(reports.holding(began).latest_of_each_period()) if began else []


def _filled(record: Record, columns: Iterable[Any]) -> list[tuple[str, str]]:
    """Label and shown value of those columns that are filled."""
    pairs = [(str(c.verbose_name), shown(c, getattr(record, c.name))) for c in columns]
    return [(label, value) for label, value in pairs if value != EMPTY]


def _pressures(course: Course) -> dict[str, Any]:
    sets = list(course.haemodynamics.all())
    columns = columns_of(
        HaemodynamicSet, ("haemodynamics",), "measured_at", "on_support", "surface_formula", "note"
    )
    return {"sets": sets, "entered": entered(sets, columns), "computed": computed(sets)}


def condition_of(course: Course) -> list[tuple[str, str]]:
    """What is recorded of the groups that the centre uses."""
    return _filled(course, columns_of(Course, set(CONDITION) & set(course.centre.extended_groups)))


def _days(course: Course) -> dict[str, Any]:
    """The daily rows, the latest first, with the measured values that the centre records."""
    groups = set(MEASURED_DAILY) & set(course.centre.extended_groups)
    columns = [c for c in columns_of(DailyCheck, groups) if c.name in SHORT_LABELS]
    checks = sorted(
        (check for run in course.run_list for check in run.checks.all()),
        key=lambda check: check.checked_on,
        reverse=True,
    )
    return {
        "heads": [(SHORT_LABELS[column.name], column.unit) for column in columns],
        "rows": [{"check": check, "values": [value_of(check, c) for c in columns]} for check in checks],
    }


@allow(LOGBOOK)
def case(request: SignedInRequest, course_id: Any) -> HttpResponse:
    course = own(whole_course(Course.objects.all()), course_id, user=request.user)
    now = timezone.now()
    runs: list[Run] = course.run_list
    context = {
        "course": course,
        "facts": _facts(course, now),
        "timeline": draw(course, now=now),
        "runs": _run_rows(course, now),
        "in_place": [run for run in runs if run.removed_at is None],
        "days": _days(course),
        "kinds": EventKind.choices,
        "outcome": getattr(course, "outcome", None),
        "condition": condition_of(course),
        "procedures": entered(
            runs, columns_of(Run, set(PROCEDURE) & set(course.centre.extended_groups), "udi_raw")
        ),
        "pressures": _pressures(course),
        "screened": _filled(course.screening, Screening.described()) if hasattr(course, "screening") else [],
        "support": shown_days(_support(runs, now)),
        "other_courses": course.patient.courses.exclude(pk=course.pk),
        "issued": issued_with(course),
    }
    return render(request, "case.html", context)


def _support(runs: list[Run], now: datetime) -> timedelta:
    """From the first insertion to the last removal, or to now."""
    if not runs:
        return timedelta(0)
    return max(run.removed_at or now for run in runs) - min(run.inserted_at for run in runs)
