"""From rows of events to events of the courses that the logbook has."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from registry.choices_events import Precision
from registry.models import Centre, Course, Event, Run
from registry.models.event import NEEDS_RUN
from registry.rules.happening import LATE_EVENT
from registry.spreadsheet.courses import columns_of, complain_of_gaps
from registry.spreadsheet.people import People
from registry.spreadsheet.rows import SheetRow

BEFORE_INSERTION = timedelta(days=1)


@dataclass
class EventPlan:
    """The events that a sheet will add, and what is to be said about rows that add none."""

    events: list[tuple[SheetRow, Event]] = field(default_factory=list)
    notes: list[tuple[int, str]] = field(default_factory=list)


def plan_events(rows: Iterable[SheetRow], centre: Centre) -> EventPlan:
    """Find the course and run of each event. Problems are noted on the rows."""
    plan, sheet = EventPlan(), list(rows)
    people = People(centre, sheet)
    known = _known_events(people)
    for row in sheet:
        event = _event(row, people)
        if event is None:
            continue
        key = (event.course.pk, event.kind, event.onset_at)
        if key in known:
            plan.notes.append((row.number, f"This event is {known[key]} already."))
            continue
        known[key] = f"in row {row.number}"
        plan.events.append((row, event))
    return plan


def _known_events(people: People) -> dict[tuple[int, str, datetime], str]:
    patients = [*people.known.values(), *filter(None, people.by_record.values())]
    events = Event.objects.filter(course__patient__in=patients)
    return {(event.course_id, event.kind, event.onset_at): "in the logbook" for event in events}


def _event(row: SheetRow, people: People) -> Event | None:
    patient = people.patient_of(row, may_be_new=False)
    onset = row.get("event.onset_at")
    if onset is None:
        row.complain("event.onset_at", "Say when it began, as well as it is known.")
    if patient is None or onset is None:
        return None
    runs = _course_at(people.runs_of(patient), onset)
    if not runs:
        row.complain(
            "event.onset_at", f"{patient} was not on a device at that time, nor in the 30 days after."
        )
        return None
    event = Event(course=runs[0].course, **columns_of(row, "event"))
    if event.run_id is None and (event.kind in NEEDS_RUN or len(runs) == 1):
        event.run = _run_at(runs, onset)
    if "event.onset_at" in row.assumed and "event.onset_precision" not in row.values:
        event.onset_precision = Precision.DAY
    complain_of_gaps(row, event, "event")
    return event


def _course_at(runs: list[Run], onset: datetime) -> list[Run]:
    """The runs of the latest course that had begun at the onset and had not long ended."""
    courses: dict[int, list[Run]] = defaultdict(list)
    for run in runs:
        courses[run.course_id].append(run)
    fitting = [own for own in courses.values() if _spans(own, onset)]
    return max(fitting, key=lambda own: own[0].inserted_at, default=[])


def _spans(runs: list[Run], onset: datetime) -> bool:
    ends = [run.removed_at for run in runs]
    last = None if None in ends else max(end for end in ends if end)
    return runs[0].inserted_at - BEFORE_INSERTION <= onset and (last is None or onset <= last + LATE_EVENT)


def _run_at(runs: list[Run], onset: datetime) -> Run:
    """The run in place at the onset, else the last one that had begun."""
    begun = [run for run in runs if run.inserted_at <= onset]
    there = [run for run in begun if run.removed_at is None or run.removed_at > onset]
    return (there or begun or runs)[-1 if there or begun else 0]


def number_events(events: list[Event]) -> None:
    """Give each event the next number of its course; the caller holds the courses locked."""
    highest: dict[int, int] = {}
    courses = {event.course_id for event in events}
    for course in Course.objects.select_for_update().filter(pk__in=courses).order_by("pk"):
        highest[course.pk] = max(course.events.values_list("event_no", flat=True), default=0)
    for event in events:
        highest[event.course_id] += 1
        event.event_no = highest[event.course_id]
