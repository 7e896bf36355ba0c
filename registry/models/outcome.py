"""How a support course ended, and what became of the patient at fixed times."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import models

from registry.choices import Duplex, FollowUpPoint, Intent, Severity, VitalStatus
from registry.choices import Outcome as OutcomeCode
from registry.fields import PRACTICE, Code, Day, Moment, Whole, Words
from registry.models.base import Record, logbook_record

if TYPE_CHECKING:
    from registry.models.user import User

MET_INTENT: dict[str, str] = {
    Intent.TRANSPLANT: OutcomeCode.TRANSPLANT,
    Intent.DURABLE: OutcomeCode.DURABLE,
    Intent.RECOVERY: OutcomeCode.WEANED,
}


class CourseRecordQuerySet(models.QuerySet[models.Model]):
    def seen_by(self, user: User) -> CourseRecordQuerySet:
        """Rows of courses at the user's own centre."""
        return self.filter(course__centre_id=user.centre_id) if user.centre_id else self.none()


@logbook_record("outcome")
class CourseOutcome(Record):
    course = models.OneToOneField("registry.Course", on_delete=models.CASCADE, related_name="outcome")
    outcome = Code("outcome", choices=OutcomeCode.choices, source=PRACTICE)
    occurred_at = Moment("when")
    discharged_on = Day("left hospital on", null=True, blank=True)
    discharge_status = Code("status on leaving hospital", choices=VitalStatus.choices, blank=True)
    note = Words("note", help_text="No names, no record numbers.")

    objects = CourseRecordQuerySet.as_manager()

    def __str__(self) -> str:
        return f"{self.course}: {self.get_outcome_display()}"

    @property
    def met_intent(self) -> bool | None:
        """Whether the outcome is what was intended at the start; None when the intent names no outcome."""
        wanted = MET_INTENT.get(self.course.intent)
        return None if wanted is None else self.outcome == wanted


@logbook_record("plan_change")
class PlanChange(Record):
    course = models.ForeignKey("registry.Course", on_delete=models.CASCADE, related_name="plan_changes")
    changed_at = Moment("changed")
    intent = Code("new plan", choices=Intent.choices)
    reason = Words("reason", blank=False)

    objects = CourseRecordQuerySet.as_manager()

    class Meta(Record.Meta):
        ordering = ["changed_at"]
        constraints = [models.UniqueConstraint(fields=["course", "changed_at"], name="plan_change_once")]

    def __str__(self) -> str:
        return f"{self.course}: plan changed to {self.get_intent_display()}"


@logbook_record("follow_up")
class FollowUp(Record):
    course = models.ForeignKey("registry.Course", on_delete=models.CASCADE, related_name="follow_ups")
    point = Code("time point", choices=FollowUpPoint.choices)
    seen_on = Day("status known on")
    status = Code("status", choices=VitalStatus.choices)
    died_on = Day("died on", null=True, blank=True)
    arm_function = Code(
        "complaint of the accessed limb", choices=Severity.choices, blank=True, source=PRACTICE
    )
    artery_duplex = Code("duplex of the accessed artery", choices=Duplex.choices, blank=True, source=PRACTICE)
    graft_dysfunction = Code(
        "primary graft dysfunction",
        choices=Severity.choices,
        blank=True,
        source="Kobashigawa J et al. 2014 (from memory)",
    )
    mrs = Whole("modified Rankin Scale after a stroke", null=True, blank=True, hard=(0, 6))
    note = Words("note", help_text="No names, no record numbers.")

    objects = CourseRecordQuerySet.as_manager()

    class Meta(Record.Meta):
        ordering = ["seen_on"]
        constraints = [
            models.UniqueConstraint(fields=["course", "point"], name="follow_up_once"),
            models.CheckConstraint(
                condition=models.Q(died_on__isnull=True) | models.Q(status=VitalStatus.DEAD),
                name="follow_up_death_is_dead",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.course} at {self.get_point_display()}"
