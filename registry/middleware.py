"""What happens around every request: headers, the limits of a session, the centre's time."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import TypeAlias

from allauth.mfa.utils import is_mfa_enabled
from django.conf import settings
from django.contrib import messages
from django.contrib.auth import logout
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone

Handler: TypeAlias = Callable[[HttpRequest], HttpResponseBase]

CONTENT_SECURITY_POLICY = {
    "default-src": "'none'",
    "script-src": "'self'",
    "style-src": "'self'",
    "img-src": "'self' data: blob:",
    "font-src": "'self'",
    "connect-src": "'self'",
    "form-action": "'self'",
    "base-uri": "'none'",
    "frame-ancestors": "'none'",
    "object-src": "'none'",
}
UNUSED_ABILITIES = ("camera", "display-capture", "geolocation", "microphone", "payment", "usb")
HEADERS = {
    "Content-Security-Policy": "; ".join(map(" ".join, CONTENT_SECURITY_POLICY.items())),
    "Permissions-Policy": ", ".join(f"{ability}=()" for ability in UNUSED_ABILITIES),
    "Cross-Origin-Resource-Policy": "same-origin",
    # Pages hold patient data, so neither browser nor proxy keeps them. Static files say otherwise themselves.
    "Cache-Control": "no-store",
}
SEEN_EVERY_SECONDS = 60  # how often a session's last use is written down


def response_headers(get_response: Handler) -> Handler:
    """Give every response the headers above; one that a view has set stays."""

    def handle(request: HttpRequest) -> HttpResponseBase:
        response = get_response(request)
        for name, value in HEADERS.items():
            response.headers.setdefault(name, value)
        if settings.DEBUG and response.status_code in {404, 500}:
            del response.headers["Content-Security-Policy"]  # Django's own debugging pages are styled inline
        return response

    return handle


def session_limits(get_response: Handler) -> Handler:
    """Sign out whoever has been idle, or signed in, for too long."""

    def handle(request: HttpRequest) -> HttpResponseBase:
        now = time.time()
        if request.user.is_authenticated and _session_is_over(request, now=now):
            logout(request)
            messages.info(request, "You have been signed out. Please sign in again.")
        response = get_response(request)
        # A page that saves a draft by itself (access.background) is nobody at the keyboard.
        if request.user.is_authenticated and getattr(request, "is_activity", True):
            _note_use(request, now=now)
        return response

    return handle


def own_password_first(get_response: Handler) -> Handler:
    """Whoever signed in with a one-time password chooses one of their own before anything else."""
    allowed = ("account_change_password", "account_logout")

    def handle(request: HttpRequest) -> HttpResponseBase:
        one_time = request.user.is_authenticated and request.user.one_time_password_at
        if one_time and request.path not in {reverse(name) for name in allowed}:
            return redirect(allowed[0])
        return get_response(request)

    return handle


def second_factor_first(get_response: Handler) -> Handler:
    """Whoever needs a second factor and has none sets one up before anything else."""
    allowed = ("mfa_activate_totp", "account_reauthenticate", "account_logout")

    def handle(request: HttpRequest) -> HttpResponseBase:
        if (
            settings.SECOND_FACTOR_REQUIRED
            and request.user.is_authenticated
            and not request.user.one_time_password_at  # the password comes first
            and request.path not in {reverse(name) for name in allowed}
            and not is_mfa_enabled(request.user, ["totp"])
        ):
            return redirect(allowed[0])
        return get_response(request)

    return handle


def centre_time_zone(get_response: Handler) -> Handler:
    """Show and read times as the clocks of the signed-in user's centre do."""

    def handle(request: HttpRequest) -> HttpResponseBase:
        centre = getattr(request.user, "centre", None)
        with timezone.override(centre.time_zone if centre else None):
            return get_response(request)

    return handle


def _session_is_over(request: HttpRequest, *, now: float) -> bool:
    """Whether a limit has passed."""
    session = request.session
    began_at = session.setdefault("began_at", now)
    seen_at = session.setdefault("seen_at", now)
    return now - began_at > settings.SESSION_COOKIE_AGE or now - seen_at > settings.SESSION_IDLE_SECONDS


def _note_use(request: HttpRequest, *, now: float) -> None:
    """Write down, once a minute at most, that somebody used the session."""
    if now - request.session.get("seen_at", now) > SEEN_EVERY_SECONDS:
        request.session["seen_at"] = now
