"""A report that was issued: signed as of a moment, kept word for word, never changed."""

from __future__ import annotations

import uuid
from datetime import datetime
from typing import TYPE_CHECKING

import pgtrigger
from django.conf import settings
from django.db import models

if TYPE_CHECKING:
    from registry.models.user import User


class IssuedReportQuerySet(models.QuerySet["IssuedReport"]):
    def seen_by(self, user: User) -> IssuedReportQuerySet:
        """Reports issued by the user's own centre."""
        return self.filter(centre_id=user.centre_id) if user.centre_id else self.none()

    def holding(self, moment: datetime) -> IssuedReportQuerySet:
        """Reports whose period holds a moment and that were issued after it."""
        return self.filter(period_start__lte=moment, period_end__gt=moment, as_of__gte=moment)

    def latest_of_each_period(self) -> IssuedReportQuerySet:
        return self.order_by("period_start", "period_end", "-as_of").distinct("period_start", "period_end")


class IssuedReport(models.Model):
    """A period's report as it was signed.

    ``content`` is the report as JSON text, ``content_digest`` its SHA-256; ``data_fingerprint`` a digest of
    the rows it was computed from that does not depend on their order.
    """

    public_id = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    centre = models.ForeignKey("registry.Centre", on_delete=models.PROTECT, related_name="issued_reports")
    period = models.CharField(max_length=40)
    period_start = models.DateTimeField()
    period_end = models.DateTimeField()
    as_of = models.DateTimeField()
    issued_at = models.DateTimeField(auto_now_add=True)
    issued_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT)
    signed_name = models.CharField(max_length=150)
    statement = models.TextField()
    content = models.TextField()
    content_digest = models.CharField(max_length=64)
    data_fingerprint = models.CharField(max_length=64)
    definitions_version = models.CharField(max_length=40)
    software_version = models.CharField(max_length=40)

    objects = IssuedReportQuerySet.as_manager()

    class Meta:
        ordering = ["-period_start", "-as_of"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(period_end__gt=models.F("period_start")), name="issued_period_ordered"
            ),
            models.CheckConstraint(condition=~models.Q(statement=""), name="issued_has_statement"),
        ]
        triggers = [
            pgtrigger.Protect(name="kept_for_ever", operation=pgtrigger.Update | pgtrigger.Delete),
        ]

    def __str__(self) -> str:
        return f"{self.period} as of {self.as_of:%d-%b-%Y %H:%M}"


class DataExtract(models.Model):
    """A de-identified file that left the programme: for what, and on whose approval."""

    centre = models.ForeignKey("registry.Centre", on_delete=models.PROTECT, related_name="extracts")
    taken_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT)
    taken_at = models.DateTimeField(auto_now_add=True)
    purpose = models.TextField()
    approval = models.CharField(max_length=120)
    row_count = models.PositiveIntegerField()
    smallest_group = models.PositiveIntegerField()
    coarsened = models.JSONField(default=list)
    file_digest = models.CharField(max_length=64)

    class Meta:
        ordering = ["-taken_at"]
        triggers = [
            pgtrigger.Protect(name="kept_for_ever", operation=pgtrigger.Update | pgtrigger.Delete),
        ]

    def __str__(self) -> str:
        return f"extract of {self.taken_at:%d-%b-%Y} for {self.approval}"
