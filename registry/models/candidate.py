"""A patient considered for a pump in whom none was attempted: the line that keeps denominators honest."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import models

from registry.choices import DeclineReason, RouteGroup
from registry.fields import Code, Day, Whole, Words
from registry.models.base import Record, logbook_record

if TYPE_CHECKING:
    from registry.models.user import User


class CandidateQuerySet(models.QuerySet["Candidate"]):
    def seen_by(self, user: User) -> CandidateQuerySet:
        """Candidates of the user's own centre."""
        return self.filter(centre_id=user.centre_id) if user.centre_id else self.none()


@logbook_record("candidate")
class Candidate(Record):
    centre = models.ForeignKey("registry.Centre", on_delete=models.PROTECT, related_name="candidates")
    line_no = Whole("line number", hard=(1, 1_000_000))
    considered_on = Day("considered on")
    route = Code("route considered", choices=RouteGroup.choices)
    reason = Code("why no attempt was made", choices=DeclineReason.choices)
    note = Words("note", help_text="No names, no record numbers.")

    objects = CandidateQuerySet.as_manager()

    class Meta(Record.Meta):
        ordering = ["-considered_on", "-line_no"]
        constraints = [models.UniqueConstraint(fields=["centre", "line_no"], name="candidate_line_once")]

    def __str__(self) -> str:
        return f"considered {self.considered_on:%d-%b-%Y}, line {self.line_no}"
