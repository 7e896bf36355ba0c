"""Patients considered and attempts that failed: the lines without a device."""

from __future__ import annotations

from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import render

from registry.access import LOGBOOK, SignedInRequest, allow
from registry.models import Candidate, FailedAttempt

PAGE_SIZE = 25


@allow(LOGBOOK)
def candidates(request: SignedInRequest) -> HttpResponse:
    attempts = FailedAttempt.objects.seen_by(request.user).select_related("patient", "followed_by__course")
    lines = Paginator(Candidate.objects.seen_by(request.user), PAGE_SIZE).get_page(request.GET.get("page"))
    return render(request, "candidates.html", {"attempts": attempts.order_by("-attempted_at"), "page": lines})
