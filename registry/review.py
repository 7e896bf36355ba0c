"""A support course told on one page, for a case conference: with dates, or in days from insertion only."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, time, timedelta

from django.utils import timezone
from django.utils.text import capfirst

from registry.choices import FilmVerdict
from registry.choices_events import OUT_OF_BED_LEVEL, WALK_LEVEL, Mobility, ReviewState
from registry.choices_extended import OnSupport
from registry.derived import indices
from registry.models import Course, HaemodynamicSet, Mobilisation, Run

DAY = timedelta(days=1)
FIRSTS = ((OUT_OF_BED_LEVEL, "First out of bed"), (WALK_LEVEL, "First walk"))


@dataclass(frozen=True)
class Line:
    """One thing that happened, and on which day of support (the day of insertion is day 0)."""

    at: datetime
    day: int
    text: str
    kind: str = ""

    @property
    def day_said(self) -> str:
        """``day 3``; before insertion with a true minus."""
        return f"day {self.day}".replace("-", "−")


def tell(course: Course) -> tuple[Line, ...]:
    """What happened on a course, in order; events that review refuted are left out."""
    began = course.first_inserted_at
    if began is None:
        return ()
    start = timezone.localtime(began).date()
    found = [told for part in PARTS for told in part(course)]
    lines = [Line(at, (timezone.localtime(at).date() - start) // DAY, text, kind) for at, text, kind in found]
    return tuple(sorted(lines, key=lambda line: line.at))


Told = Iterator[tuple[datetime, str, str]]


def _runs(course: Course) -> Told:
    for run in course.run_list:
        yield run.inserted_at, _insertion(run), f"run {run.route_group.lower()}"
        if run.removed_at:
            yield run.removed_at, f"Run {run.run_no} out: {run.get_end_reason_display().lower()}", ""


def _insertion(run: Run) -> str:
    volume = f", {run.balloon_volume_ml} mL" if run.balloon_volume_ml else ""
    why = f" ({run.get_exchange_reason_display().lower()})" if run.exchange_reason else ""
    route = run.get_route_display().lower()
    return f"Run {run.run_no}: {run.get_device_class_display()}{volume}, {route}{why}"


def _films(course: Course) -> Told:
    """Only films off level; the others would fill the page."""
    for run in course.run_list:
        for check in run.checks.all():
            if check.film_verdict not in ("", FilmVerdict.ACCEPTABLE):
                noon = timezone.make_aware(datetime.combine(check.checked_on, time(12)))
                done = check.get_position_action_display().lower() or "no action noted"
                yield noon, f"Film: {check.get_film_verdict_display().lower()}; {done}", ""


def _events(course: Course) -> Told:
    for event in course.events.all():
        if event.review != ReviewState.REFUTED:
            details = "; ".join(f"{label}: {value}" for label, value in event.details)
            serious = ", serious" if event.serious else ""
            yield (
                event.onset_at,
                f"{event.get_kind_display()}{serious}. {capfirst(details)}",
                "event",
            )


def _firsts(course: Course) -> Told:
    sessions: list[Mobilisation] = sorted(course.mobilisations.all(), key=lambda session: session.started_at)
    for level, text in FIRSTS:
        first = next((session for session in sessions if session.level >= level), None)
        if first:
            yield first.started_at, f"{text}: {Mobility(first.level).label.partition(': ')[2]}", "mobile"


def _pressures(course: Course) -> Told:
    """The few values that a conference asks for first."""
    for measured in course.haemodynamics.all():
        computed = {index.label: f"{index.value} {index.unit}" for index in indices(measured)}
        values = {
            "mean": computed.get("Mean pressure"),
            "right atrial": _mmhg(measured.right_atrial_mmhg),
            "wedge": _mmhg(measured.wedge_mmhg),
            "cardiac index": computed.get("Cardiac index"),
        }
        known = ", ".join(f"{name} {value}" for name, value in values.items() if value)
        if known:
            yield measured.measured_at, f"Pressures, {_support(measured)}: {known}", ""


def _mmhg(value: int | None) -> str:
    return "" if value is None else f"{value} mmHg"


def _support(measured: HaemodynamicSet) -> str:
    if measured.on_support == OnSupport.NONE:
        return "no pump and no inotrope"
    return measured.get_on_support_display().lower() or "support not said"


def _listing(course: Course) -> Told:
    """Tiers that began on support."""
    first = timezone.localdate(course.first_inserted_at)
    for spell in course.listing_spells.all():
        if spell.began_on >= first:
            noon = timezone.make_aware(datetime.combine(spell.began_on, time(12)))
            yield noon, f"Waiting list: tier {spell.get_tier_display().lower()}", ""


def _plans(course: Course) -> Told:
    for change in course.plan_changes.all():
        yield change.changed_at, f"Plan changed to {change.get_intent_display().lower()}", ""


def _outcome(course: Course) -> Told:
    outcome = getattr(course, "outcome", None)
    if outcome:
        yield outcome.occurred_at, outcome.get_outcome_display(), "outcome"


PARTS = (_runs, _films, _events, _firsts, _pressures, _listing, _plans, _outcome)
