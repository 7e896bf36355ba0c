"""The devices of the stories: how a run begins and ends."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal

from registry.choices import (
    AccessMethod,
    Closure,
    DeviceClass,
    EndReason,
    ExchangeReason,
    FilmVerdict,
    Guidance,
    Location,
    Relation,
    Route,
    RouteGroup,
    Urgency,
)
from registry.demo.case import Case, is_axillary
from registry.models import Run
from registry.rules import volumes_for

AXILLARY_OPERATORS = {"OP1": 46, "OP2": 34, "OP3": 20}
FEMORAL_OPERATORS = {"OP1": 14, "OP2": 14, "OP3": 18, "OP4": 22, "OP5": 18, "OP6": 14}
CONSOLES = ["DC-1", "DC-2", "DC-3", "DC-4", "DC-5", "DC-6"]
OTHER_SIDE = {
    Route.AXILLARY_LEFT: Route.AXILLARY_RIGHT,
    Route.AXILLARY_RIGHT: Route.AXILLARY_LEFT,
    Route.SUBCLAVIAN_LEFT: Route.AXILLARY_RIGHT,
    Route.FEMORAL_LEFT: Route.FEMORAL_RIGHT,
    Route.FEMORAL_RIGHT: Route.FEMORAL_LEFT,
}
AXILLARY_SIDES = {Route.AXILLARY_LEFT: 88, Route.AXILLARY_RIGHT: 8, Route.SUBCLAVIAN_LEFT: 4}
FEMORAL_SIDES = {Route.FEMORAL_RIGHT: 70, Route.FEMORAL_LEFT: 30}


def first_route(case: Case) -> Route:
    """Axillary when stable, more so each year; femoral in an emergency: confounding by indication."""
    ready = 0.42 + 0.46 * case.maturity if case.planned else 0.02 + 0.05 * case.maturity
    if case.course.transferred_in:
        ready = 0
    return case.chance.pick(AXILLARY_SIDES if case.chance.yes(ready) else FEMORAL_SIDES)


def balloon(case: Case, route: Route, inserted_at: datetime, urgency: Urgency) -> Run:
    """A balloon-pump run by that route, still in place."""
    chance = case.chance
    run = Run(
        course=case.course,
        patient=case.patient,
        inserted_at=inserted_at,
        device_class=DeviceClass.IABP,
        route=route,
        urgency=urgency,
        technical_success=True,
        first_position=chance.pick({FilmVerdict.ACCEPTABLE: 91, FilmVerdict.HIGH: 5, FilmVerdict.LOW: 4}),
        console_code=chance.among(CONSOLES),
    )
    _size(case, run)
    _label(case, run)
    _access(case, run)
    return _add(case, run)


def _add(case: Case, run: Run) -> Run:
    run.run_no = len(case.runs) + 1
    case.runs.append(run)
    return run


def _size(case: Case, run: Run) -> None:
    height = float(case.course.height_cm or 170)
    volumes = sorted(volumes_for(height))
    run.balloon_volume_ml = volumes[-1] if case.chance.yes(0.75) else volumes[0]
    run.catheter_fr = Decimal("8") if run.balloon_volume_ml == "50" else Decimal("7.5")


def _label(case: Case, run: Run) -> None:
    """Lot and expiry as read from the label; lots change every two months or so."""
    batch = run.inserted_at.toordinal() // 60
    if case.chance.yes(0.94):
        run.lot = f"L{(batch * 7919) % 90000 + 10000}{case.chance.among('ABC')}"
        run.serial = f"{case.chance.randrange(10**8):08d}"
    run.expires_on = case.day(run.inserted_at) + timedelta(days=case.chance.randint(60, 700))


def _access(case: Case, run: Run) -> None:
    chance = case.chance
    if is_axillary(run):
        run.operator_code = chance.pick(AXILLARY_OPERATORS)
        graft = 0.22 - 0.18 * case.maturity
        run.access_method = AccessMethod.GRAFT if chance.yes(graft) else AccessMethod.PERCUTANEOUS
        run.location = chance.pick({Location.CATH_LAB: 76, Location.HYBRID: 24})
        run.guidance = [Guidance.ULTRASOUND, Guidance.FLUOROSCOPY]
        run.guidance += chance.several([Guidance.ROADMAP_WIRE, Guidance.ANGIOGRAM], 0.45)
        return
    run.operator_code = chance.pick(FEMORAL_OPERATORS)
    run.access_method = AccessMethod.PERCUTANEOUS
    hurry = run.urgency == Urgency.EMERGENT
    run.location = chance.pick(
        {Location.CATH_LAB: 74, Location.THEATRE: 12, Location.BEDSIDE: 14 if hurry else 2}
    )
    seen = Guidance.ULTRASOUND if chance.yes(0.62 + 0.25 * case.maturity) else Guidance.LANDMARK
    at_bedside = run.location == Location.BEDSIDE
    run.guidance = sorted(
        {seen} | (set() if at_bedside else {Guidance.FLUOROSCOPY}), key=list(Guidance).index
    )


def first_run(case: Case) -> Run:
    """The first device of the course."""
    shock = {Urgency.URGENT: 38, Urgency.EMERGENT: 62}
    calm = {Urgency.ELECTIVE: 55, Urgency.URGENT: 45}
    route = first_route(case)
    urgency = case.chance.pick(calm if case.planned else shock)
    if route in AXILLARY_SIDES and urgency == Urgency.EMERGENT:
        urgency = Urgency.URGENT
    run = balloon(case, route, case.start, urgency)
    run.relation = Relation.FIRST
    if case.course.transferred_in:
        run.location, run.operator_code, run.console_code = Location.ELSEWHERE, "OUTSIDE", ""
        run.lot = run.serial = ""
        run.expires_on = None
    return run


def close(run: Run, moment: datetime, reason: EndReason, case: Case) -> None:
    """The catheter comes out."""
    run.removed_at, run.end_reason = moment, reason
    if reason in (EndReason.DEATH, EndReason.TRANSFER_OUT):
        run.closure = Closure.NONE
        return
    if not run.is_balloon_pump:
        run.closure, run.closure_success = Closure.SURGICAL, True
        return
    run.closure = _closure(run, reason, case)
    run.closure_success = case.chance.yes(0.96)


def _closure(run: Run, reason: EndReason, case: Case) -> Closure:
    if run.access_method == AccessMethod.GRAFT:
        return Closure.SURGICAL
    if reason in (EndReason.TRANSPLANT, EndReason.DURABLE) and case.chance.yes(0.6):
        return Closure.OPEN_CHEST
    ways = {Closure.MANUAL: 66, Closure.SUTURE: 12, Closure.UPSIZE: 14, Closure.PLUG: 8}
    return case.chance.pick(ways)


def change(case: Case, old: Run, moment: datetime, reason: ExchangeReason, route: Route) -> Run:
    """Another catheter in place of ``old``: the old balloon leaves before the new one enters."""
    close(old, moment, EndReason.EXCHANGE, case)
    new = balloon(case, route, moment + timedelta(minutes=case.chance.randint(3, 22)), _urgency_of(reason))
    new.replaces, new.exchange_reason = old, reason
    if new.route_group != old.route_group:
        new.relation = Relation.CROSSOVER
    else:
        new.relation = Relation.SAME_SITE if new.route == old.route else Relation.NEW_SITE
    if new.relation == Relation.SAME_SITE:
        old.closure, old.closure_success, new.access_method = "", None, old.access_method
    return new


def _urgency_of(reason: ExchangeReason) -> Urgency:
    return Urgency.ELECTIVE if reason == ExchangeReason.PLANNED_ROUTE else Urgency.URGENT


def escalate(case: Case, pump: Run, moment: datetime) -> Run:
    """Greater support on the same course, the pump taken out or left in."""
    chance = case.chance
    kind = chance.pick({DeviceClass.MICROAXIAL: 55, DeviceClass.VA_ECMO: 45})
    free = OTHER_SIDE[Route(pump.route)] if pump.route_group == RouteGroup.FEMORAL else Route.FEMORAL_RIGHT
    run = Run(
        course=case.course,
        patient=case.patient,
        inserted_at=moment,
        device_class=kind,
        route=free,
        access_method=AccessMethod.PERCUTANEOUS,
        guidance=[Guidance.ULTRASOUND, Guidance.FLUOROSCOPY],
        operator_code=chance.pick(FEMORAL_OPERATORS),
        location=chance.pick({Location.CATH_LAB: 80, Location.THEATRE: 20}),
        urgency=Urgency.EMERGENT,
        technical_success=True,
        relation=Relation.ESCALATION,
        replaces=pump,
        exchange_reason=ExchangeReason.MORE_SUPPORT,
    )
    if chance.yes(0.35 if kind == DeviceClass.VA_ECMO else 0.8):
        close(pump, moment + timedelta(minutes=chance.randint(5, 40)), EndReason.ESCALATION, case)
    return _add(case, run)
