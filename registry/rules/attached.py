"""What was recorded on a run must still fit it when its times or its route are corrected.

Only what fitted before and would fit no longer is named: an old mismatch does not stop another correction.
It is part of ``rules.check``; see there.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.utils import timezone

from registry.choices import Relation, RouteGroup
from registry.choices_events import WALK_LEVEL, EventKind, Limb
from registry.models import DailyCheck, Event, FailedAttempt, Mobilisation, PlanChange, Run
from registry.problem import Problem, ask, refuse

BEFORE_INSERTION = timedelta(days=1)  # as far as an onset may lie before its run
NAMED = 5
FIRST = "First correct or remove what is named here."


@dataclass(frozen=True)
class Place:
    """A run as it stood or would stand: its own time, its course's time and its route."""

    begins: datetime
    ends: datetime | None
    course_begins: datetime
    course_ends: datetime | None
    route: str
    route_group: RouteGroup

    @classmethod
    def of(cls, run: Run, others: list[Run]) -> Place:
        """``others`` are the further runs of the course; the course ends when all are out."""
        ends = [one.removed_at for one in (run, *others)]
        begins = min(one.inserted_at for one in (run, *others))
        last = None if None in ends else max(end for end in ends if end)
        return cls(run.inserted_at, run.removed_at, begins, last, run.route, run.route_group)

    def holds(self, moment: datetime) -> bool:
        return self.begins <= moment and (self.ends is None or moment < self.ends)


def limb_fits(limb: str, place: Run | Place) -> bool:
    """Whether a limb is the one that the device entered by."""
    if place.route_group == RouteGroup.OTHER:
        return True  # such a route names neither limb nor side
    arm = limb in (Limb.ARM_LEFT, Limb.ARM_RIGHT)
    return arm == (place.route_group == RouteGroup.AXILLARY) and limb[-1] == place.route[-1]


def _day(moment: datetime) -> Any:
    return timezone.localtime(moment).date()


def _said(moment: datetime) -> str:
    return f"{timezone.localtime(moment):%d-%b-%Y %H:%M}"


def _name(record: Any) -> str:
    """A record as the trade names it, with its day or time."""
    if isinstance(record, DailyCheck):
        return f"{record.checked_on:%d-%b-%Y}{' with its film' if record.film_verdict else ''}"
    if isinstance(record, Event):
        return f"{record.get_kind_display()} of {_said(record.onset_at)}"
    moment = {Mobilisation: "started_at", PlanChange: "changed_at", FailedAttempt: "attempted_at"}
    at = getattr(record, moment.get(type(record), "inserted_at"))
    return f"run {record.run_no} of {_said(at)}" if isinstance(record, Run) else _said(at)


@dataclass(frozen=True)
class Part:
    """One kind of record that hangs on a run, when it fits, and what is said when it would not."""

    code: str
    field: str
    what: str  # before the days: "Daily rows"
    why: str  # after them: "That would be before the insertion."
    records: Callable[[Run], Iterable[Any]]
    fits: Callable[[Any, Place], bool]
    blocks: bool = True

    def problem(self, run: Run, before: Place, now: Place) -> Problem | None:
        lost = [one for one in self.records(run) if self.fits(one, before) and not self.fits(one, now)]
        if not lost:
            return None
        names = ", ".join(_name(one) for one in lost[:NAMED])
        more = f" and {len(lost) - NAMED} more" if len(lost) > NAMED else ""
        text = f"{self.what}: {names}{more}. {self.why}"
        if self.blocks:
            return refuse(self.code, self.field, f"{text} {FIRST}")
        return ask(self.code, self.field, text)


def _device_events(run: Run) -> Iterable[Any]:
    return run.events.filter(kind__in=(EventKind.REPOSITION, EventKind.KINK))


def _limb_events(run: Run) -> Iterable[Any]:
    return run.events.filter(kind=EventKind.LIMB).exclude(limb="")


