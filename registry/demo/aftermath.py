"""What became of the patients: discharge and the fixed follow-up times."""

from __future__ import annotations

from datetime import date, timedelta

from registry.choices import Duplex, FollowUpPoint, Outcome, Severity, VitalStatus
from registry.choices_events import EventKind, NeuroKind
from registry.demo.case import Case
from registry.models import FollowUp

POINT_DAYS = {FollowUpPoint.D30: 30, FollowUpPoint.D90: 90, FollowUpPoint.M6: 182, FollowUpPoint.Y1: 365}
LATE_DEATH = {
    Outcome.TRANSPLANT: 0.12,
    Outcome.DURABLE: 0.16,
    Outcome.WEANED: 0.14,
    Outcome.TRANSFERRED: 0.15,
}
STAY_DAYS = {Outcome.TRANSPLANT: (14, 34), Outcome.DURABLE: (16, 36), Outcome.WEANED: (5, 16)}


def follow(case: Case) -> None:
    """Discharge and follow-up as far as they have come by now."""
    if case.outcome is None:
        return
    ended_on = case.day(case.outcome.occurred_at)
    if case.is_dead:
        case.outcome.discharged_on, case.outcome.discharge_status = ended_on, VitalStatus.DEAD
        return
    died_on = _death(case, ended_on)
    _discharge(case, ended_on, died_on)
    _visits(case, ended_on, died_on)


def _death(case: Case, ended_on: date) -> date | None:
    """The day of a death within the first year, more likely early."""
    assert case.outcome is not None
    if case.returned or not case.chance.yes(LATE_DEATH[Outcome(case.outcome.outcome)]):
        return None
    return ended_on + timedelta(days=1 + round(min(case.chance.expovariate(1 / 70), 363)))


def _discharge(case: Case, ended_on: date, died_on: date | None) -> None:
    assert case.outcome is not None
    low, high = STAY_DAYS.get(Outcome(case.outcome.outcome), (0, 0))
    left_on = ended_on + timedelta(days=case.chance.randint(low, high))
    if died_on and died_on <= left_on:
        left_on = died_on
    if left_on >= case.day(case.now):
        return
    case.outcome.discharged_on = left_on
    case.outcome.discharge_status = VitalStatus.DEAD if died_on == left_on else VitalStatus.ALIVE


def _visits(case: Case, ended_on: date, died_on: date | None) -> None:
    for point, days in POINT_DAYS.items():
        seen_on = ended_on + timedelta(days=days + case.chance.randint(-3, 6))
        if seen_on >= case.day(case.now) or case.chance.yes(0.05):
            continue
        dead = died_on is not None and died_on <= seen_on
        case.visits.append(_visit(case, point, seen_on, died_on if dead else None))
        if dead:
            return


def _visit(case: Case, point: FollowUpPoint, seen_on: date, died_on: date | None) -> FollowUp:
    visit = FollowUp(course=case.course, point=point, seen_on=seen_on, status=VitalStatus.ALIVE)
    if died_on:
        visit.status, visit.died_on = VitalStatus.DEAD, died_on
    elif case.chance.yes(0.03):
        visit.status = VitalStatus.LOST
    else:
        _examine(case, visit)
    return visit


def _examine(case: Case, visit: FollowUp) -> None:
    chance = case.chance
    hurt = any(event.kind in (EventKind.NERVE, EventKind.LIMB, EventKind.VASCULAR) for event in case.events)
    complaint = (
        {Severity.MILD: 70, Severity.MODERATE: 30}
        if hurt and chance.yes(0.5)
        else {Severity.NONE: 96, Severity.MILD: 4}
    )
    visit.arm_function = chance.pick(complaint)
    if visit.point in (FollowUpPoint.D30, FollowUpPoint.D90):
        visit.artery_duplex = chance.pick(
            {Duplex.NOT_DONE: 58, Duplex.NORMAL: 38, Duplex.STENOSIS: 3, Duplex.OCCLUSION: 1}
        )
    assert case.outcome is not None
    if case.outcome.outcome == Outcome.TRANSPLANT and visit.point == FollowUpPoint.D30:
        visit.graft_dysfunction = chance.pick(
            {Severity.NONE: 80, Severity.MILD: 9, Severity.MODERATE: 7, Severity.SEVERE: 4}
        )
    if any(event.neuro_kind == NeuroKind.ISCHAEMIC for event in case.events):
        visit.mrs = chance.randint(0, 4)
