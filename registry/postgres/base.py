"""The database engine named in the settings. Django asks every engine for a module called ``base``."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.core.exceptions import ImproperlyConfigured
from django.db.backends.postgresql import base, features

from registry.checks import NO_DATABASE


class DatabaseFeatures(features.DatabaseFeatures):
    """Django checks this at the first connection and names the version it found."""

    minimum_database_version = (15,)


class DatabaseWrapper(base.DatabaseWrapper):
    """Nothing starts at import: where the embedded server is in use, the first connection starts it."""

    features_class = DatabaseFeatures

    def get_new_connection(self, conn_params: dict[str, Any]) -> Any:
        """Connect, starting the embedded server first where the settings ask for one.

        Raises ImproperlyConfigured if this site must not run on it.
        """
        folder = self.settings_dict.get("EMBEDDED")
        if folder:
            if not settings.EMBEDDED_SERVER_ALLOWED:
                raise ImproperlyConfigured(NO_DATABASE.msg)
            from registry.postgres.server import embedded_server  # needs POSIX; DATABASE_URL does not

            conn_params = {**conn_params, **embedded_server(folder).ensure()}
        return super().get_new_connection(conn_params)
