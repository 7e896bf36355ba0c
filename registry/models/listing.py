"""A spell on one tier of the waiting list. Reminders rest on it; it is never a verdict on eligibility."""

from __future__ import annotations

from django.db import models

from registry.choices_extended import ListingTier
from registry.fields import Code, Day, Label
from registry.models.base import Record, logbook_record
from registry.models.outcome import CourseRecordQuerySet

GROUP = "listing"
POLICY = "Heart allocation policy of the United States, October 2018 on (the text in force decides)"


@logbook_record("listing_spell")
class ListingSpell(Record):
    course = models.ForeignKey("registry.Course", on_delete=models.CASCADE, related_name="listing_spells")
    tier = Code("tier", choices=ListingTier.choices, group=GROUP, source=POLICY)
    began_on = Day("from", group=GROUP)
    expires_on = Day("expires on", null=True, blank=True, group=GROUP, source=POLICY)
    basis = Label(
        "basis",
        max_length=120,
        blank=True,
        default="",
        group=GROUP,
        help_text="What the listing rests on, in the team’s words.",
    )

    objects = CourseRecordQuerySet.as_manager()

    class Meta(Record.Meta):
        ordering = ["began_on"]
        constraints = [
            models.UniqueConstraint(fields=["course", "began_on"], name="listing_spell_once"),
            models.CheckConstraint(
                condition=models.Q(expires_on__isnull=True) | models.Q(expires_on__gte=models.F("began_on")),
                name="listing_spell_ends_after_start",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.course}: tier {self.get_tier_display().lower()} from {self.began_on:%d-%b-%Y}"
