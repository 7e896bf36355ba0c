"""Open questions in order of harm, the answers that settle them, and how complete the record is."""

from __future__ import annotations

import uuid
from typing import Any

from django import forms
from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone

from registry import actions
from registry.access import LOGBOOK, SignedInRequest, allow
from registry.completeness import tables
from registry.models import Course
from registry.questions import Scope, answered_by, ask_all

SHOWN_OF_EACH = 10
SHOWN_OF_ONE = 500
POSTING = ("POST",)


class AnswerForm(forms.Form):
    """Why a question stays without a value, or how it was dealt with."""

    kind = forms.CharField(max_length=60)
    code = forms.CharField(max_length=60)
    record = forms.UUIDField()
    reason = forms.CharField(min_length=5, max_length=300, error_messages={"required": "Say why."})


def _scope(request: SignedInRequest) -> tuple[Scope, Course | None]:
    """The centre, or the one course that the address names."""
    course = None
    if named := request.GET.get("course"):
        try:
            course = Course.objects.seen_by(request.user).get(public_id=uuid.UUID(named))
        except (ValueError, Course.DoesNotExist):
            raise Http404 from None
    return Scope(request.centre, timezone.now(), (course.pk,) if course else None), course


def _page(request: SignedInRequest, form: AnswerForm | None = None) -> HttpResponse:
    scope, course = _scope(request)
    only = request.GET.get("kind", "")
    asked = ask_all(scope, only=only)
    most = SHOWN_OF_ONE if only or course else SHOWN_OF_EACH
    context = {
        "asked": [
            {"kind": one.kind, "total": len(one.questions), "shown": one.questions[:most]} for one in asked
        ],
        "total": sum(len(one.questions) for one in asked),
        "course": course,
        "only": only,
        "form": form,
        "query": request.GET.urlencode(),
    }
    return render(request, "questions.html", context, status=422 if form else 200)


@allow(LOGBOOK)
def questions(request: SignedInRequest) -> HttpResponse:
    return _page(request)


@allow(LOGBOOK, methods=POSTING)
def answer(request: SignedInRequest) -> HttpResponse:
    """Keep an answer to a question that is open; the words of the question are ours, not the browser's."""
    form = AnswerForm(request.POST)
    if not form.is_valid():
        return _page(request, form)
    given: dict[str, Any] = form.cleaned_data
    scope, _ = _scope(request)
    found = answered_by(scope, kind=given["kind"], code=given["code"], record_id=str(given["record"]))
    if found is None:
        messages.info(request, "This question is not open any more.")
    else:
        kind, question = found
        actions.answer_question(
            entity=kind.entity or question.args[0], record_id=question.record_id, code=question.code,
            question=question.text, reason=given["reason"], by=request.user,
        )  # fmt: skip
        messages.success(request, f"Answer kept: {question.subject}.")
    query = request.GET.urlencode()
    return redirect(f"{reverse('questions')}{'?' if query else ''}{query}#{given['kind']}")


@allow(LOGBOOK)
def completeness(request: SignedInRequest) -> HttpResponse:
    found = tables(request.centre, timezone.localdate())
    return render(request, "completeness.html", {"tables": found})
