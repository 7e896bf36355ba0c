"""Writing the story into the database, with a history dated as if people had entered it along the way."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterable, Sequence
from datetime import datetime, timedelta
from itertools import groupby
from typing import Any

import pgtrigger
from django.contrib.auth.hashers import make_password
from django.db import connection, transaction
from django.db.models import prefetch_related_objects
from django.utils import timezone

from registry import rules
from registry.actions import written_by
from registry.choices_events import ReviewState
from registry.demo.case import Case
from registry.demo.programme import ACCOUNTS, PASSWORD, Story
from registry.models import Answer, Course, Event, PatientIdentity, Record, Run, User
from registry.proposals import keep_proposal
from registry.questions import Scope, ask_all
from registry.tables.reading import count_rows

BATCH = 1000
OPEN: dict[str, Any] = {
    "removed_at": None,
    "end_reason": "",
    "closure": "",
    "closure_success": None,
    "compression_min": None,
    "catheter_intact": None,
    "duplex_after": "",
}
REMOVAL = tuple(OPEN)
OLD_ENOUGH = timedelta(days=30)
NO_LONGER_ASKED = timedelta(days=300)
# What was said about old gaps, by kind of question; those of the last months are still to be chased.
SAID = {
    "screening_missing": "Before the form for it was in use.",
    "days_missing": "No entry in the paper chart either.",
    "flag": "Looked at again with the ward: no event.",
    "lot_missing": "The box was thrown away and the store kept no list.",
    "mobility_missing": "Nothing in the nursing notes of that day.",
    "device_report": "Discussed with the safety officer; the report was sent.",
    "creatinine_missing": "No value in the old chart.",
    "angiogram_missing": "Not in the procedure note.",
}
REASONS = {
    "expired_at_insertion": "Label read again: the year was misprinted; lot confirmed with the supplier.",
    "walked_on_femoral": "Walked with two staff under the programme’s femoral protocol.",
    "verdict_no_action": "Seen on rounds; position accepted because the patient was about to be moved.",
}
USUAL_REASON = "Checked against the chart; the value stands."

Progress = Callable[[str], None]


class _Dated:
    """When each record would have been entered and completed, for its history."""

    def __init__(self, now: datetime, seed: int) -> None:
        self.now, self.chance = now, random.Random(f"{seed}/entry")  # noqa: S311 - invents, guards nothing
        self.entered: list[tuple[Record, datetime]] = []
        self.completed: list[tuple[Record, datetime]] = []

    def later(self, moment: datetime, low_hours: float, high_hours: float) -> datetime:
        return min(moment + timedelta(hours=self.chance.uniform(low_hours, high_hours)), self.now)


def load(story: Story, *, seed: int, progress: Progress) -> dict[str, int]:
    """Save the story, all or nothing; returns how many of each record there are."""
    dated = _Dated(story.now, seed)
    with transaction.atomic():
        people = _accounts(story)
        with written_by(people["coordinator"]):
            for words, step in _steps(story, dated):
                progress(words)
                step()
        progress("dating the history")
        _date_history(dated)
        progress("answering what the logbook asks")
        _answer(story, people["coordinator"])
        _close_old_gaps(story, people["coordinator"])
    return _counts(story)


def _accounts(story: Story) -> dict[str, User]:
    story.centre.save()
    password = make_password(PASSWORD)
    people = [
        User(username=name, role=role, centre=story.centre, password=password)
        for name, role in ACCOUNTS.items()
    ]
    return {user.username: user for user in User.objects.bulk_create(people)}


def _steps(story: Story, dated: _Dated) -> list[tuple[str, Callable[[], None]]]:
    cases = story.cases
    return [
        ("patients", lambda: _save_patients(story, dated)),
        ("courses and runs", lambda: _save_runs(cases, dated)),
        ("failed attempts and candidates", lambda: _save_attempts(story, dated)),
        ("screening, pressures and waiting list", lambda: _save_extended(cases, dated)),
        ("daily rows", lambda: _save(_all(cases, "checks"), dated, _day_after)),
        ("mobilisation", lambda: _save(_all(cases, "sessions"), dated, _session_entry)),
        ("events", lambda: _save_events(cases, dated)),
        ("outcomes and follow-up", lambda: _save_endings(cases, dated)),
    ]


def _all(cases: Iterable[Case], name: str) -> list[Any]:
    return [record for case in cases for record in getattr(case, name)]


def _save(records: Sequence[Any], dated: _Dated, entry: Callable[[_Dated, Any], datetime]) -> None:
    """Insert records of one model in batches and note when each would have been entered."""
    for start in range(0, len(records), BATCH):
        batch = records[start : start + BATCH]
        type(batch[0])._default_manager.bulk_create(batch)
    if records:
        count_rows(type(records[0]))
    dated.entered += [(record, entry(dated, record)) for record in records]


def _save_patients(story: Story, dated: _Dated) -> None:
    people = {
        id(case.patient): (case.patient, case.record_number, case.seen_from) for case in reversed(story.cases)
    }
    people |= {id(who): (who, number, failed.attempted_at) for who, number, failed in story.unplaced}
    ordered = sorted(people.values(), key=lambda person: person[0].study_no)
    since = {id(patient): seen for patient, _, seen in ordered}
    _save([patient for patient, _, _ in ordered], dated, lambda d, patient: d.later(since[id(patient)], 1, 3))
    numbers = _distinct(number for _, number, _ in ordered)
    identities = [
        PatientIdentity(patient=patient, centre=patient.centre, record_number=number)
        for (patient, _, _), number in zip(ordered, numbers, strict=True)
    ]
    _save(identities, dated, lambda d, identity: d.later(since[id(identity.patient)], 3, 4))


def _distinct(numbers: Iterable[str]) -> list[str]:
    """The invented record numbers, none held by two patients."""
    found: dict[str, None] = {}
    for number in numbers:
        while number in found:
            number += "0"  # one more digit makes another number
        found[number] = None
    return list(found)


def _save_runs(cases: list[Case], dated: _Dated) -> None:
    """Courses, then first runs, second runs and so on: each catheter leaves before the next one enters."""
    begun = {id(case.course): case.seen_from for case in cases}
    for case in cases:
        keep_proposal(case.course)
    _save([case.course for case in cases], dated, lambda d, course: d.later(begun[id(course)], 3, 4))

    def turn(run: Run) -> tuple[int, int]:
        return run.course.course_no, run.run_no

    for _, runs in groupby(sorted(_all(cases, "runs"), key=turn), key=turn):
        _save_turn(list(runs), begun, dated)


def _save_turn(runs: list[Run], begun: dict[int, datetime], dated: _Dated) -> None:
    removals = [{name: getattr(run, name) for name in REMOVAL} for run in runs]
    for run in runs:
        _set(run, OPEN)
    _save(runs, dated, lambda d, run: d.later(max(run.inserted_at, begun[id(run.course)]), 4, 20))
    ended = [(run, final) for run, final in zip(runs, removals, strict=True) if final["removed_at"]]
    for run, final in ended:
        _set(run, final | {"version": 2})
        dated.completed.append((run, dated.later(final["removed_at"], 8, 60)))
    Run.objects.bulk_update([run for run, _ in ended], [*REMOVAL, "version"], batch_size=BATCH)


def _set(record: Record, values: dict[str, Any]) -> None:
    for name, value in values.items():
        setattr(record, name, value)


def _save_attempts(story: Story, dated: _Dated) -> None:
    attempts = _all(story.cases, "attempts") + [failed for _, _, failed in story.unplaced]
    _save(attempts, dated, lambda d, attempt: d.later(attempt.attempted_at, 4, 20))
    noon = timedelta(hours=12)
    start = story.now
    _save(
        story.candidates,
        dated,
        lambda d, line: d.later(start + (line.considered_on - start.date()) + noon, 10, 90),
    )


def _save_extended(cases: list[Case], dated: _Dated) -> None:
    """Nothing of a course is entered before the course itself."""
    begun = {id(case.course): case.seen_from + timedelta(hours=4) for case in cases}

    def after(course: Course, moment: datetime) -> datetime:
        return dated.later(max(begun[id(course)], moment), 2, 40)

    screenings = [case.screening for case in cases if case.screening]
    _save(screenings, dated, lambda d, seen: after(seen.course, begun[id(seen.course)]))
    _save(_all(cases, "sets"), dated, lambda d, measured: after(measured.course, measured.measured_at))
    noon = timedelta(hours=12)
    start = dated.now
    _save(
        _all(cases, "spells"),
        dated,
        lambda d, spell: after(spell.course, start + (spell.began_on - start.date()) + noon),
    )


def _day_after(dated: _Dated, check: Any) -> datetime:
    days = check.checked_on - check.run.inserted_at.date()
    return dated.later(check.run.inserted_at + days, 12, 30)


def _session_entry(dated: _Dated, session: Any) -> datetime:
    return dated.later(session.started_at, 2, 26)


def _save_events(cases: list[Case], dated: _Dated) -> None:
    """Events come late now and then, and are reviewed a month or more after."""
    events: list[Event] = _all(cases, "events")
    reviews = [event.review for event in events]
    for event in events:
        event.review = ReviewState.REPORTED
        keep_proposal(event)
    _save(events, dated, _event_entry)
    reviewed = [pair for pair in zip(events, reviews, strict=True) if pair[1] != ReviewState.REPORTED]
    for event, review in reviewed:
        event.review, event.version = review, 2
        dated.completed.append((event, dated.later(event.onset_at, 24 * 35, 24 * 60)))
    Event.objects.bulk_update([event for event, _ in reviewed], ["review", "version"], batch_size=BATCH)


def _event_entry(dated: _Dated, event: Event) -> datetime:
    late = dated.chance.random() < 0.1
    return dated.later(event.onset_at, 24 * 12, 24 * 34) if late else dated.later(event.onset_at, 2, 48)


def _save_endings(cases: list[Case], dated: _Dated) -> None:
    outcomes = [case.outcome for case in cases if case.outcome]
    _save(outcomes, dated, lambda d, outcome: d.later(outcome.occurred_at, 12, 72))
    _save(_all(cases, "plans"), dated, lambda d, change: d.later(change.changed_at, 2, 24))
    ends = {case.course.pk: case.outcome.occurred_at for case in cases if case.outcome}
    _save(
        _all(cases, "visits"),
        dated,
        lambda d, visit: d.later(
            ends[visit.course.pk] + (visit.seen_on - ends[visit.course.pk].date()), 24, 240
        ),
    )


# History


def _date_history(dated: _Dated) -> None:
    """Move the history from the minute of loading to when people would have made the entries.

    Nobody may do this outside the demonstration: the triggers that keep history unchanged are passed by here.
    """
    for label, rows in (("insert", dated.entered), ("update", dated.completed)):
        by_model: dict[type[Record], list[tuple[int, datetime]]] = {}
        for record, moment in rows:
            by_model.setdefault(type(record), []).append((record.pk, moment))
        for model, pairs in by_model.items():
            _move(model, label, pairs)


def _move(model: type[Record], label: str, pairs: list[tuple[int, datetime]]) -> None:
    history: Any = model.history.rel.related_model  # type: ignore[attr-defined]
    with pgtrigger.ignore(f"{history._meta.label}:append_only"), connection.cursor() as cursor:
        cursor.execute(
            f"UPDATE {history._meta.db_table} AS history SET pgh_created_at = entry.moment"  # noqa: S608
            " FROM unnest(%s::bigint[], %s::timestamptz[]) AS entry (id, moment)"
            " WHERE history.pgh_obj_id = entry.id AND history.pgh_label = %s",
            [[pk for pk, _ in pairs], [moment for _, moment in pairs], label],
        )


# Questions


def _answer(story: Story, coordinator: User) -> None:
    """Reasons given for what the logbook asked about, save what is recent or still open."""
    prefetch_related_objects([case.course for case in story.cases], "runs")
    answers = []
    with timezone.override(story.centre.zone):
        for case in story.cases:
            if story.now - case.start > OLD_ENOUGH:
                answers += [
                    _answer_to(record, problem, coordinator)
                    for record in records_of(case)
                    for problem in rules.check(record)
                ]
    Answer.objects.bulk_create(answers)


def _answer_to(record: Record, problem: rules.Problem, coordinator: User) -> Answer:
    return Answer(
        entity=record.entity,
        record_id=record.public_id,
        code=problem.code,
        reason=REASONS.get(problem.code, USUAL_REASON),
        given_by=coordinator,
    )


def _close_old_gaps(story: Story, coordinator: User) -> None:
    """Old gaps were asked about, and somebody said why they stay."""
    old = {case.course.pk for case in story.cases if story.now - case.start > NO_LONGER_ASKED}
    Answer.objects.bulk_create(
        Answer(
            entity=asked.kind.entity,
            record_id=question.record_id,
            code=question.code,
            question=question.text,
            reason=SAID[asked.kind.code],
            given_by=coordinator,
        )
        for asked in ask_all(Scope(story.centre, story.now))
        if asked.kind.code in SAID
        for question in asked.questions
        if question.course_id in old
    )


def records_of(case: Case) -> list[Record]:
    """Every record of a case."""
    single = [record for record in (case.outcome, case.screening) if record]
    many: list[list[Any]] = [
        case.sets,
        case.spells,
        case.runs,
        case.attempts,
        case.checks,
        case.sessions,
        case.events,
        case.plans,
        case.visits,
    ]
    return [case.patient, case.course, *single, *(record for records in many for record in records)]


def _counts(story: Story) -> dict[str, int]:
    cases = story.cases
    names = {"runs": "runs", "checks": "daily rows", "sessions": "mobilisation sessions", "events": "events"}
    return {
        "patients": len({id(case.patient) for case in cases}) + len(story.unplaced),
        "courses": len(cases),
        "balloon-pump runs": sum(len(case.pumps) for case in cases),
        **{words: len(_all(cases, name)) for name, words in names.items()},
        "screenings": sum(case.screening is not None for case in cases),
        "sets of pressures": len(_all(cases, "sets")),
        "spells on the waiting list": len(_all(cases, "spells")),
        "failed attempts": len(_all(cases, "attempts")) + len(story.unplaced),
        "candidates": len(story.candidates),
        "still supported": sum(case.outcome is None for case in cases),
    }
