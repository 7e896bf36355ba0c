"""Pages of issued reports."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from allauth.core.internal.ratelimit import get_ip
from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpResponse
from django.shortcuts import redirect, render

from outcomes.committee import is_for_committee
from outcomes.issuing.forms import IssueForm
from outcomes.issuing.issue import (
    issue,
    issue_number,
    issued_period,
    kept_report,
    report_as_of,
    settled_moment,
    verify,
)
from outcomes.issuing.restated import restatements
from outcomes.issuing.restated_changes import behind_values, late_changes
from outcomes.issuing.restated_page import groups_of, names_of, said
from outcomes.quarter import key_figures
from outcomes.views import asked_period, report_context
from registry.access import LOGBOOK, REPORTS, WRITING, SignedInRequest, allow, own
from registry.choices import Role
from registry.models import IssuedReport
from registry.views.places import place_of

SIGNERS = frozenset({Role.PHYSICIAN})
TOLD_AT_ONCE = 4  # a year of quarters; what moved in one costs its report twice over


@allow(SIGNERS, methods=WRITING)
def sign(request: SignedInRequest) -> HttpResponse:
    """Show what would be issued, as of now, and issue exactly that."""
    asked = asked_period(request)
    posted = request.POST if request.method == "POST" else None
    asks: dict[str, Any] = {"user": request.user, "address": get_ip(request), "period": asked.period}
    form = IssueForm(posted, **asks)
    if request.method == "POST" and form.is_valid() and not asked.problem:
        issued = issue(
            centre=request.centre,
            period=asked.period,
            statement=form.cleaned_data["statement"],
            as_of=form.cleaned_data["as_of"],
            by=request.user,
        )
        messages.success(request, f"Issued: {issued.period}.")
        return redirect("issued_report", issued.public_id)
    as_of: datetime = settled_moment()
    _, report = report_as_of(request.centre, asked.period, as_of)
    if request.method != "POST":
        form = IssueForm(**asks, initial={"as_of": as_of.isoformat()})
    context = {
        "asked": asked,
        "form": form,
        "report": report,
        "key_figures": key_figures(report),
        "as_of": as_of,
        "begun": asked.period.start < as_of,
    }
    return render(request, "issued/sign.html", context, status=422 if form.errors or asked.problem else 200)


@allow(REPORTS)
def issued_reports(request: SignedInRequest) -> HttpResponse:
    """The issued reports; whether anything moved in the newest is worked out once the page stands."""
    issued = IssuedReport.objects.seen_by(request.user)
    told_at_once = TOLD_AT_ONCE if request.user.role in LOGBOOK else 0
    return render(request, "issued/list.html", {"issued": issued, "told_at_once": told_at_once})


def issued_for(request: SignedInRequest, report_id: Any) -> IssuedReport:
    """An issued report of the person's centre; for those who see no cases, of a whole quarter only."""
    issued = own(IssuedReport.objects.all(), report_id, user=request.user)
    if request.user.role not in LOGBOOK and not is_for_committee(issued_period(issued), issued.as_of):
        raise PermissionDenied
    return issued


@allow(REPORTS)
def issued_report(request: SignedInRequest, report_id: Any) -> HttpResponse:
    """The report as it was kept, word for word."""
    issued = issued_for(request, report_id)
    context = report_context(request, kept_report(issued), opens=False)
    context |= {"issued": issued, "verdict": verify(issued), "number": issue_number(issued)}
    return render(request, "issued/report.html", context)


@allow(REPORTS)
def restated(request: SignedInRequest, report_id: Any) -> HttpResponse:
    """What is known now and was not when the report was issued."""
    issued = issued_for(request, report_id)
    opens = request.user.role in LOGBOOK
    moved = restatements(issued, smallest_cell=None if opens else request.centre.smallest_cell)
    changes = late_changes(issued, moved) if opens else ()
    changed = behind_values(moved, changes) if opens else {}
    names = names_of(moved, user=request.user) if opens else {}
    by_exposure = [each for each in moved if each.by_exposure_alone]
    context = {
        "issued": issued,
        "said": said(moved, opens=opens),
        "groups": groups_of([each for each in moved if not each.by_exposure_alone], names, changed),
        "rates": groups_of(by_exposure, names, changed),
        "rates_moved": len(by_exposure),
        "changes": [(late, place_of(late.about) if late.about else "") for late in changes],
        "opens": opens,
        "largest_hidden": request.centre.smallest_cell - 1,
    }
    return render(request, "issued/restated.html", context)
