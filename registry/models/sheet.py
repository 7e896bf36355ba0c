"""What an import from a spreadsheet keeps: the sheet while it is looked at, how its columns were read, and
which rows have come in before."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.db import models


class SheetState(models.TextChoices):
    """How far an import has come."""

    CHOOSING = "CHOOSING", "Choosing the sheet"
    READING = "READING", "Columns and meanings"
    SAVING = "SAVING", "Being saved"
    DONE = "DONE", "Imported"


class StagedSheet(models.Model):
    """A spreadsheet on its way in. It belongs to one person; its contents go when it is saved or left.

    ``upload`` holds the file only until one of its sheets is chosen; ``grid`` then holds the cells, and
    ``decisions`` what the person said about them. ``report`` is what the last check found.
    """

    owner = models.OneToOneField(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="staged_sheet"
    )
    public_id = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    name = models.CharField(max_length=200)
    state = models.CharField(max_length=20, choices=SheetState.choices, default=SheetState.CHOOSING)
    upload = models.BinaryField(null=True)
    sheets = models.JSONField(default=list)
    grid = models.JSONField(default=dict)
    decisions = models.JSONField(default=dict)
    report = models.JSONField(default=dict)
    rows_done = models.PositiveIntegerField(default=0)
    rows_total = models.PositiveIntegerField(default=0)
    staged_at = models.DateTimeField(auto_now=True)

    class Meta:
        ordering = ["staged_at"]

    def __str__(self) -> str:
        return self.name


class ColumnMatch(models.Model):
    """How a centre's column of a certain heading is read: remembered from the last import."""

    centre = models.ForeignKey("registry.Centre", on_delete=models.CASCADE, related_name="column_matches")
    layout = models.CharField(max_length=10)
    heading = models.CharField(max_length=200)
    target = models.CharField(max_length=80, blank=True, default="")
    unit = models.CharField(max_length=20, blank=True, default="")
    day_order = models.CharField(max_length=3, blank=True, default="")
    words = models.JSONField(default=dict)

    class Meta:
        ordering = ["layout", "heading"]
        constraints = [
            models.UniqueConstraint(fields=["centre", "layout", "heading"], name="column_match_once"),
        ]

    def __str__(self) -> str:
        return f"{self.heading}: {self.target}"


class ImportedRow(models.Model):
    """A row of a spreadsheet that came in, known again by its digest: the cells themselves are not kept."""

    centre = models.ForeignKey("registry.Centre", on_delete=models.CASCADE, related_name="imported_rows")
    digest = models.CharField(max_length=64)
    entity = models.CharField(max_length=30)
    record_id = models.UUIDField()
    imported_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["imported_at"]
        constraints = [models.UniqueConstraint(fields=["centre", "digest"], name="imported_row_once")]

    def __str__(self) -> str:
        return f"{self.entity} {self.record_id}"
