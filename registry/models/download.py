"""Who took which file of a period away, and when."""

from __future__ import annotations

import pgtrigger
from django.conf import settings
from django.db import models


class Download(models.Model):
    """One file that left the registry. ``cut`` is the data cut of the report in it."""

    centre = models.ForeignKey("registry.Centre", on_delete=models.PROTECT, related_name="downloads")
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="downloads")
    at = models.DateTimeField(auto_now_add=True)
    what = models.CharField(max_length=120)
    period = models.CharField(max_length=40)
    cut = models.DateTimeField()

    class Meta:
        ordering = ["-at"]
        triggers = [
            pgtrigger.Protect(name="kept_for_ever", operation=pgtrigger.Update | pgtrigger.Delete),
        ]

    def __str__(self) -> str:
        return f"{self.what}, {self.period}"
