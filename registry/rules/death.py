"""A death must fit what else is known of the patient in the same course.

They are part of ``rules.RULES``; see there.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime

from django.utils import timezone

from registry.choices import VitalStatus
from registry.models import Course, CourseOutcome, FollowUp
from registry.problem import Problem, refuse


def check_death(visit: FollowUp) -> list[Problem]:
    """A death that lies after the day it was known on, or before the patient was last known alive."""
    found: list[Problem] = []
    death = day_of_death(visit)
    if death is None:
        return found
    if visit.seen_on and death > visit.seen_on:
        text = f"Dead on {_said(death)}, but the status was known on {_said(visit.seen_on)} already."
        found.append(refuse("died_after_seen", "died_on", text))
    last, what = max(_known_alive(visit), default=(None, ""))
    if last and death < last:
        text = f"Dead on {_said(death)}, but {what}."
        found.append(refuse("died_before_alive", "died_on" if visit.died_on else "seen_on", text))
    return found


def check_alive(visit: FollowUp) -> list[Problem]:
    """A patient seen alive after the death that another follow-up of the course records."""
    death = first_death(visit.course, but=visit)
    if visit.status == VitalStatus.ALIVE and visit.seen_on and death and visit.seen_on > death:
        return [refuse("alive_after_death", "seen_on", f"Follow-up records a death on {_said(death)}.")]
    return []


def check_outlived(outcome: CourseOutcome) -> list[Problem]:
    """An outcome, or a leaving of hospital alive, after the death that a follow-up records."""
    death, found = first_death(outcome.course), []
    if death is None:
        return []
    text = f"Follow-up records a death on {_said(death)}, before this."
    if outcome.occurred_at and _day(outcome.course, outcome.occurred_at) > death:
        found.append(refuse("outcome_after_death", "occurred_at", text))
    left = left_alive_on(outcome)
    if left and left > death:
        found.append(refuse("discharge_after_death", "discharged_on", text))
    return found


def day_of_death(visit: FollowUp) -> date | None:
    """The day of death, or else the day it was learnt of; None unless the follow-up says dead."""
    return (visit.died_on or visit.seen_on) if visit.status == VitalStatus.DEAD else None


def first_death(course: Course, *, but: FollowUp | None = None) -> date | None:
    """The earliest death that the follow-ups of a course record, except the one left out."""
    visits = [visit for visit in course.follow_ups.all() if visit != but]
    return min((day for day in map(day_of_death, visits) if day), default=None)


def left_alive_on(outcome: CourseOutcome) -> date | None:
    """The day of leaving hospital alive; None otherwise."""
    return outcome.discharged_on if outcome.discharge_status == VitalStatus.ALIVE else None


def _known_alive(visit: FollowUp) -> Iterator[tuple[date, str]]:
    """Days on which the patient lived, each with what says so."""
    course = visit.course
    if first := course.first_inserted_at:
        day = _day(course, first)
        yield day, f"the first device went in on {_said(day)}"
    outcome: CourseOutcome | None = getattr(course, "outcome", None)
    if outcome:
        day = _day(course, outcome.occurred_at)
        yield day, f"the course ended on {_said(day)}: {outcome.get_outcome_display().lower()}"
        if left := left_alive_on(outcome):
            yield left, f"the patient left hospital alive on {_said(left)}"
    for other in course.follow_ups.all():
        if other != visit and other.status == VitalStatus.ALIVE:
            yield other.seen_on, f"the patient was seen alive on {_said(other.seen_on)}"


def _day(course: Course, moment: datetime) -> date:
    return timezone.localtime(moment, course.centre.zone).date()


def _said(day: date) -> str:
    return f"{day:%d-%b-%Y}"
