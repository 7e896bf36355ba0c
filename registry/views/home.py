"""The first page after signing in."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import redirect

from registry.access import EVERYONE, LOGBOOK, SETTINGS, SignedInRequest, allow


@allow(EVERYONE)
def home(request: SignedInRequest) -> HttpResponse:
    role = request.user.role
    return redirect("support" if role in LOGBOOK else "settings" if role in SETTINGS else "quarter")
