"""Sections of the quarter page that are fetched once it stands: the quarters before, and the two routes."""

from __future__ import annotations

from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from outcomes.comparison.cuts import last_quarter_end
from outcomes.comparison.page.sections import AT_ONCE
from outcomes.comparison.reading import load
from outcomes.comparison.summary import summary
from outcomes.dataset import load_dataset
from outcomes.figures import Chart
from outcomes.quarter import Section
from outcomes.report import Report, build_report
from outcomes.routes import SEVERAL, compared_routes, refusals, routes_forest
from outcomes.trends import quarters_until, trends
from outcomes.views import Asked, asked_period, beside_of, drawn, seen_by
from registry.access import LOGBOOK, REPORTS, SignedInRequest, allow

Beside = tuple[tuple[Chart, ...], tuple[str, ...]]
NOTHING = "There is nothing to draw yet."


@allow(REPORTS)
def quarter_section(request: SignedInRequest, section_id: str) -> HttpResponse:
    """One of the sections, by itself or for the page that asked for it."""
    asked = asked_period(request)
    known = {id: (title, purpose) for id, title, purpose in beside_of(asked.period)}
    if section_id not in known:
        raise Http404
    charts, words = _routes(request) if section_id == "routes" else _trends(request, asked)
    section = drawn(Section(section_id, *known[section_id], charts))
    context = {"asked": asked, "section": section, "words": words, "period": asked.period.label}
    return render(request, "quarter_section.html", context, status=422 if asked.problem else 200)


def _trends(request: SignedInRequest, asked: Asked) -> Beside:
    def seen(report: Report) -> Report:
        return seen_by(report, request)

    dataset = load_dataset(centres=[request.centre])
    report = seen(build_report(dataset=dataset, period=asked.period))
    found = trends(quarters_until(report, asked.period, dataset, seen=seen))
    return found, () if found else (NOTHING,)


def _routes(request: SignedInRequest) -> Beside:
    sees_all, zone = request.user.role in LOGBOOK, request.centre.zone
    cut_at = None if sees_all else last_quarter_end(timezone.now(), zone)
    dataset, facts = load(centres=[request.centre], cut_at=cut_at)
    threshold = None if sees_all else request.centre.smallest_cell
    compared = compared_routes(dataset, facts, threshold=threshold, parts=AT_ONCE)
    if compared is None:
        return (), (NOTHING,)
    forest = routes_forest(compared)
    charts = (forest,) if forest else ()
    return charts, (*summary(compared), " ".join((SEVERAL, *refusals(compared))))
