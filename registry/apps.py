"""What the logbook registers with Django when the site starts."""

from typing import Any

from django.apps import AppConfig
from django.core.management import call_command
from django.db.models.signals import post_migrate


class RegistryConfig(AppConfig):
    """The logbook."""

    name = "registry"
    default = True

    def ready(self) -> None:
        """Register the checks and the log of sign-ins; let every migrate make the cache's table too."""
        from registry import checks, signing_in  # noqa: F401 - registers them

        post_migrate.connect(make_cache_table, sender=self)


def make_cache_table(*, using: str, **kwargs: Any) -> None:
    """Make the table of the shared cache if it is missing."""
    call_command("createcachetable", database=using, verbosity=0)
