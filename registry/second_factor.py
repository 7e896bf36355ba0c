"""The second step of signing in: a code from an authenticator app, or a recovery code."""

from __future__ import annotations

import base64
import math
from functools import cache
from io import BytesIO
from typing import Any

from allauth.core import context
from allauth.core.internal.ratelimit import get_ip
from allauth.mfa.adapter import DefaultMFAAdapter, get_adapter
from allauth.mfa.base.forms import AuthenticateForm, ReauthenticateForm
from allauth.mfa.models import Authenticator
from allauth.mfa.totp.forms import ActivateTOTPForm
from cryptography.fernet import Fernet, InvalidToken, MultiFernet
from django import forms
from django.conf import settings
from django.core.exceptions import ValidationError
from django.utils.crypto import salted_hmac

from registry import guessing

ATTRIBUTES = {"inputmode": "numeric", "autocomplete": "one-time-code", "placeholder": "", "autofocus": True}


@cache
def _box(keys: tuple[str, ...]) -> MultiFernet:
    """Seals with the first key and opens with any, so that SECRET_KEY can be changed."""
    digests = (salted_hmac("registry.second_factor", "", key, algorithm="sha256").digest() for key in keys)
    return MultiFernet([Fernet(base64.urlsafe_b64encode(digest)) for digest in digests])


def is_required() -> bool:
    """Whether every account needs one here."""
    return bool(settings.SECOND_FACTOR_REQUIRED)


def _keys() -> tuple[str, ...]:
    return (settings.SECRET_KEY, *map(str, settings.SECRET_KEY_FALLBACKS))


class SecondFactorAdapter(DefaultMFAAdapter):  # type: ignore[misc]  # untyped library
    """What the sign-in library asks about second factors."""

    error_messages = {
        **DefaultMFAAdapter.error_messages,
        "incorrect_code": "This code is wrong, too old or used already. Wait for the next one and type that.",
        "cannot_delete_authenticator": "Every account here needs a second factor. The administrator can take "
        "away a lost one.",
    }

    def encrypt(self, text: str) -> str:
        """Secrets in the database are of no use without SECRET_KEY."""
        return _box(_keys()).encrypt(text.encode()).decode()

    def decrypt(self, encrypted_text: str) -> str:
        """The secret again; one sealed with a key that is gone opens nothing, so no code fits."""
        try:
            return _box(_keys()).decrypt(encrypted_text.encode()).decode()
        except InvalidToken:
            message = "SECRET_KEY has changed since. The administrator can take the second factor away."
            raise ValidationError(message) from None

    def build_totp_svg(self, url: str) -> str:
        """The address as a QR code on white: apps do not read it in white on black."""
        import qrcode
        from qrcode.image.svg import SvgPathFillImage

        drawn = BytesIO()
        qrcode.make(url, image_factory=SvgPathFillImage).save(drawn)
        return drawn.getvalue().decode()

    def can_delete_authenticator(self, authenticator: Any) -> bool:
        """Not where one is required."""
        return not is_required()


class _CountedCode(forms.Form):
    """A field for a code whose failed tries are counted like those of the password, but on their own: the
    right password must not begin the count of codes anew.
    """

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["code"].label = "Code"
        self.fields["code"].widget.attrs.update(ATTRIBUTES)

    def clean_code(self) -> str:
        """The code, if there was no wait and it fits."""
        name, address = guessing.second_step(self.user), get_ip(context.request)  # type: ignore[attr-defined]
        wait = guessing.begin_try(name, address)
        if wait:
            later = "" if math.isinf(wait) else f" Try again in {math.ceil(wait / 60)} min."
            raise ValidationError(f"Too many wrong codes.{later} The administrator can help.")
        code: str = super().clean_code()  # type: ignore[misc]
        guessing.succeeded(name, address)
        return code


class CodeForm(_CountedCode, AuthenticateForm):  # type: ignore[misc]
    """At sign-in."""


class CodeAgainForm(_CountedCode, ReauthenticateForm):  # type: ignore[misc]
    """Before a change to the own account."""


class SetUpForm(ActivateTOTPForm):  # type: ignore[misc]
    """The first code of a new authenticator app."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["code"].label = "Code that the app shows now"
        # No autofocus: the page begins with the key.
        self.fields["code"].widget.attrs.update({**ATTRIBUTES, "autofocus": False})

    @property
    def key_parts(self) -> list[str]:
        """The key in groups of four, to be typed."""
        return [self.secret[start : start + 4] for start in range(0, len(self.secret), 4)]

    def clean_code(self) -> str:
        """The code, which from now on is used: it does not sign in again while it lasts."""
        code: str = super().clean_code()
        adapter = get_adapter()
        data = {"secret": adapter.encrypt(self.secret)}
        app = Authenticator(user=self.user, type=Authenticator.Type.TOTP, data=data)
        if not app.wrap().validate_code(code):
            raise adapter.validation_error("incorrect_code")
        return code
