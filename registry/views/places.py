"""Where a record is read: the page to return to after writing it."""

from __future__ import annotations

from django.urls import reverse

from registry.models import Candidate, Course, DailyCheck, FailedAttempt, Patient, Record


def place_of(record: Record) -> str:
    """The page that shows a record."""
    if isinstance(record, (Candidate, FailedAttempt)):
        return reverse("candidates")
    if isinstance(record, Patient):
        return f"{reverse('find')}?patient={record.public_id}"
    if isinstance(record, DailyCheck):
        record = record.run
    course = record if isinstance(record, Course) else record.course  # type: ignore[attr-defined]
    return reverse("case", args=[course.public_id])
