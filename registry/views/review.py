"""A case on one printable page."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone

from registry.access import LOGBOOK, SignedInRequest, allow, own
from registry.models import Course
from registry.review import tell
from registry.timeline import draw
from registry.views.cases import condition_of, whole_course


@allow(LOGBOOK)
def review(request: SignedInRequest, course_id: Any) -> HttpResponse:
    """With number and dates, or with ``?dates=no`` in days of support: to be printed for a conference.

    The committee opens no case; what it is shown of one, those who keep the logbook choose.
    """
    course = own(whole_course(Course.objects.all()), course_id, user=request.user)
    identified = request.GET.get("dates") != "no"
    context = {
        "course": course,
        "lines": tell(course),
        "condition": condition_of(course),
        "identified": identified,
        "timeline": draw(course, now=timezone.now(), dated=identified),
    }
    return render(request, "review.html", context)
