"""What the reporting module registers with Django."""

from django.apps import AppConfig


class OutcomesConfig(AppConfig):
    """Reporting. It has no tables of its own: it reads the logbook."""

    name = "outcomes"
    default = True
