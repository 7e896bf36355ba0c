"""Files of an issued report: the kept figures, with what was known beside them at the same moment."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse

from outcomes.comparison.reading import load
from outcomes.dataset import Dataset
from outcomes.exports.material import Material, gather
from outcomes.exports.packet import packet
from outcomes.exports.seal import Again, Seal
from outcomes.exports.slides import slides
from outcomes.exports.views import TAKING, Make, handed_out
from outcomes.exports.workbook import workbook
from outcomes.issuing.fingerprint import fingerprint
from outcomes.issuing.issue import data_cut, issue_number, issued_period, kept_report, same_figures
from outcomes.issuing.views import issued_for
from outcomes.measures.catalogue import definitions_version
from outcomes.report import build_report
from outcomes.report.build import software_version
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
    """The kept report as this person may see it, with all that a live file of that moment would hold.

    What stands beside the kept report is computed again from the history; without it where the history, the
    definitions or the software have become others.
    """
    smallest_cell = None if request.user.role in LOGBOOK else request.centre.smallest_cell
    kept = seen_by(kept_report(issued), request)
    dataset, facts = load(centres=[issued.centre], as_of=issued.as_of, cut_at=data_cut(issued.as_of))
    seal = seal_of(issued, missing=why_missing(issued, dataset))
    if seal.again.missing:
        return Material(report=kept, smallest_cell=smallest_cell, seal=seal)
    again = gather(
        dataset=dataset,
        facts=facts,
        period=issued_period(issued),
        as_of=issued.as_of,
        smallest_cell=smallest_cell,
    )
    return again.sealed(kept, seal)


def why_missing(issued: IssuedReport, dataset: Dataset) -> str:
    """Why nothing computed again may stand beside the kept report; empty where it may.

    ``dataset`` is what the history gives as of the moment of the issue.
    """
    found, signed = fingerprint(dataset), issued.data_fingerprint
    if found != signed:
        return (
            f"the history, as software {software_version()} reads it, no longer gives the rows that were "
            f"signed: data {found[:12]}, not {signed[:12]}"
        )
    if definitions_version() != issued.definitions_version:
        return f"definitions have changed, from {issued.definitions_version} to {definitions_version()}"
    again = build_report(dataset=dataset, period=issued_period(issued), as_of=issued.as_of)
    if not same_figures(issued, again):
        return f"software {software_version()} computes other figures from the same rows"
    return ""


def seal_of(issued: IssuedReport, *, missing: str = "") -> Seal:
    """What marks the files of an issued report; ``missing`` says why nothing could be computed again."""
    return Seal(
        number=issue_number(issued),
        signed_by=issued.signed_name,
        issued_at=issued.issued_at,
        statement=issued.statement,
        fingerprint=issued.data_fingerprint,
        content_digest=issued.content_digest,
        software_version=issued.software_version,
        again=Again(software_version(), missing),
    )
