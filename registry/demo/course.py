"""A course lived day by day: what may happen, with daily hazards invented to look like the trade."""

from __future__ import annotations

import math
from datetime import datetime, timedelta

from registry.choices import (
    EndReason,
    ExchangeReason,
    Intent,
    Outcome,
    Route,
)
from registry.demo import devices
from registry.demo.case import Case, is_axillary
from registry.demo.chance import at_clock
from registry.models import CourseOutcome, PlanChange, Run

END_REASON = {
    Outcome.TRANSPLANT: EndReason.TRANSPLANT,
    Outcome.DURABLE: EndReason.DURABLE,
    Outcome.WEANED: EndReason.WEANED,
    Outcome.DIED: EndReason.DEATH,
    Outcome.WITHDRAWN: EndReason.WITHDRAWAL,
    Outcome.TRANSFERRED: EndReason.TRANSFER_OUT,
}
AXILLARY_FAULTS = {
    ExchangeReason.KINK: 44,
    ExchangeReason.MALPOSITION: 24,
    ExchangeReason.LOW_AUGMENTATION: 10,
    ExchangeReason.RUPTURE: 8,
    ExchangeReason.GAS_LEAK: 7,
    ExchangeReason.SITE_BLEED: 4,
    ExchangeReason.INFECTION: 3,
}
FEMORAL_FAULTS = {
    ExchangeReason.KINK: 24,
    ExchangeReason.MALPOSITION: 16,
    ExchangeReason.LOW_AUGMENTATION: 14,
    ExchangeReason.RUPTURE: 12,
    ExchangeReason.GAS_LEAK: 8,
    ExchangeReason.SITE_BLEED: 10,
    ExchangeReason.LIMB: 16,
}
MOVES_AWAY = (ExchangeReason.SITE_BLEED, ExchangeReason.LIMB, ExchangeReason.INFECTION)
PLAN_REASONS = {
    Intent.TRANSPLANT: "Accepted for the waiting list after the team meeting.",
    Intent.DURABLE: "Not a candidate for transplant at present; durable pump planned.",
    Intent.RECOVERY: "Function improving; aim is to wean.",
    Intent.OTHER: "No further bridge offered; goals of care under discussion.",
}


def live(case: Case) -> None:
    """Run the course from the first device to its outcome, or until now."""
    devices.first_run(case)
    day = 0
    while case.outcome is None and _moment(case, day) < case.now:
        what = _draw(case, _hazards(case, day))
        moment = case.chance.between(max(_moment(case, day), _earliest(case)), _moment(case, day + 1))
        if what and moment < case.now - timedelta(hours=1):
            _happen(case, what, moment)
        day += 1


def _moment(case: Case, day: int) -> datetime:
    return case.seen_from + timedelta(days=day, hours=4)


def _earliest(case: Case) -> datetime:
    """Nothing new within two hours of the last insertion."""
    return max(run.inserted_at for run in case.runs) + timedelta(hours=2)


def _draw(case: Case, hazards: dict[str, float]) -> str:
    total = sum(hazards.values())
    return case.chance.pick(hazards) if case.chance.yes(1 - math.exp(-total)) else ""


def _hazards(case: Case, day: int) -> dict[str, float]:
    """Daily hazards of everything that may happen next."""
    early = 1.0 if day < 4 else 0.35
    worse = 5.0 if case.escalated else 1.0
    return {
        Outcome.DIED: 0.011 * case.severity * early * worse,
        Outcome.WITHDRAWN: 0.0018 * case.severity * worse if day >= 3 else 0,
        Outcome.TRANSFERRED: 0.0008,
        **_bridges(case, day),
        **_changes(case, day, early),
    }


def _bridges(case: Case, day: int) -> dict[str, float]:
    """Ways out by the plan as it stands."""
    late = day >= 3
    slow = 0.7 if case.patient.blood_group == "O" else 1.1
    by_plan: dict[Intent, dict[str, float]] = {
        Intent.TRANSPLANT: {Outcome.TRANSPLANT: 0.052 * slow * late, Outcome.DURABLE: 0.004 * late},
        Intent.DURABLE: {Outcome.DURABLE: 0.085 * late, Outcome.TRANSPLANT: 0.002 * late},
        Intent.RECOVERY: {Outcome.WEANED: 0.21 if day >= 2 else 0.02},
        Intent.DECISION: {Outcome.WEANED: 0.07 if day >= 2 else 0, "plan": 0.26 if day >= 2 else 0},
        Intent.OTHER: {Outcome.WEANED: 0.06, Outcome.WITHDRAWN: 0.12},
    }
    return by_plan[case.plan]


def _changes(case: Case, day: int, early: float) -> dict[str, float]:
    """Changes of catheter or device; none once a greater device carries the patient."""
    if case.escalated:
        return {}
    axillary = is_axillary(case.runs[-1])
    bridging = case.plan in (Intent.TRANSPLANT, Intent.DURABLE)
    to_arm = 0.0 if axillary or day < 1 else (0.17 if bridging else 0.02) * (0.35 + 0.9 * case.maturity)
    return {
        "escalate": 0.006 * case.severity * early,
        "exchange": 0.016 if axillary else 0.013,
        "to_arm": to_arm,
        "to_leg": 0.0014 if axillary else 0,
    }


def _happen(case: Case, what: str, moment: datetime) -> None:
    last = case.runs[-1]
    if what == "plan":
        _change_plan(case, moment)
    elif what == "exchange":
        _exchange(case, last, moment)
    elif what == "to_arm":
        moment = _in_hours(case, moment, last)
        devices.change(case, last, moment, ExchangeReason.PLANNED_ROUTE, _arm(case))
    elif what == "to_leg":
        devices.change(case, last, moment, ExchangeReason.SITE_BLEED, Route.FEMORAL_RIGHT)
    elif what == "escalate":
        devices.escalate(case, last, moment)
    else:
        _end(case, Outcome(what), moment)


def _in_hours(case: Case, moment: datetime, last: Run) -> datetime:
    """A planned procedure is done in the daytime."""
    chance = case.chance
    daytime = at_clock(moment, chance.randint(8, 15), chance.randint(0, 59), case.zone)
    return daytime if last.inserted_at + timedelta(hours=2) < daytime < case.now else moment


def _arm(case: Case) -> Route:
    return case.chance.pick(devices.AXILLARY_SIDES)


def _change_plan(case: Case, moment: datetime) -> None:
    fit = max(0.2, 1.3 - 0.012 * case.age)
    new = case.chance.pick(
        {Intent.TRANSPLANT: 40 * fit, Intent.DURABLE: 30, Intent.RECOVERY: 24, Intent.OTHER: 8}
    )
    change = PlanChange(course=case.course, changed_at=moment, intent=new, reason=PLAN_REASONS[new])
    case.plans.append(change)


def _exchange(case: Case, old: Run, moment: datetime) -> None:
    reason = case.chance.pick(AXILLARY_FAULTS if is_axillary(old) else FEMORAL_FAULTS)
    route = Route(old.route)
    devices.change(case, old, moment, reason, devices.OTHER_SIDE[route] if reason in MOVES_AWAY else route)


def _end(case: Case, outcome: Outcome, moment: datetime) -> None:
    if outcome in (Outcome.DURABLE, Outcome.WEANED, Outcome.WITHDRAWN):
        moment = _in_hours(case, moment, case.runs[-1])
    case.outcome = CourseOutcome(course=case.course, outcome=outcome, occurred_at=moment)
    for run in case.runs:
        if run.removed_at is None:
            devices.close(run, moment, END_REASON[outcome], case)
