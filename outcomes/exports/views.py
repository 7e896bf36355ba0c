"""Files of the quarter to take along. Each one that is taken is noted."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

from django.http import Http404, HttpResponse

from outcomes.comparison.reading import load
from outcomes.exports.files import chart_png, chart_svg, table_csv
from outcomes.exports.material import Material, gather
from outcomes.exports.packet import packet
from outcomes.exports.slides import slides
from outcomes.exports.workbook import workbook
from outcomes.views import Asked, asked_period
from registry.access import LOGBOOK, REPORTS, SignedInRequest, allow
from registry.models import Download

OFFICE = "application/vnd.openxmlformats-officedocument"
KINDS = {
    "pptx": f"{OFFICE}.presentationml.presentation",
    "xlsx": f"{OFFICE}.spreadsheetml.sheet",
    "pdf": "application/pdf",
    "svg": "image/svg+xml",
    "png": "image/png",
    "csv": "text/csv; charset=utf-8",
}

TAKING = ("GET",)  # asking for the head alone would make the file and take nothing

Make = Callable[[Material], bytes]


@allow(REPORTS, methods=TAKING)
def quarter_slides(request: SignedInRequest) -> HttpResponse:
    return _taken(request, "slides", "pptx", slides)


@allow(REPORTS, methods=TAKING)
def quarter_packet(request: SignedInRequest) -> HttpResponse:
    return _taken(request, "packet", "pdf", packet)


@allow(REPORTS, methods=TAKING)
def quarter_workbook(request: SignedInRequest) -> HttpResponse:
    return _taken(request, "workbook", "xlsx", workbook)


@allow(REPORTS, methods=TAKING)
def figure_svg(request: SignedInRequest, id: str) -> HttpResponse:
    return _taken(request, id, "svg", lambda material: chart_svg(_known(material.charts, id)))


@allow(REPORTS, methods=TAKING)
def figure_png(request: SignedInRequest, id: str) -> HttpResponse:
    return _taken(request, id, "png", lambda material: chart_png(_known(material.charts, id)))


@allow(REPORTS, methods=TAKING)
def quarter_table(request: SignedInRequest, id: str) -> HttpResponse:
    return _taken(request, id, "csv", lambda material: table_csv(_known(material.tables, id), material))


Part = TypeVar("Part")


def _known(parts: dict[str, Part], id: str) -> Part:
    if id not in parts:
        raise Http404
    return parts[id]


def _taken(request: SignedInRequest, name: str, kind: str, make: Make) -> HttpResponse:
    """The file, noted as taken by this person."""
    asked = asked_period(request)
    if asked.problem:
        return HttpResponse(asked.problem, status=422, content_type="text/plain; charset=utf-8")
    material = material_for(request, asked)
    return handed_out(request, make(material), name, kind, material)


def handed_out(
    request: SignedInRequest, body: bytes, name: str, kind: str, material: Material
) -> HttpResponse:
    """The answer that hands a file out, and its line among the downloads."""
    period = material.header.period
    Download.objects.create(
        centre=request.centre,
        by=request.user,
        what=f"{name}.{kind}",
        period=period,
        cut=material.header.data_cut,
    )
    return HttpResponse(
        body,
        content_type=KINDS[kind],
        headers={"Content-Disposition": f'attachment; filename="{name}-{period}.{kind}"'},
    )


def material_for(request: SignedInRequest, asked: Asked) -> Material:
    """What this person may take: single cases and small counts only with a role in the logbook."""
    dataset, facts = load(centres=[request.centre])
    smallest_cell = None if request.user.role in LOGBOOK else request.centre.smallest_cell
    return gather(dataset=dataset, facts=facts, period=asked.period, smallest_cell=smallest_cell)
