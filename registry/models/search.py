"""Who searched for a device, for what and when: a lot search opens identified cases."""

from __future__ import annotations

from django.conf import settings
from django.db import models


class DeviceSearch(models.Model):
    centre = models.ForeignKey("registry.Centre", on_delete=models.PROTECT, related_name="device_searches")
    searched_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT)
    searched_at = models.DateTimeField(auto_now_add=True)
    sought = models.JSONField()
    found = models.JSONField()

    class Meta:
        ordering = ["-searched_at"]

    def __str__(self) -> str:
        return f"{self.searched_by} {self.searched_at:%d-%b-%Y %H:%M}"
