"""The whole list: kinds in order of harm, what is answered taken out."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from uuid import UUID

from registry.models import Answer
from registry.questions import days, doubts, events, runs
from registry.questions.question import (
    CARE,
    COORDINATOR,
    OPERATOR,
    PHYSICIAN,
    REVIEWERS,
    TRANSPLANT,
    Kind,
    Question,
    Scope,
)

# In order of harm: what falsifies a count first, what only leaves a gap last (project convention).
KINDS: tuple[Kind, ...] = (
    Kind("run_open", "Device without an end", "run", COORDINATOR, runs.still_in),
    Kind("course_open", "Course without an outcome", "course", COORDINATOR, runs.no_outcome),
    Kind("contradiction", "Entries that contradict each other", "", COORDINATOR, doubts.contradictions,
         by_text=True, answer="Cannot be settled: say why"),
    Kind("screening_missing", "No screening or reason for the route", "course", OPERATOR, runs.not_screened,
         group="screening"),
    Kind("days_missing", "Days in place without a row", "course", CARE, days.missing_days, by_text=True),
    Kind("film_unjudged", "Film without a verdict", "daily_check", PHYSICIAN, days.unjudged_film),
    Kind("verdict_no_action", "Balloon off level, nothing done", "daily_check", PHYSICIAN, days.idle_verdict),
    Kind("flag", "Seen on a day, no event", "daily_check", CARE, days.flags, answer="No event: say why"),
    Kind("angiogram_without_event", "Abnormal contrast check without an event", "run", OPERATOR,
         runs.abnormal_angiogram, answer="No event: say why"),
    Kind("closure_without_event", "Failed closure without an event", "run", OPERATOR, runs.failed_closure,
         answer="No event: say why"),
    Kind("exchange_unexplained", "Exchange without a reason", "run", OPERATOR, runs.unexplained_exchange),
    Kind("exchange_without_event", "Exchange for a fault without its event", "run", OPERATOR,
         runs.kinked_exchange),
    Kind("lot_missing", "No lot number", "run", OPERATOR, runs.no_lot, group="device"),
    Kind("mobility_missing", "Neither mobility nor a reason", "daily_check", CARE, days.no_mobility),
    Kind("listing_expiring", "Waiting-list tier expiring", "listing_spell", TRANSPLANT, runs.expiring_listing,
         group="listing", answer="Dealt with: say how"),
    Kind("event_ungraded", "Event without a grade", "event", PHYSICIAN, events.ungraded),
    Kind("grade_differs", "Grade differs from the values", "event", PHYSICIAN, events.differing,
         answer="Right as it is: say why"),
    Kind("onset_vague", "Event without a time", "event", CARE, events.undated),
    Kind("event_unreviewed", "Event not reviewed", "event", REVIEWERS, events.unreviewed),
    Kind("event_unresolved", "Event without an end", "event", PHYSICIAN, events.unresolved),
    Kind("device_report", "Report of a serious device event", "event", COORDINATOR, events.device_reports,
         answer="Note what was decided"),
    Kind("intent_changed", "Intent at the start rewritten", "course", PHYSICIAN, runs.changed_intent,
         answer="Right as it is: say why"),
    Kind("follow_up", "Follow-up due", "course", COORDINATOR, events.follow_ups),
    Kind("rankin_missing", "No Rankin after a stroke", "follow_up", PHYSICIAN, events.strokes_without_rankin),
    Kind("support_unsaid", "Pressures without support", "haemodynamics", PHYSICIAN, runs.unsaid_support,
         group="haemodynamics"),
    Kind("creatinine_missing", "No creatinine at the start", "course", CARE, runs.no_creatinine,
         group="labs"),
    Kind("basis_missing", "Basis of the record", "patient", COORDINATOR, runs.no_basis, group="governance"),
    Kind("angiogram_missing", "No word about the contrast check", "run", OPERATOR, runs.no_angiogram,
         group="procedure"),
    Kind("doubt", "Unusual value", "", COORDINATOR, doubts.doubts, by_text=True,
         answer="Right as it is: say why"),
)  # fmt: skip


@dataclass(frozen=True)
class Asked:
    """A kind with its open questions."""

    kind: Kind
    questions: list[Question]


@dataclass(frozen=True)
class _Answers:
    by_code: frozenset[tuple[UUID, str]]
    by_text: frozenset[tuple[UUID, str, str]]

    def settle(self, kind: Kind, question: Question) -> bool:
        if kind.by_text:
            return (question.record_id, question.code, question.text) in self.by_text
        return (question.record_id, question.code) in self.by_code


def _answers(questions: Iterable[Question]) -> _Answers:
    codes = {question.code for question in questions}
    given = Answer.objects.filter(code__in=codes).values_list("record_id", "code", "question")
    rows = list(given)
    return _Answers(frozenset((row[0], row[1]) for row in rows), frozenset(rows))


def ask_all(scope: Scope, *, only: str = "") -> list[Asked]:
    """Every kind that has open questions, in order of harm; ``only`` names one kind."""
    found = [
        (kind, list(kind.find(scope)))
        for kind in KINDS
        if scope.shows(kind.group) and only in ("", kind.code)
    ]
    answers = _answers(question for _, questions in found for question in questions)
    asked = (
        Asked(kind, [question for question in questions if not answers.settle(kind, question)])
        for kind, questions in found
    )
    return [one for one in asked if one.questions]


def counts_by_course(scope: Scope) -> Counter[int]:
    """How many questions are open about each course."""
    return Counter(question.course_id for asked in ask_all(scope) for question in asked.questions)


def answered_by(scope: Scope, *, kind: str, code: str, record_id: str) -> tuple[Kind, Question] | None:
    """The open question that an answer is meant for; None when it is not open (any more)."""
    for asked in ask_all(scope, only=kind):
        for question in asked.questions:
            if (question.code, str(question.record_id)) == (code, record_id):
                return asked.kind, question
    return None
