"""What somebody typed and has not finished. Kept on the server, seen by its owner only, never exported."""

from __future__ import annotations

from django.conf import settings
from django.db import models


class Draft(models.Model):
    """``place`` names the form it belongs to; ``payload`` holds what was typed, field by field."""

    owner = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="drafts")
    place = models.CharField(max_length=120)
    payload = models.JSONField(default=dict)
    saved_at = models.DateTimeField(auto_now=True)

    class Meta:
        ordering = ["saved_at"]
        constraints = [models.UniqueConstraint(fields=["owner", "place"], name="draft_once")]

    def __str__(self) -> str:
        return f"{self.place} of {self.owner}"
