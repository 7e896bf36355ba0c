"""On support now, and the round: one row a patient, each saved by itself."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from django.db import IntegrityError, transaction
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone

from registry import actions, drafts
from registry.access import LOGBOOK, SignedInRequest, allow, background, own
from registry.forms.round import LETTER_KEY, RoundForm
from registry.models import DailyCheck, Draft, Record, Run
from registry.questions import Scope, counts_by_course
from registry.round import Line, lines
from registry.views.entry import show_both

MOST_DAYS_BACK = 14
POSTING = ("POST",)


def _day(request: SignedInRequest) -> date:
    """The day of the round: today, or one of the days before named in the address."""
    today = timezone.localdate()
    try:
        asked = date.fromisoformat(request.GET.get("day", ""))
    except ValueError:
        return today
    return asked if timedelta(0) <= today - asked <= timedelta(days=MOST_DAYS_BACK) else today


def _form(request: SignedInRequest, line: Line, *, data: Any = None, draft: Draft | None = None) -> RoundForm:
    check = line.check or DailyCheck(run=line.run, checked_on=line.day)
    typed = draft.payload if draft else None
    return RoundForm(
        data, prefix=f"row-{line.run.public_id}", centre=request.centre, instance=check, initial=typed
    )


def _context(
    request: SignedInRequest, day: date, bound: RoundForm | None = None, *, only: Run | None = None
) -> dict[str, Any]:
    """What the page shows; with ``only``, what one row shows."""
    kept = drafts.of(request.user, f"round:{day.isoformat()}:")
    older = [place.split(":")[1] for place in drafts.of(request.user, "round:") if place not in kept]
    found = [line for line in lines(request.centre, day) if only in (None, line.run)]
    open_questions = counts_by_course(
        Scope(request.centre, timezone.now(), tuple(line.course.pk for line in found))
    )
    rows: list[dict[str, Any]] = []
    for line in found:
        mine = bound if bound and bound.instance.run == line.run else None
        draft = kept.get(line.place)
        form = mine or _form(request, line, draft=draft)
        asked = open_questions[line.course.pk]
        rows.append({"line": line, "form": form, "draft": draft, "questions": asked})
    today = timezone.localdate()
    return {
        "rows": rows,
        "day": day,
        "is_today": day == today,
        "before": day - timedelta(days=1),
        "after": day + timedelta(days=1),
        "unfinished": sorted({date.fromisoformat(text) for text in older}),
        "letters": LETTER_KEY,
        "done": sum(row["line"].check is not None for row in rows),
        "shows_listing": "listing" in request.centre.extended_groups,
    }


@allow(LOGBOOK)
def support(request: SignedInRequest) -> HttpResponse:
    """On support now: one row a patient, and the round of the day typed along it."""
    return render(request, "support.html", _context(request, _day(request)))


def _line_of(request: SignedInRequest, run_id: Any) -> Line:
    run = own(Run.objects.all(), run_id, user=request.user)
    for line in lines(request.centre, _day(request)):
        if line.run == run:
            return line
    raise Http404


def _address(day: date) -> str:
    return reverse("support") + ("" if day == timezone.localdate() else f"?day={day.isoformat()}")


def _answer(request: SignedInRequest, line: Line, form: RoundForm, *, saved: bool) -> HttpResponse:
    """The row alone to a script, the whole page to a browser without one."""
    status = 200 if saved else 422
    if request.headers.get("X-Requested-With") == "fetch":
        context = _context(request, line.day, None if saved else form, only=line.run)
        row = context["rows"][0]
        return render(request, "round/row.html", {**context, "row": row, "saved": saved}, status=status)
    if saved:
        return redirect(f"{_address(line.day)}#row-{line.run.public_id}")
    return render(request, "support.html", _context(request, line.day, form), status=status)


@allow(LOGBOOK, methods=POSTING)
def row(request: SignedInRequest, run_id: Any) -> HttpResponse:
    """Save one row, or forget its draft."""
    line = _line_of(request, run_id)
    if "discard" in request.POST:
        drafts.forget(owner=request.user, place=line.place)
        return _answer(request, line, _form(request, line), saved=True)
    form = _form(request, line, data=request.POST)
    saved = form.is_valid()
    if line.check and not form.data.get(form.add_prefix("version")):
        saved = saved and not form.changed()  # the same row sent twice
        if not saved:
            show_both(form, DailyCheck.objects.get(pk=line.check.pk))
    elif saved:
        saved = _save(request, line, form)
    if saved:
        drafts.forget(owner=request.user, place=line.place)
    return _answer(request, line, form, saved=saved)


def _save(request: SignedInRequest, line: Line, form: RoundForm) -> bool:
    try:
        with transaction.atomic():
            _write(request, line, form)
    except actions.Gone:
        form.add_error(None, "Somebody removed this row, or the run it is about, after you opened the page.")
        return False
    except actions.Conflict as conflict:
        show_both(form, conflict.current)
        return False
    except IntegrityError as error:
        form.refuse(error)
        return False
    return True


def _write(request: SignedInRequest, line: Line, form: RoundForm) -> Record:
    if line.check is None:
        return actions.create(record=form.instance, by=request.user, answers=form.answers)
    return actions.correct(
        record=form.instance,
        version=form.cleaned_data["version"],
        reason=form.reason,
        by=request.user,
        answers=form.answers,
    )


@allow(LOGBOOK, methods=POSTING)
@background
def draft(request: SignedInRequest, run_id: Any) -> HttpResponse:
    """Keep what was typed in a row so far. It is no use of the session: a page left open still times out."""
    line = _line_of(request, run_id)
    typed = _form(request, line, data=request.POST).keep_typed()
    if not typed:
        return HttpResponse("Nothing to keep.", status=422)
    drafts.keep(owner=request.user, place=line.place, payload=typed)
    return HttpResponse(status=204)
