"""That somebody at a centre compared a definition quoted from memory with its paper."""

from __future__ import annotations

from django.conf import settings
from django.db import models


class ConfirmedDefinition(models.Model):
    """A confirmation counts for one version of the wording; a changed wording is unconfirmed again."""

    centre = models.ForeignKey("registry.Centre", on_delete=models.CASCADE, related_name="confirmed")
    name = models.CharField(max_length=30)
    version = models.CharField(max_length=30)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT)
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(fields=["centre", "name", "version"], name="definition_confirmed_once")
        ]

    def __str__(self) -> str:
        return f"{self.name} {self.version}"
