"""Headers, session limits and the centre's time, each around a small view."""

from __future__ import annotations

from types import SimpleNamespace

import pytest
from django.conf import settings
from django.contrib.auth.models import AnonymousUser
from django.contrib.messages.storage.cookie import CookieStorage
from django.contrib.sessions.backends.signed_cookies import SessionStore
from django.http import HttpResponse
from django.utils import timezone

from registry import middleware

NOW = 1_800_000_000.0
MINUTE = 60
HOUR = 60 * MINUTE


@pytest.fixture
def request_by(rf, monkeypatch):
    """A request at NOW by a user with a session of the given age and idleness, in seconds."""
    monkeypatch.setattr(middleware.time, "time", lambda: NOW)

    def build(*, began: float | None = None, idle: float = 0, centre: object = None):
        request = rf.get("/")
        request.session = SessionStore()
        if began is not None:
            request.session.update({"began_at": NOW - began, "seen_at": NOW - idle})
        request.user = SimpleNamespace(pk=1, is_authenticated=True, centre=centre)
        request._messages = CookieStorage(request)
        return request

    return build


def ok(request):
    return HttpResponse("ok")


def test_every_response_carries_the_headers(client):
    response = client.get("/no-such-page/")
    assert response.status_code == 404
    policy = response["Content-Security-Policy"]
    assert "script-src 'self';" in policy
    assert "style-src 'self';" in policy
    assert "unsafe" not in policy
    for nothing in ("default-src", "base-uri", "frame-ancestors", "object-src"):
        assert f"{nothing} 'none'" in policy
    assert response["Cache-Control"] == "no-store"
    assert "camera=()" in response["Permissions-Policy"]
    assert response["X-Content-Type-Options"] == "nosniff"
    assert response["X-Frame-Options"] == "DENY"
    assert response["Referrer-Policy"] == "same-origin"


def test_a_header_that_a_view_sets_stays(rf):
    handle = middleware.response_headers(lambda _: HttpResponse(headers={"Cache-Control": "max-age=60"}))
    assert handle(rf.get("/"))["Cache-Control"] == "max-age=60"


def test_only_djangos_debugging_pages_are_free_of_the_policy(rf, settings):
    settings.DEBUG = True
    for status, has_policy in ((200, True), (403, True), (404, False), (500, False)):
        handle = middleware.response_headers(lambda _, status=status: HttpResponse(status=status))
        assert ("Content-Security-Policy" in handle(rf.get("/"))) is has_policy


def signed_in_after(request) -> bool:
    middleware.session_limits(ok)(request)
    return request.user.is_authenticated


@pytest.mark.parametrize(
    ("began", "idle", "stays"),
    [
        (None, 0, True),
        (HOUR, 29 * MINUTE, True),
        (HOUR, 30 * MINUTE + 1, False),
        (12 * HOUR - 1, MINUTE, True),
        (12 * HOUR + 1, 0, False),
    ],
)
def test_session_ends_when_idle_or_old(request_by, began, idle, stays):
    assert signed_in_after(request_by(began=began, idle=idle)) is stays


def test_use_keeps_a_session_awake_and_is_noted_once_a_minute(request_by):
    seldom, often = request_by(began=HOUR, idle=10 * MINUTE), request_by(began=HOUR, idle=30)
    for request in (seldom, often):
        request.session.modified = False
        middleware.session_limits(ok)(request)
    assert seldom.session["seen_at"] == NOW
    assert often.session["seen_at"] == NOW - 30
    assert not often.session.modified


def test_being_signed_out_is_said_and_leaves_nothing_in_the_session(request_by):
    request = request_by(began=13 * HOUR)
    request.session["draft"] = "kept"
    middleware.session_limits(ok)(request)
    assert "draft" not in request.session
    assert [str(message) for message in request._messages] == [
        "You have been signed out. Please sign in again."
    ]


def test_times_follow_the_clocks_of_the_centre_during_the_request_only(request_by):
    seen = []
    handle = middleware.centre_time_zone(lambda _: seen.append(timezone.get_current_timezone_name()))
    handle(request_by(centre=SimpleNamespace(time_zone="Europe/Vienna")))
    handle(request_by(centre=None))
    anonymous = request_by()
    anonymous.user = AnonymousUser()
    handle(anonymous)
    assert seen == ["Europe/Vienna", "UTC", "UTC"]
    assert timezone.get_current_timezone_name() == "UTC"


def test_whoever_is_signed_in_is_known_before_the_limits_and_the_zone_are_applied():
    order = [name.rsplit(".", 1)[1] for name in settings.MIDDLEWARE]
    assert order.index("AuthenticationMiddleware") < order.index("session_limits")
    assert order.index("session_limits") < order.index("LoginRequiredMiddleware")
    assert order.index("session_limits") < order.index("centre_time_zone")
