"""A late entry moves figures that were signed: say why it comes only now.

It is part of ``rules.check``; see there.
"""

from __future__ import annotations

from datetime import datetime, time
from typing import Any

from django.db.models import Q
from django.utils import timezone

from registry.models import Course, IssuedReport, Record
from registry.problem import Problem, ask

# The column that says when the thing recorded happened.
HAPPENED = {
    "run": "inserted_at",
    "event": "onset_at",
    "mobilisation": "started_at",
    "daily_check": "checked_on",
    "outcome": "occurred_at",
    "failed_attempt": "attempted_at",
    "candidate": "considered_on",
}


def check_issued(record: Record) -> list[Problem]:
    """A new record of something that an issued report should have held."""
    column = HAPPENED.get(record.entity)
    happened = _moment(record, column) if column else None
    if column is None or happened is None or record.pk is not None:
        return []
    course, centre_id = _belongs_to(record)
    if centre_id is None:
        return []
    began = course.first_inserted_at if course and course.pk else None
    in_period = _period_of(happened) | (_period_of(began) if began else Q())
    issued = IssuedReport.objects.filter(in_period, centre_id=centre_id, as_of__gte=happened).first()
    if issued is None:
        return []
    issued_on = f"{issued.as_of:%d-%b-%Y}"
    text = f"The report of {issued.period} was issued on {issued_on} without this. Say why it comes now."
    return [ask("late_for_issued", column, text)]


def _period_of(moment: datetime) -> Q:
    return Q(period_start__lte=moment, period_end__gt=moment)


def _moment(record: Record, column: str) -> datetime | None:
    value: Any = getattr(record, column)
    if value is None or isinstance(value, datetime):
        return value
    return timezone.make_aware(datetime.combine(value, time()))


def _belongs_to(record: Any) -> tuple[Course | None, int | None]:
    if hasattr(record, "centre_id"):
        return None, record.centre_id
    course: Course = record.run.course if record.entity == "daily_check" else record.course
    return course, course.centre_id
