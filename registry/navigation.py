"""What stands in the menu, by role."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest
from django.urls import reverse

from registry.access import LOGBOOK, REPORTS, SETTINGS

MENU = (
    ("On support now", "support", LOGBOOK),
    ("Find", "find", LOGBOOK),
    ("Open questions", "questions", LOGBOOK),
    ("Record an implant", "new_implant", LOGBOOK),
    ("Considered", "candidates", LOGBOOK),
    ("Trace a device", "tracing", LOGBOOK),
    ("Import", "importing", LOGBOOK),
    ("Quarter", "quarter", REPORTS),
    ("Compare", "compare", REPORTS),
    ("Issued", "issued_reports", REPORTS),
    ("Definitions", "definitions", REPORTS),
    ("Settings", "settings", SETTINGS),
)


def menu(request: HttpRequest) -> dict[str, Any]:
    """Context for every page: the menu entries of this role and who is signed in."""
    user = getattr(request, "user", None)
    if user is None or not user.is_authenticated:
        return {}
    entries = [
        {"label": label, "url": reverse(name), "current": request.path == reverse(name)}
        for label, name, roles in MENU
        if user.role in roles
    ]
    viewer = {"name": str(user), "role": user.get_role_display(), "centre": str(user.centre or "")}
    return {"nav": entries, "viewer": viewer}
