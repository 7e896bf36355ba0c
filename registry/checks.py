"""System checks: `manage.py check` and every start of a server run them and stop at an error."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.apps import AppConfig
from django.conf import settings
from django.core.checks import CheckMessage, Error, register, run_checks
from django.core.exceptions import ImproperlyConfigured

SERVING = "serving"

NO_DATABASE = Error(
    "DEBUG is off and DATABASE_URL is not set. The embedded PostgreSQL server is for development only.",
    hint="Set DATABASE_URL to an administered PostgreSQL server, version 15 or later.",
    id="registry.E001",
)
NO_SECRET_KEY = Error(
    "DEBUG is off and SECRET_KEY is not set.",
    hint="Set SECRET_KEY to a long random value, kept secret and the same for every process of the site.",
    id="registry.E002",
)


@register(SERVING)
def database_is_administered(app_configs: Sequence[AppConfig] | None, **kwargs: Any) -> list[CheckMessage]:
    """The embedded server serves nobody but developers."""
    embedded = "EMBEDDED" in settings.DATABASES["default"]
    return [NO_DATABASE] if embedded and not settings.EMBEDDED_SERVER_ALLOWED else []


@register(SERVING)
def secret_key_is_set(app_configs: Sequence[AppConfig] | None, **kwargs: Any) -> list[CheckMessage]:
    """Without a key of its own, anybody can sign a session for the site."""
    try:
        return [] if settings.SECRET_KEY else [NO_SECRET_KEY]
    except ImproperlyConfigured:  # Django's way of saying that it is empty
        return [NO_SECRET_KEY]


def refuse_to_serve() -> None:
    """Raise ImproperlyConfigured with every reason why the site must not be served like this."""
    found = run_checks(tags=[SERVING])
    if found:
        raise ImproperlyConfigured("\n".join(f"{message.msg} {message.hint}" for message in found))
