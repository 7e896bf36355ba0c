"""Recording what a programme can switch on: screening, pressures, the waiting list."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from django.shortcuts import redirect

from registry.access import LOGBOOK, WRITING, SignedInRequest, allow
from registry.forms.extended import HaemodynamicForm, ListingForm, ScreeningForm
from registry.models import HaemodynamicSet, ListingSpell, Screening
from registry.views.entry import Page
from registry.views.followed import add, course_of
from registry.views.places import place_of


@allow(LOGBOOK, methods=WRITING)
def new_screening(request: SignedInRequest, course_id: Any) -> HttpResponse:
    course = course_of(request, course_id)
    known = Screening.objects.filter(course=course).first()
    if known and request.method != "POST":
        return redirect("correct", "screening", known.public_id)
    page = Page(
        title=f"Vascular screening, {course}",
        purpose="What was known of the vessels before the route was chosen, and why it was chosen.",
        back=place_of(course),
        save_label="Record the screening",
        done="Screening recorded.",
    )
    return add(request, record=Screening(course=course), form=ScreeningForm, page=page)


@allow(LOGBOOK, methods=WRITING)
def new_haemodynamics(request: SignedInRequest, course_id: Any) -> HttpResponse:
    course = course_of(request, course_id)
    page = Page(
        title=f"Pressures and flow, {course}",
        purpose="One dated set. Indices are computed from it when shown, with their formula.",
        back=place_of(course),
        save_label="Record the set",
        done="Pressures recorded.",
    )
    last = course.haemodynamics.last()
    initial = {"surface_formula": last.surface_formula} if last else None
    return add(
        request, record=HaemodynamicSet(course=course), form=HaemodynamicForm, page=page, initial=initial
    )


@allow(LOGBOOK, methods=WRITING)
def new_listing(request: SignedInRequest, course_id: Any) -> HttpResponse:
    course = course_of(request, course_id)
    page = Page(
        title=f"Waiting list, {course}",
        purpose="A tier from one day to another. The logbook reminds; it never says who is eligible.",
        back=place_of(course),
        save_label="Record the tier",
        done="Tier recorded.",
    )
    return add(request, record=ListingSpell(course=course), form=ListingForm, page=page)
