"""The logbook's rules, as values.

Each function looks at one record and returns the problems it sees. A blocking problem refuses the entry; the
others ask a person for a reason, which is kept. Forms, import and the list of open questions all use these.
Rules read the database and never write to it.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

from django.utils import timezone

from registry.models import Record, Run
from registry.problem import Problem, ask, refuse
from registry.proposals import check_grade
from registry.rules.attached import check_attached
from registry.rules.course import (
    check_candidate,
    check_course,
    check_follow_up,
    check_outcome,
    check_patient,
    check_plan_change,
)
from registry.rules.device import (
    HEIGHT_BANDS,
    RUN_RULES,
    check_against_course,
    check_attempt,
    check_born,
    check_overlap,
    check_run,
    volumes_for,
)
from registry.rules.extended import check_flow, check_haemodynamics, check_listing, check_screening
from registry.rules.happening import check_daily, check_event, check_mobilisation
from registry.rules.issued import check_issued

__all__ = [
    "HEIGHT_BANDS",
    "Problem",
    "ask",
    "check",
    "check_attached",
    "check_stored",
    "contradictions",
    "refuse",
    "volumes_for",
]

CLOCK_SLACK = timedelta(minutes=5)


def check_ranges(record: Record) -> list[Problem]:
    """Values inside the hard range but outside the usual one."""
    found = []
    for field in record.described():
        value = getattr(record, field.name)
        if field.soft and value is not None and not field.soft[0] <= value <= field.soft[1]:
            low, high = field.soft
            text = f"{value} {field.unit} is outside the usual {low} to {high}.".replace("  ", " ")
            found.append(ask(f"{field.name}_unusual", field.name, text))
    return found


def check_future(record: Record, now: datetime) -> list[Problem]:
    """Moments that have not come yet."""
    found = []
    for field in record.described():
        value = getattr(record, field.name)
        if isinstance(value, datetime) and value > now + CLOCK_SLACK:
            text = "This lies in the future."
            found.append(refuse(f"{field.name}_future", field.name, text))
    return found


RULES: dict[str, Callable[[Any], list[Problem]]] = {
    "patient": check_patient,
    "course": check_course,
    "run": check_run,
    "failed_attempt": check_attempt,
    "event": check_event,
    "mobilisation": check_mobilisation,
    "daily_check": check_daily,
    "outcome": check_outcome,
    "plan_change": check_plan_change,
    "follow_up": check_follow_up,
    "candidate": check_candidate,
    "screening": check_screening,
    "haemodynamics": check_haemodynamics,
    "listing_spell": check_listing,
}


def check(record: Record, *, now: datetime | None = None) -> list[Problem]:
    """Every problem of one record, blocking ones first. ``record`` may be unsaved."""
    found = [
        *RULES.get(record.entity, lambda _: [])(record),
        *(check_attached(record) if isinstance(record, Run) else []),
        *check_grade(record),
        *check_issued(record),
        *check_future(record, now or timezone.now()),
        *check_ranges(record),
    ]
    return sorted(found, key=lambda problem: not problem.blocks)


# What the database itself refuses, or keeps beside the record, is not asked of stored records one by one.
STORED_RULES: dict[str, Callable[[Any], list[Problem]]] = {
    **RULES,
    "run": lambda run: [
        problem
        for part in RUN_RULES
        if part not in (check_overlap, check_against_course, check_born)
        for problem in part(run)
    ],
    "haemodynamics": check_flow,
}


def check_stored(record: Record) -> list[Problem]:
    """The questions that a stored record raises; needs no further query if it came with its course."""
    found = [*STORED_RULES[record.entity](record), *check_ranges(record)]
    return [problem for problem in found if not problem.blocks]


# Refused on entry, but what came in before stands as it is.
CONTRADICTIONS = {"born_after_insertion", "died_after_seen", "died_before_alive"}


def contradictions(record: Record) -> list[Problem]:
    """What a stored record says against others of its course; needs no further query if it came with them."""
    return [problem for problem in RULES[record.entity](record) if problem.code in CONTRADICTIONS]
