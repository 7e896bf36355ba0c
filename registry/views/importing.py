"""Bringing in a spreadsheet, step by step: file, columns, meanings, preview, and then all or nothing."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from django.contrib import messages
from django.db import connection, transaction
from django.http import Http404, HttpResponse, JsonResponse
from django.shortcuts import redirect, render

from registry.access import LOGBOOK, WRITING, SignedInRequest, allow
from registry.forms.importing import AnswersForm, MatchForm, MeaningForm, SheetForm, UploadForm
from registry.models import SheetState, StagedSheet
from registry.spreadsheet import staging
from registry.spreadsheet.columns import Layout
from registry.spreadsheet.progress import shown_progress
from registry.spreadsheet.saving import Report, import_rows
from registry.views.entry import posted

SHOWN_PROBLEMS = 500


def _status(form: Any) -> int:
    return 422 if form.is_bound and form.errors else 200


def _staged(request: SignedInRequest) -> StagedSheet:
    """The sheet this person is importing; not found if there is none or it is saved already."""
    sheet = staging.staged_by(request.user)
    if sheet is None or sheet.state == SheetState.DONE:
        raise Http404
    return sheet


def _next_step(sheet: StagedSheet) -> str:
    if sheet.state == SheetState.CHOOSING:
        return "import_sheet"
    if not sheet.decisions.get("columns"):
        return "import_columns"
    return "import_preview" if sheet.decisions.get("read") else "import_meanings"


@allow(LOGBOOK, methods=WRITING)
def importing(request: SignedInRequest) -> HttpResponse:
    """Choose a file or paste rows; what was begun before is offered to go on with."""
    form = UploadForm(posted(request), request.FILES or None)
    if form.is_valid() and (sheet := form.stage(request.user)):
        return redirect(_next_step(sheet))
    before = staging.staged_by(request.user)
    finished = before if before and before.state == SheetState.DONE else None
    context = {
        "form": form,
        "finished": finished,
        "begun": before if before and not finished else None,
        "next_step": _next_step(before) if before and not finished else "",
    }
    return render(request, "import/start.html", context, status=_status(form))


@allow(LOGBOOK, methods=WRITING)
def sheet(request: SignedInRequest) -> HttpResponse:
    """Choose a sheet of the workbook."""
    staged = _staged(request)
    if staged.state != SheetState.CHOOSING:
        return redirect("import_columns")
    form = SheetForm(posted(request), staged=staged)
    if form.is_valid():
        staged.save()
        return redirect("import_columns")
    return render(request, "import/sheet.html", {"form": form, "sheet": staged}, status=_status(form))


@allow(LOGBOOK, methods=WRITING)
def columns(request: SignedInRequest) -> HttpResponse:
    """Match the columns of the sheet to those of the logbook."""
    staged = _staged(request)
    if not staged.grid:
        return redirect("import_sheet")
    asked = (request.POST if request.method == "POST" else request.GET).get("layout")
    layout = (
        asked if asked in Layout.values else staged.decisions.get("layout") or staging.guess_layout(staged)
    )
    form = MatchForm(posted(request), staged=staged, centre=request.centre, layout=layout)
    if form.is_valid():
        form.decide()
        staged.save()
        return redirect("import_meanings")
    context = {"form": form, "sheet": staged, "layouts": Layout.choices, "layout": layout}
    return render(request, "import/columns.html", context, status=_status(form))


@allow(LOGBOOK, methods=WRITING)
def meanings(request: SignedInRequest) -> HttpResponse:
    """Decide how the columns are read, then check every cell."""
    staged = _staged(request)
    if not staged.decisions.get("columns"):
        return redirect("import_columns")
    form = MeaningForm(posted(request), staged=staged, centre=request.centre)
    if form.is_valid():
        form.decide()
        _check(request, staged)
        return redirect("import_preview")
    return render(request, "import/meanings.html", {"form": form, "sheet": staged}, status=_status(form))


@allow(LOGBOOK, methods=WRITING)
def preview(request: SignedInRequest) -> HttpResponse:
    """What would come in and what stands in the way; from here it is checked again or saved."""
    staged = _staged(request)
    if not staged.decisions.get("read"):
        return redirect("import_meanings")
    form = AnswersForm(posted(request), staged=staged)
    if form.is_valid():
        form.decide()
        if request.POST.get("do") != "save":
            _check(request, staged)
        elif _save(request, staged):
            return redirect("importing")
        return redirect("import_preview")
    report = staged.report
    context = {
        "sheet": staged,
        "form": form,
        "report": report,
        "problems": report["problems"][:SHOWN_PROBLEMS],
        "adds": any(report["counts"].values()),
    }
    return render(request, "import/preview.html", context, status=_status(form))


def _check(request: SignedInRequest, staged: StagedSheet) -> None:
    """Try the whole import and undo it; its report stays with the sheet."""
    with shown_progress(staged) as tell:
        report = import_rows(
            staging.order_of(staged), centre=request.centre, by=request.user, keep=False, tell=tell
        )
    _keep_report(staged, report)


def _keep_report(staged: StagedSheet, report: Report) -> None:
    staged.report = report.staged()
    staged.save()


def _save(request: SignedInRequest, staged: StagedSheet) -> bool:
    """Import for good; False if something stood in the way, which the report then says."""
    with transaction.atomic():
        with connection.cursor() as cursor:
            key = str(staged.public_id)
            cursor.execute("SELECT pg_advisory_xact_lock(hashtextextended(%s, 0))", [key])
        if not StagedSheet.objects.filter(pk=staged.pk).exclude(state=SheetState.DONE).exists():
            return True  # a second click: the first one has saved it
        with shown_progress(staged) as tell:
            report = import_rows(
                staging.order_of(staged), centre=request.centre, by=request.user, keep=True, tell=tell
            )
        if report.stops or (report.unusual and not staged.decisions.get("reason")):
            _keep_report(staged, report)
            messages.error(request, "Nothing was saved yet. See what is still open below.")
            return False
        staging.remember(staged, request.centre)
        staged.report = asdict(report)
        staging.finish(staged)
    return True


@allow(LOGBOOK)
def progress(request: SignedInRequest) -> HttpResponse:
    """How many rows are done, for the page that waits."""
    staged = staging.staged_by(request.user)
    if staged is None:
        raise Http404
    return JsonResponse({"done": staged.rows_done, "total": staged.rows_total, "state": staged.state})


@allow(LOGBOOK, methods=("POST",))
def abandon(request: SignedInRequest) -> HttpResponse:
    """Drop the sheet; nothing of it stays."""
    staging.forget(request.user)
    messages.success(request, "Import left. Nothing of the sheet is kept.")
    return redirect("importing")
