"""Pages of issued reports."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpResponse
from django.shortcuts import redirect, render

from outcomes.case_lists import name_cases
from outcomes.committee import is_whole_quarter
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
from outcomes.issuing.restated import late_changes, restatements
from outcomes.quarter import key_figures
from outcomes.views import asked_period, report_context
from outcomes.wording import show
from registry.access import LOGBOOK, REPORTS, WRITING, SignedInRequest, allow, own
from registry.choices import Role
from registry.models import IssuedReport

SIGNERS = frozenset({Role.PHYSICIAN})


@allow(SIGNERS, methods=WRITING)
def sign(request: SignedInRequest) -> HttpResponse:
    """Show what would be issued, as of now, and issue exactly that."""
    asked = asked_period(request)
    posted = request.POST if request.method == "POST" else None
    form = IssueForm(posted, user=request.user)
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
        form = IssueForm(user=request.user, initial={"as_of": as_of.isoformat()})
    context = {
        "asked": asked,
        "form": form,
        "report": report,
        "key_figures": key_figures(report),
        "as_of": as_of,
    }
    return render(request, "issued/sign.html", context, status=422 if form.errors or asked.problem else 200)


@allow(REPORTS)
def issued_reports(request: SignedInRequest) -> HttpResponse:
    return render(request, "issued/list.html", {"issued": IssuedReport.objects.seen_by(request.user)})


def issued_for(request: SignedInRequest, report_id: Any) -> IssuedReport:
    """An issued report of the person's centre; for those who see no cases, of a whole quarter only."""
    issued = own(IssuedReport.objects.all(), report_id, user=request.user)
    if request.user.role not in LOGBOOK and not is_whole_quarter(issued_period(issued)):
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
    moved = restatements(issued)
    opens = request.user.role in LOGBOOK
    context = {
        "issued": issued,
        "moved": [
            {
                "figure": each.figure,
                "was": show(each.was) if each.was and opens else None,
                "now": show(each.now) if each.now and opens else None,
                "came": name_cases(each.came, user=request.user) if opens else (),
                "went": name_cases(each.went, user=request.user) if opens else (),
            }
            for each in moved
        ],
        "changes": late_changes(issued, moved) if opens else (),
        "opens": opens,
    }
    return render(request, "issued/restated.html", context)