def _walks(run: Run) -> Iterable[Any]:
    return run.course.mobilisations.filter(level__gte=WALK_LEVEL)


def _attempts(run: Run) -> Iterable[Any]:
    return FailedAttempt.objects.filter(followed_by=run)


def _site_fits(follower: Run, place: Place) -> bool:
    if follower.relation == Relation.SAME_SITE:
        return follower.route == place.route
    return follower.relation != Relation.CROSSOVER or follower.route_group != place.route_group


AT_FIRST = "That would be before the first device went in."
BEFORE, AFTER = "That would be before the insertion.", "That would be after the removal."
PARTS = (
    Part("days_before_insertion", "inserted_at", "Daily rows", BEFORE,
         lambda run: run.checks.all(), lambda row, at: row.checked_on >= _day(at.begins)),
    Part("days_after_removal", "removed_at", "Daily rows", AFTER,
         lambda run: run.checks.all(), lambda row, at: at.ends is None or row.checked_on <= _day(at.ends)),
    Part("events_before_insertion", "inserted_at", "Events", BEFORE,
         lambda run: run.events.all(), lambda event, at: event.onset_at >= at.begins - BEFORE_INSERTION),
    Part("events_before_support", "inserted_at", "Events", AT_FIRST,
         lambda run: run.course.events.exclude(run=run),
         lambda event, at: event.onset_at >= at.course_begins - BEFORE_INSERTION),
    Part("events_after_removal", "removed_at", "Events", AFTER,
         _device_events, lambda event, at: at.ends is None or event.onset_at <= at.ends, blocks=False),
    Part("sessions_before_support", "inserted_at", "Mobilisation", AT_FIRST,
         lambda run: run.course.mobilisations.all(),
         lambda session, at: session.started_at >= at.course_begins),
    Part("sessions_after_support", "removed_at", "Mobilisation", "That would be after the last removal.",
         lambda run: run.course.mobilisations.all(),
         lambda session, at: at.course_ends is None or session.started_at <= at.course_ends),
    Part("plans_before_support", "inserted_at", "Change of plan", AT_FIRST,
         lambda run: run.course.plan_changes.all(), lambda plan, at: plan.changed_at >= at.course_begins),
    Part("attempt_after_insertion", "inserted_at", "Failed attempt before this device",
         "That would be after the insertion.",
         _attempts, lambda attempt, at: attempt.attempted_at <= at.begins),
    Part("follower_before_insertion", "inserted_at", "Device that follows", BEFORE,
         lambda run: run.successors.all(), lambda follower, at: follower.inserted_at >= at.begins),
    Part("attempt_by_this_route", "route", "Failed attempt before this device",
         "It was by this same route and side.",
         _attempts, lambda attempt, at: attempt.intended_route != at.route, blocks=False),
    Part("follower_by_other_site", "route", "Device that follows",
         "It is recorded as related to the route as it stands.",
         lambda run: run.successors.all(), _site_fits, blocks=False),
    Part("limb_events_elsewhere", "route", "Limb events",
         "The limb would not be the one the device entered by.",
         _limb_events, lambda event, at: limb_fits(event.limb, at), blocks=False),
    Part("walks_on_femoral", "route", "Walking",
         "Walking with a femoral device needs the programme’s protocol.",
         _walks, lambda walk, at: at.route_group != RouteGroup.FEMORAL or not at.holds(walk.started_at),
         blocks=False),
)  # fmt: skip


def check_attached(run: Run) -> list[Problem]:
    """What hangs on a stored run and would fit its corrected times or route no longer."""
    stored = Run.objects.filter(pk=run.pk).select_related("course").first() if run.pk else None
    if stored is None or not run.inserted_at or not run.route:
        return []
    others = list(stored.course.runs.exclude(pk=run.pk))
    before, now = Place.of(stored, others), Place.of(run, others)
    if now == before:
        return []
    found = (part.problem(stored, before, now) for part in PARTS)
    return [problem for problem in found if problem]
