"""The reporting pages."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render

from registry.access import REPORTS, SignedInRequest, allow


@allow(REPORTS)
def quarter(request: SignedInRequest) -> HttpResponse:
    return render(request, "quarter.html", {})


@allow(REPORTS)
def definitions(request: SignedInRequest) -> HttpResponse:
    return render(request, "quarter.html", {})
