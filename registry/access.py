"""Who may open what. Every view says so with ``allow``; a test walks all of them with every role."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any, TypeVar, cast

from django.core.exceptions import ObjectDoesNotExist, PermissionDenied, ValidationError
from django.db.models import Model, QuerySet
from django.http import Http404, HttpRequest, HttpResponseNotAllowed
from django.http.response import HttpResponseBase

from registry.choices import Role
from registry.models import Centre, User

LOGBOOK = frozenset({Role.COORDINATOR, Role.PHYSICIAN})
REPORTS = LOGBOOK | {Role.COMMITTEE}
SETTINGS = frozenset({Role.ADMINISTRATOR})
EVERYONE = frozenset(Role)

READING = ("GET", "HEAD")
WRITING = ("GET", "HEAD", "POST")

View = TypeVar("View", bound=Callable[..., HttpResponseBase])
R = TypeVar("R", bound=Model)


class SignedInRequest(HttpRequest):
    """A request whose user and centre are known: ``allow`` lets no other through."""

    user: User
    centre: Centre


def allow(roles: frozenset[Role], *, methods: tuple[str, ...] = READING) -> Callable[[View], View]:
    """View decorator: only these roles, only people who belong to a centre, only by these methods."""

    def wrap(view: View) -> View:
        @wraps(view)
        def guarded(request: SignedInRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
            if request.user.role not in roles or request.user.centre is None:
                raise PermissionDenied
            if request.method not in methods:
                return HttpResponseNotAllowed(methods)
            request.centre = request.user.centre
            return view(request, *args, **kwargs)

        guarded.allowed_roles = roles  # type: ignore[attr-defined]
        return cast(View, guarded)

    return wrap


def background(view: View) -> View:
    """View decorator: the page asks by itself, so the request does not keep a session alive."""

    @wraps(view)
    def unseen(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        request.is_activity = False  # type: ignore[attr-defined]
        return view(request, *args, **kwargs)

    return cast(View, unseen)


def own(records: QuerySet[R], public_id: Any, *, user: User) -> R:
    """The record with this public identifier at the user's centre; anything else is simply not found."""
    try:
        return cast(R, records.seen_by(user).get(public_id=public_id))  # type: ignore[attr-defined]
    except (ObjectDoesNotExist, ValidationError):  # the latter for what is no identifier at all
        raise Http404 from None
