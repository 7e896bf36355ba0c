"""A mobilisation session during a support course."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import models

from registry.choices_events import OUT_OF_BED_LEVEL, WALK_LEVEL, Aid, DuringMobilisation, Mobility
from registry.fields import Code, Codes, Moment, Whole, Words
from registry.models.base import Record, logbook_record

if TYPE_CHECKING:
    from registry.models.user import User

MOBILITY_SCALE = "Hodgson C et al., Heart Lung 2014;43:19–24, doi:10.1016/j.hrtlng.2013.11.003"


class MobilisationQuerySet(models.QuerySet["Mobilisation"]):
    def seen_by(self, user: User) -> MobilisationQuerySet:
        """Sessions of courses at the user's own centre."""
        return self.filter(course__centre_id=user.centre_id) if user.centre_id else self.none()

    def out_of_bed(self) -> MobilisationQuerySet:
        return self.filter(level__gte=OUT_OF_BED_LEVEL)

    def walked(self) -> MobilisationQuerySet:
        return self.filter(level__gte=WALK_LEVEL)


@logbook_record("mobilisation")
class Mobilisation(Record):
    course = models.ForeignKey("registry.Course", on_delete=models.CASCADE, related_name="mobilisations")
    started_at = Moment("started")
    level = Whole("highest level reached", choices=Mobility.choices, hard=(0, 10), source=MOBILITY_SCALE)
    distance_m = Whole("distance walked", unit="m", null=True, blank=True, hard=(0, 5000), soft=(0, 600))
    during = Codes(
        "during or within 1 h after",
        codes=DuringMobilisation,
        blank=True,
        source="published femoral walking series",
    )
    duration_min = Whole(
        "duration", unit="min", null=True, blank=True, hard=(0, 300), soft=(3, 62), group="session"
    )
    staff_count = Whole("staff present", null=True, blank=True, hard=(0, 20), soft=(0, 8), group="session")
    aid = Code("aid used", choices=Aid.choices, blank=True, group="session")
    note = Words("note", help_text="No names, no record numbers.")

    objects = MobilisationQuerySet.as_manager()

    class Meta(Record.Meta):
        ordering = ["started_at"]
        constraints = [models.UniqueConstraint(fields=["course", "started_at"], name="mobilisation_once")]

    def __str__(self) -> str:
        return f"{self.course} mobilised {self.started_at:%d-%b-%Y %H:%M}"
