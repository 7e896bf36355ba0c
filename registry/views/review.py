"""A case on one printable page."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone

from registry.access import LOGBOOK, REPORTS, SignedInRequest, allow, own
from registry.models import Course
from registry.review import tell
from registry.timeline import draw
from registry.views.cases import condition_of, whole_course


@allow(REPORTS)
def review(request: SignedInRequest, course_id: Any) -> HttpResponse:
    """With dates for those who keep the logbook; for others, or with ``?dates=no``, in days of support."""
    course = own(whole_course(Course.objects.all()), course_id, user=request.user)
    identified = request.user.role in LOGBOOK and request.GET.get("dates") != "no"
    context = {
        "course": course,
        "lines": tell(course),
        "condition": condition_of(course),
        "identified": identified,
        "may_identify": request.user.role in LOGBOOK,
        "timeline": draw(course, now=timezone.now(), dated=identified),
    }
    return render(request, "review.html", context)
