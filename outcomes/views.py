"""The reporting pages."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.http import Http404, HttpResponse, JsonResponse
from django.shortcuts import render
from django.utils import timezone

from outcomes.case_lists import case_rows
from outcomes.committee import for_committee, is_for_committee
from outcomes.comparison.page.charts import ComparisonChart
from outcomes.comparison.page.drawing import comparison_spec
from outcomes.comparison.page.values import chart_values as compared_values
from outcomes.dataset import load_dataset
from outcomes.figures import Chart
from outcomes.issuing.restated import restatements
from outcomes.measures.catalogue import MEASURES, definitions_version
from outcomes.period import FIRST_DAY, LAST_DAY, QUARTER, Period, PeriodError
from outcomes.plotly_charts import plotly_spec
from outcomes.quarter import Section, key_figures, sections
from outcomes.report import Report, build_report
from outcomes.report.serialise import as_json
from registry.access import LOGBOOK, REPORTS, SignedInRequest, allow
from registry.choices import Role
from registry.models import Centre, IssuedReport

COMMITTEE_PERIODS = (
    "The committee reads whole quarters that are over, such as 2026-Q3: others overlap, and one that still "
    "goes on would give each newcomer away to whoever reads twice."
)
BESIDE = (
    (
        "trends",
        "The quarters before",
        "Each quarter by itself. A single quarter above or below the others is no signal.",
    ),
    (
        "routes",
        "One route against the other",
        "All courses of the logbook, by the route tried first; a quarter alone holds too few to compare.",
    ),
)


@dataclass(frozen=True)
class Asked:
    """The period a request asks for; ``problem`` says why the last full quarter is shown instead."""

    period: Period
    text: str
    problem: str = ""


def last_full_quarter(today: date, centre: Centre) -> Period:
    """The quarter before the one that holds today."""
    running = Period.quarter_of(today, centre.zone)
    return Period.quarter_of((running.start - timedelta(days=1)).date(), centre.zone)


def asked_period(request: SignedInRequest) -> Asked:
    """Read the period from the address."""
    text = request.GET.get("period", "").replace("\x00", "").strip()[:40]
    usual = last_full_quarter(timezone.localdate(), request.centre)
    if not text:
        return Asked(usual, usual.label)
    try:
        period = Period.parse(text, request.centre.zone)
    except PeriodError as error:
        return Asked(usual, text, f"{error}.")
    if request.user.role not in LOGBOOK and not is_for_committee(period, timezone.now()):
        return Asked(usual, text, COMMITTEE_PERIODS)
    return Asked(period, text)


def report_of(centre: Centre, period: Period, *, as_of: datetime | None = None) -> Report:
    """The report of a centre, as the logbook stands now or stood at a moment."""
    return build_report(dataset=load_dataset(centres=[centre], as_of=as_of), period=period, as_of=as_of)


def seen_by(report: Report, request: SignedInRequest) -> Report:
    """The report as this person may see it: without small counts for those who see no cases."""
    if request.user.role in LOGBOOK:
        return report
    return for_committee(report, threshold=request.centre.smallest_cell)


def report_context(request: SignedInRequest, report: Report, *, opens: bool) -> dict[str, Any]:
    """What the body of a report needs; ``opens`` says whether figures lead to their cases."""
    report = seen_by(report, request)
    sees_cases = request.user.role in LOGBOOK
    shown = [drawn(section) for section in sections(report, quality_first=not sees_cases)]
    return {
        "report": report,
        "key_figures": key_figures(report),
        "sections": shown,
        "contents": [{"id": part["id"], "label": part["title"]} for part in shown],
        "opens": opens,
        "smallest_cell": None if sees_cases else request.centre.smallest_cell,
    }


def issued_before(request: SignedInRequest, period: Period) -> dict[str, Any]:
    """What was issued of this period, and how many figures of the issued one before it have moved since; how
    many is not for those who see no cases.
    """
    issued = IssuedReport.objects.filter(centre=request.centre)
    earlier = issued.filter(period_end__lte=period.start).order_by("-period_end", "-as_of").first()
    return {
        "issued": issued.filter(period_start=period.start, period_end=period.end),
        "earlier": earlier,
        "moved": len(restatements(earlier)) if earlier and request.user.role in LOGBOOK else 0,
    }


def beside_of(period: Period) -> list[tuple[str, str, str]]:
    """Sections that are worked out once the page stands: id, title, purpose. Trends are of quarters only."""
    return [each for each in BESIDE if each[0] != "trends" or QUARTER.fullmatch(period.label)]


def quarters_around(period: Period, centre: Centre) -> list[str]:
    """Labels of the quarter before and the one after, within the years of the logbook."""
    before = max((period.start - timedelta(days=1)).date(), FIRST_DAY)
    after = min(period.end.astimezone(centre.zone).date(), LAST_DAY)
    return [Period.quarter_of(day, centre.zone).label for day in (before, after)]


def drawn(section: Section) -> dict[str, Any]:
    """A section for the template, charts with their Plotly description."""
    parts = [_drawn_chart(part) if isinstance(part, Chart) else {"table": part} for part in section.parts]
    return {"id": section.id, "title": section.title, "purpose": section.purpose, "parts": parts}


def _drawn_chart(chart: Chart) -> dict[str, Any]:
    """A chart with its Plotly description and its values; those of the comparison as on its page."""
    if isinstance(chart, ComparisonChart):
        return {"chart": chart, "spec": comparison_spec(chart), "table": compared_values(chart)}
    return {"chart": chart, "spec": plotly_spec(chart), "table": chart_values(chart)}


def chart_values(chart: Chart) -> dict[str, Any]:
    """The values of a chart as a plain table beside it."""
    form = "{:.1%}" if chart.percent else "{:.2f}"
    rows = []
    for series in chart.series:
        for i, x in enumerate(series.x):
            values = [series.y[i], *(edge[i] if edge else None for edge in (series.lower, series.upper))]
            said = ["" if value is None else form.format(value) for value in values]
            rows.append({"head": series.name, "cells": [x if isinstance(x, str) else f"{x:.2f}", *said]})
    at = {"dots": "Complication", "trend": "Quarter"}.get(chart.kind, "Day")
    columns = [{"label": name} for name in ("Line", at, "Value", "Lower limit", "Upper limit")]
    return {"caption": chart.label, "columns": columns, "rows": rows}


@allow(REPORTS)
def quarter(request: SignedInRequest) -> HttpResponse:
    asked = asked_period(request)
    report = report_of(request.centre, asked.period)
    before, after = quarters_around(asked.period, request.centre)
    context = report_context(request, report, opens=request.user.role in LOGBOOK)
    context |= {
        "asked": asked,
        "before": before,
        "after": after,
        "signs": request.user.role == Role.PHYSICIAN,
        "beside": beside_of(asked.period),
    }
    context["contents"] += [{"id": id, "label": title} for id, title, _ in context["beside"]]
    context |= issued_before(request, asked.period)
    return render(request, "quarter.html", context, status=422 if asked.problem else 200)


@allow(REPORTS)
def quarter_json(request: SignedInRequest) -> HttpResponse:
    asked = asked_period(request)
    if asked.problem:
        return JsonResponse({"error": asked.problem}, status=422)
    body = as_json(seen_by(report_of(request.centre, asked.period), request))
    name = f"report-{asked.period.label}.json"
    return HttpResponse(
        body,
        content_type="application/json",
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )


@allow(LOGBOOK)
def cases(request: SignedInRequest) -> HttpResponse:
    """The cases behind one figure."""
    asked = asked_period(request)
    report = report_of(request.centre, asked.period)
    key = request.GET.get("figure", "")
    try:
        behind = report.cases(key)
    except KeyError:
        raise Http404 from None
    figure = next((f for f in report.figures if f.key == key), None)
    line = next((left for left in report.left_out if left.key == key), None)
    context = {
        "asked": asked,
        "figure": figure,
        "line": line,
        "measure": report.measure(figure.measure) if figure else None,
        "lists": case_rows(behind, user=request.user),
    }
    return render(request, "cases.html", context)


@allow(REPORTS)
def definitions(request: SignedInRequest) -> HttpResponse:
    return render(request, "definitions.html", {"measures": MEASURES, "version": definitions_version()})
