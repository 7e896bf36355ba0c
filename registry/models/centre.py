"""A hospital that keeps the logbook, with its settings."""

from __future__ import annotations

import zoneinfo

from django.contrib.postgres.fields import ArrayField
from django.core.exceptions import ValidationError
from django.db import models

from registry.fields import Label, Whole
from registry.models.base import Record, logbook_record


def check_time_zone(name: str) -> None:
    """Refuse a name that the time-zone database does not know."""
    if name not in zoneinfo.available_timezones():
        raise ValidationError(f"“{name}” is not a known time zone, such as Europe/Berlin.")


@logbook_record("centre")
class Centre(Record):
    code = Label("centre code", max_length=12, unique=True)
    name = Label("name", max_length=80)
    time_zone = Label("time zone", max_length=60, validators=[check_time_zone])
    gap_rule_hours = Whole(
        "gap rule",
        unit="h",
        default=24,
        hard=(0, 72),
        help_text="Longest gap between devices that still counts as one support course.",
    )
    smallest_cell = Whole(
        "smallest shown count",
        default=5,
        hard=(1, 20),
        help_text="Counts below this are hidden from the quality committee.",
    )
    listing_reminder_days = Whole(
        "listing reminder",
        unit="days",
        default=3,
        hard=(0, 30),
        help_text="How long before a tier of the waiting list expires it becomes an open question; "
        "0 for no reminder. Never a verdict on eligibility.",
    )
    report_reminder_days = Whole(
        "device-report reminder",
        unit="work days",
        default=10,
        hard=(0, 60),
        help_text="Work days to report a serious event of a device after becoming aware of it; 0 for no "
        "reminder. The duty itself is set by law and local policy.",
        source="21 CFR 803.10",
    )
    extended_groups = ArrayField(models.CharField(max_length=30), default=list, blank=True)

    class Meta(Record.Meta):
        ordering = ["code"]

    def __str__(self) -> str:
        return self.name

    @property
    def zone(self) -> zoneinfo.ZoneInfo:
        """The centre's time zone."""
        return zoneinfo.ZoneInfo(self.time_zone)
