"""Writes each sign-in, failure and change of a second factor into the log: one line, accounts by number."""

from __future__ import annotations

import logging
from typing import Any

from allauth.mfa import signals as second
from django.contrib.auth import signals as first
from django.dispatch import receiver

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
