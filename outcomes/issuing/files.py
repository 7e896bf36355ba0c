"""Files of an issued report: the kept figures, marked with the issue they are of."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse

from outcomes.exports.material import Material, Seal
from outcomes.exports.packet import packet
from outcomes.exports.slides import slides
from outcomes.exports.views import TAKING, Make, handed_out
from outcomes.exports.workbook import workbook
from outcomes.issuing.issue import issue_number, kept_report
from outcomes.issuing.views import issued_for
from outcomes.views import seen_by
from registry.access import LOGBOOK, REPORTS, SignedInRequest, allow
from registry.models import IssuedReport


@allow(REPORTS, methods=TAKING)
def issued_slides(request: SignedInRequest, report_id: Any) -> HttpResponse:
    return _taken(request, report_id, "slides", "pptx", slides)


@allow(REPORTS, methods=TAKING)
def issued_packet(request: SignedInRequest, report_id: Any) -> HttpResponse:
    return _taken(request, report_id, "packet", "pdf", packet)


@allow(REPORTS, methods=TAKING)
def issued_workbook(request: SignedInRequest, report_id: Any) -> HttpResponse:
    return _taken(request, report_id, "workbook", "xlsx", workbook)


def _taken(request: SignedInRequest, report_id: Any, name: str, kind: str, make: Make) -> HttpResponse:
    issued = issued_for(request, report_id)
    material = issued_material(request, issued)
    return handed_out(request, make(material), f"{name}-issue-{issue_number(issued)}", kind, material)


def issued_material(request: SignedInRequest, issued: IssuedReport) -> Material:
    """The kept report as this person may see it; it was kept without quarters before and comparison."""
    smallest_cell = None if request.user.role in LOGBOOK else request.centre.smallest_cell
    report = seen_by(kept_report(issued), request)
    return Material(report=report, smallest_cell=smallest_cell, seal=seal_of(issued))


def seal_of(issued: IssuedReport) -> Seal:
    """What marks the files of an issued report."""
    return Seal(
        number=issue_number(issued),
        signed_by=issued.signed_name,
        issued_at=issued.issued_at,
        statement=issued.statement,
        fingerprint=issued.data_fingerprint,
        content_digest=issued.content_digest,
    )
