"""What was known of the vessels, and why this route was chosen."""

from __future__ import annotations

from collections.abc import Mapping

from registry.choices import Aetiology, AttemptFailure, ExchangeReason, PacingDevice, Sex, Urgency
from registry.choices_extended import (
    ArchState,
    Hand,
    IliofemoralDisease,
    ProcedureConsent,
    RouteReason,
    VesselImaging,
)
from registry.demo.case import Case, is_axillary
from registry.demo.chance import Chance, tenth
from registry.models import Screening
from registry.rules.extended import LEFT_ARM

# Planned cases have a CT or an ultrasound beforehand, those in shock what time allows (common practice).
PLANNED_IMAGING = {VesselImaging.CT: 0.62, VesselImaging.DUPLEX: 0.66, VesselImaging.ANGIOGRAM: 0.12}
SHOCK_IMAGING = {VesselImaging.CT: 0.14, VesselImaging.DUPLEX: 0.22, VesselImaging.ON_THE_TABLE: 0.7}
LUMEN_MM = {Sex.MALE: 7.4, Sex.FEMALE: 6.7}
LOST_VALUE = 0.05


def assess(case: Case, chance: Chance) -> None:
    """The screening of a course; now and then nobody wrote one."""
    if not case.pumps or chance.yes(0.04):
        return
    case.screening = Screening(course=case.course)
    seen = _imaging(chance, PLANNED_IMAGING if case.planned else SHOCK_IMAGING)
    case.screening.imaging = seen
    case.screening.route_reason = [] if chance.yes(0.03) else _reasons(case, chance)
    case.screening.procedure_consent = chance.kept(_consent(case, chance)) or ""
    _arm(case, chance, case.screening)
    _aorta(case, chance, case.screening)


def _imaging(chance: Chance, shares: Mapping[VesselImaging, float]) -> list[VesselImaging]:
    seen = [kind for kind, share in shares.items() if chance.yes(share)]
    return sorted(seen or [next(iter(shares))], key=list(VesselImaging).index)


def _reasons(case: Case, chance: Chance) -> list[RouteReason]:
    """In the order of the code list."""
    found = _for_the_arm(case, chance) if is_axillary(case.pumps[0]) else _for_the_leg(case, chance)
    if any(run.exchange_reason == ExchangeReason.PLANNED_ROUTE for run in case.pumps):
        found.add(RouteReason.BRIDGE)
    return sorted(found, key=list(RouteReason).index)


def _for_the_arm(case: Case, chance: Chance) -> set[RouteReason]:
    found = {reason for reason in (RouteReason.LONG, RouteReason.MOBILITY) if chance.yes(0.8)}
    if case.course.peripheral_disease:
        found.add(RouteReason.PERIPHERAL)
    return found or {RouteReason.MOBILITY}


def _for_the_leg(case: Case, chance: Chance) -> set[RouteReason]:
    found = set()
    if case.pumps[0].urgency != Urgency.ELECTIVE and chance.yes(0.88):
        found.add(RouteReason.URGENCY)
    if case.course.pacing_device in (PacingDevice.LEFT, PacingDevice.BOTH) and chance.yes(0.22):
        found.add(RouteReason.POCKET)
    if not found or chance.yes(0.12):
        found.add(RouteReason.OPERATOR)
    return found


def _consent(case: Case, chance: Chance) -> ProcedureConsent:
    hurry = case.pumps[0].urgency == Urgency.EMERGENT
    return ProcedureConsent.EMERGENCY if hurry and chance.yes(0.7) else ProcedureConsent.YES


def _arm(case: Case, chance: Chance, screening: Screening) -> None:
    """The left arm. A graft fed by its artery keeps the pump out of it."""
    left_arm = any(run.route in LEFT_ARM for run in case.runs)
    bypassed = bool(case.course.prior_sternotomy) and case.course.aetiology == Aetiology.ISCHAEMIC
    graft = bypassed and not left_arm and chance.yes(0.7)
    screening.mammary_graft_left = chance.kept(graft, LOST_VALUE)
    if screening.imaging != [VesselImaging.ON_THE_TABLE] or left_arm:
        lumen = chance.bell(LUMEN_MM.get(Sex(case.patient.sex), 7), 0.8, 6, 10.4)
        if any(attempt.failure == AttemptFailure.VESSEL_SMALL for attempt in case.attempts):
            lumen = chance.uniform(4.6, 5.8)
        screening.axillary_lumen_mm = chance.kept(tenth(lumen), LOST_VALUE)
        screening.stenosis_pct = chance.kept(chance.pick({0: 78, 10: 9, 20: 7, 30: 4, 40: 2}), LOST_VALUE)
        screening.vertebral_dominant_left = chance.kept(chance.yes(0.06), 0.08)
    screening.dominant_hand = chance.kept(chance.pick({Hand.RIGHT: 89, Hand.LEFT: 11}), 0.07) or ""


def _aorta(case: Case, chance: Chance, screening: Screening) -> None:
    if VesselImaging.CT in screening.imaging:
        screening.subclavian_coeliac_mm = chance.kept(chance.whole(238, 20, 182, 292), LOST_VALUE)
        arch = {ArchState.NONE: 68, ArchState.MILD: 27, ArchState.SEVERE: 5}
        screening.arch = chance.kept(chance.pick(arch), LOST_VALUE) or ""
    disease = {IliofemoralDisease.NONE: 66, IliofemoralDisease.MILD: 24, IliofemoralDisease.UNKNOWN: 10}
    if case.course.peripheral_disease:
        disease = {IliofemoralDisease.MILD: 50, IliofemoralDisease.SEVERE: 50}
    screening.iliofemoral_disease = chance.kept(chance.pick(disease), LOST_VALUE) or ""
