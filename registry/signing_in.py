"""What follows a sign-in, a failure or a change of a second factor: one line in the log, accounts by number;
a new second factor ends the sign-ins made without it.
"""

from __future__ import annotations

import logging
from typing import Any

from allauth.mfa import signals as second
from allauth.mfa.models import Authenticator
from django.contrib.auth import signals as first
from django.dispatch import receiver
from django.http import HttpRequest

from registry import actions
from registry.models import User

log = logging.getLogger(__name__)


@receiver(first.user_logged_in)
def signed_in(user: User, **kwargs: Any) -> None:
    log.info("Account %s signed in", user.pk)


@receiver(first.user_logged_out)
def signed_out(user: User | None, **kwargs: Any) -> None:
    if user is not None:
        log.info("Account %s signed out", user.pk)


@receiver(first.user_login_failed)
def failed(credentials: dict[str, Any], **kwargs: Any) -> None:
    """The name is not written: people type passwords into it."""
    person = User.objects.filter(username__iexact=credentials.get("username") or "").first()
    log.warning("Wrong password for account %s", person.pk if person else "unknown")


@receiver(second.authentication_failed)
def wrong_code(user: User, **kwargs: Any) -> None:
    log.warning("Wrong code for account %s", user.pk)


@receiver(second.authenticator_added)
def end_other_sign_ins(request: HttpRequest, user: User, authenticator: Authenticator, **kwargs: Any) -> None:
    """Whoever is signed in elsewhere by the password alone signs in again, with a code."""
    if authenticator.type == Authenticator.Type.TOTP:
        actions.end_sign_ins(person=user, but=request.session.session_key)


@receiver(second.authenticator_used)
@receiver(second.authenticator_added)
@receiver(second.authenticator_removed)
@receiver(second.authenticator_reset)
def second_factor(signal: Any, user: User, authenticator: Any, **kwargs: Any) -> None:
    done = {
        second.authenticator_used: "used",
        second.authenticator_added: "added",
        second.authenticator_removed: "removed",
        second.authenticator_reset: "renewed",
    }[signal]
    log.info("Second factor (%s) %s for account %s", authenticator.type, done, user.pk)
