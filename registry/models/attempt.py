"""A failed attempt: the intended route was tried and no pump stayed in it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import models

from registry.choices import AccessMethod, AttemptFailure, Guidance, Location, Route, Urgency
from registry.fields import PRACTICE, Code, Codes, Label, Moment, Words
from registry.models.base import Record, logbook_record

if TYPE_CHECKING:
    from registry.models.user import User


class FailedAttemptQuerySet(models.QuerySet["FailedAttempt"]):
    def seen_by(self, user: User) -> FailedAttemptQuerySet:
        """Attempts at the user's own centre."""
        return self.filter(centre_id=user.centre_id) if user.centre_id else self.none()


@logbook_record("failed_attempt")
class FailedAttempt(Record):
    centre = models.ForeignKey("registry.Centre", on_delete=models.PROTECT, related_name="failed_attempts")
    patient = models.ForeignKey("registry.Patient", on_delete=models.PROTECT, related_name="failed_attempts")
    followed_by = models.OneToOneField(
        "registry.Run", on_delete=models.SET_NULL, null=True, blank=True, related_name="failed_attempt_before"
    )
    attempted_at = Moment("attempted")
    intended_route = Code("intended route and side", choices=Route.choices)
    access_method = Code("access", choices=AccessMethod.choices)
    guidance = Codes("guidance", codes=Guidance, source=PRACTICE, blank=True)
    operator_code = Label("operator code", max_length=12, help_text="The programme’s code, never a name.")
    location = Code("where", choices=Location.choices)
    urgency = Code("urgency", choices=Urgency.choices)
    failure = Code("why it failed", choices=AttemptFailure.choices, source=PRACTICE)
    note = Words("note", help_text="No names, no record numbers.")

    objects = FailedAttemptQuerySet.as_manager()

    class Meta(Record.Meta):
        ordering = ["attempted_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["patient", "attempted_at", "intended_route"], name="failed_attempt_once"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.patient.study_no} failed attempt {self.attempted_at:%d-%b-%Y}"
