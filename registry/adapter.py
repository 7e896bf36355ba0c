"""What the sign-in library asks this site."""

from __future__ import annotations

import math
import time
from datetime import timedelta
from typing import Any

from allauth.account import app_settings as account_settings
from allauth.account.adapter import DefaultAccountAdapter
from allauth.account.authentication import get_authentication_records
from allauth.core.internal.ratelimit import get_ip
from django.conf import settings
from django.core.exceptions import ValidationError
from django.http import HttpRequest
from django.urls import reverse
from django.utils import timezone

from registry import guessing
from registry.models import User


class ClosedAdapter(DefaultAccountAdapter):  # type: ignore[misc]  # untyped library
    """Accounts are made by the programme; nobody signs up."""

    def is_open_for_signup(self, request: HttpRequest) -> bool:
        """No."""
        return False

    def pre_authenticate(self, request: HttpRequest, **credentials: Any) -> None:
        """Refuse a try that comes too soon after failed ones."""
        super().pre_authenticate(request, **credentials)
        wait = guessing.begin_try(credentials.get("username", ""), get_ip(request))
        if wait:
            later = "" if math.isinf(wait) else f" Try again in {math.ceil(wait / 60)} min."
            text = f"Too many failed tries.{later} The administrator can give you a one-time password."
            raise ValidationError(text)

    def authenticate(self, request: HttpRequest, **credentials: Any) -> User | None:
        """Who signs in with these; a one-time password that lay too long is refused."""
        user: User | None = super().authenticate(request, **credentials)
        if user is None:
            return None
        guessing.succeeded(credentials.get("username", ""), get_ip(request))
        given_at, hours = user.one_time_password_at, settings.ONE_TIME_PASSWORD_HOURS
        if given_at and timezone.now() - given_at > timedelta(hours=hours):
            raise ValidationError("This one-time password has expired. Ask the administrator for another.")
        return user

    def is_reauthentication_required(self, *, app: str, **kwargs: Any) -> bool:
        """Whoever signed in a moment ago, in this session, has just shown who it is."""
        last = get_authentication_records(self.request, self.request.user)[-1:]
        if last and time.time() - last[0]["at"] < account_settings.REAUTHENTICATION_TIMEOUT:
            return False
        return bool(super().is_reauthentication_required(app=app, **kwargs))

    def get_reauthentication_methods(self, user: User) -> list[dict[str, Any]]:
        """The code where there is one: a known password alone must not change the second factor."""
        methods: list[dict[str, Any]] = super().get_reauthentication_methods(user)
        return [method for method in methods if method["id"] == "mfa_reauthenticate"] or methods

    def get_password_change_redirect_url(self, request: HttpRequest) -> str:
        """On to the work, not back to the form."""
        return reverse("home")

    def clean_password(self, password: str, user: User | None = None) -> str:
        """A new password is another one than before."""
        if user and user.pk and user.check_password(password):
            raise ValidationError("This is the password in use. Choose another.")
        return str(super().clean_password(password, user))

    def set_password(self, user: User, password: str) -> None:
        """Keep the password that a person chose."""
        user.one_time_password_at = None
        super().set_password(user, password)
