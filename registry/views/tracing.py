"""Reading a device's label, and finding where devices of a lot went."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse, JsonResponse
from django.shortcuts import render

from registry.access import LOGBOOK, WRITING, SignedInRequest, allow
from registry.barcodes import AmbiguousLabel, DeviceLabel, UnreadableLabel, read_label
from registry.forms.device_label import filled_by, said
from registry.forms.moments import write_day
from registry.forms.tracing import TracingForm
from registry.tracing import trace
from registry.views.entry import posted


@allow(LOGBOOK, methods=("POST",))
def read_code(request: SignedInRequest) -> HttpResponse:
    """What a scanned code says, for the page's script."""
    try:
        label = read_label(request.POST.get("code", ""))
    except AmbiguousLabel as question:
        readings = [_answer(reading) for reading in question.readings]
        return JsonResponse({"text": str(question), "readings": readings})
    except UnreadableLabel as refusal:
        return JsonResponse({"text": str(refusal)}, status=422)
    return JsonResponse({"text": f"Read: {said(label)}.", **_answer(label)})


def _answer(label: DeviceLabel) -> dict[str, Any]:
    fields = {
        name: value if isinstance(value, str) else write_day(value)
        for name, value in filled_by(label).items()
    }
    return {"said": said(label), "fields": fields, "code": _written_out(label)}


def _written_out(label: DeviceLabel) -> str:
    """A GS1 label with its parentheses, which can be read in one way only."""
    if label.system != "GS1":
        return label.raw
    parts = {"01": label.identifier, "10": label.lot, "21": label.serial}
    days = {"11": label.made_on, "17": label.expires_on}
    parts |= {ai: f"{day:%y%m%d}" for ai, day in days.items() if day}
    return "".join(f"({ai}){value}" for ai, value in sorted(parts.items()) if value)


@allow(LOGBOOK, methods=WRITING)
def tracing(request: SignedInRequest) -> HttpResponse:
    """Which patients have or had a device of a lot. Every search is noted.

    It is posted, so that no lot or serial number stands in an address and from there in a server's log.
    """
    form = TracingForm(posted(request))
    found = trace(form.search, by=request.user) if form.is_bound and form.is_valid() else None
    status = 422 if form.is_bound and form.errors else 200
    return render(request, "tracing.html", {"form": form, "found": found}, status=status)
