"""A late entry moves figures that were signed: say why it comes only now.

It is part of ``rules.check``; see there.
"""

from __future__ import annotations

from datetime import date, datetime, time
from typing import Any

from django.db.models import Q
from django.utils import timezone

from registry.models import Centre, Course, IssuedReport, Record
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
    if column is None or record.pk is not None or getattr(record, column) is None:
        return []
    course, centre = _belongs_to(record)
    if centre is None:
        return []
    happened = _moment(getattr(record, column), centre)
    began = course.first_inserted_at if course and course.pk else None
    in_period = _period_of(happened) | (_period_of(began) if began else Q())
    issued = IssuedReport.objects.filter(in_period, centre=centre, as_of__gte=happened).first()
    if issued is None:
        return []
    issued_on = f"{timezone.localtime(issued.as_of, centre.zone):%d-%b-%Y}"
    text = f"The report of {issued.period} was issued on {issued_on} without this. Say why it comes now."
    return [ask("late_for_issued", column, text)]


def _period_of(moment: datetime) -> Q:
    return Q(period_start__lte=moment, period_end__gt=moment)


def _moment(value: date | datetime, centre: Centre) -> datetime:
    """A moment, or the start of a day at the centre."""
    if isinstance(value, datetime):
        return value
    return timezone.make_aware(datetime.combine(value, time()), centre.zone)


def _belongs_to(record: Any) -> tuple[Course | None, Centre | None]:
    if hasattr(record, "centre_id"):
        return None, getattr(record, "centre", None)
    course: Course = record.run.course if record.entity == "daily_check" else record.course
    return course, course.centre
