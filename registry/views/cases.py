"""Finding a case and reading it whole."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.http import urlencode

from registry.access import LOGBOOK, SignedInRequest, allow, own
from registry.choices_events import EventKind
from registry.derived import indices
from registry.history import shown
from registry.models import Course, HaemodynamicSet, IssuedReport, Patient, Record, Run
from registry.round import shown_days
from registry.timeline import draw

PAGE_SIZE = 25


@allow(LOGBOOK)
def find(request: SignedInRequest) -> HttpResponse:
    text = request.GET.get("q", "").replace("\x00", "").strip()[:40]
    patients = Patient.objects.seen_by(request.user)
    if text:
        patients = patients.matching(text)
    page = Paginator(patients.prefetch_related("courses__runs", "courses__outcome"), PAGE_SIZE).get_page(
        request.GET.get("page")
    )
    query = "&" + urlencode({"q": text}) if text else ""
    return render(request, "find.html", {"q": text, "page": page, "query": query})


def _run_rows(course: Course, now: datetime) -> list[dict[str, Any]]:
    return [{"run": run, "dwell": shown_days(run.dwell(now))} for run in course.run_list]


def _facts(course: Course, now: datetime) -> list[dict[str, str]]:
    patient, first = course.patient, course.first_inserted_at
    year = first.year if first else now.year
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


def _filled(record: Record, *left_out: str) -> list[tuple[str, str]]:
    """Label and shown value of the filled columns of a record."""
    columns = [column for column in record.described() if column.name not in left_out]
    pairs = [(str(c.verbose_name), shown(c, getattr(record, c.name))) for c in columns]
    return [(label, value) for label, value in pairs if value != "–"]


def _pressures(measured: HaemodynamicSet) -> dict[str, Any]:
    entered = _filled(measured, "measured_at", "on_support", "surface_formula")
    return {"set": measured, "entered": entered, "indices": indices(measured)}


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
        "checks": sorted(
            (check for run in runs for check in run.checks.all()), key=lambda c: c.checked_on, reverse=True
        ),
        "kinds": EventKind.choices,
        "outcome": getattr(course, "outcome", None),
        "pressures": [_pressures(measured) for measured in course.haemodynamics.all()],
        "screened": _filled(course.screening) if hasattr(course, "screening") else [],
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
