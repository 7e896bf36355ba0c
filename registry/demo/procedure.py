"""How a catheter went in and how it came out: times, radiation and contrast, puncture, fixation, closure."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

from registry.choices import (
    AccessMethod,
    Closure,
    Duplex,
    EndReason,
    Guidance,
    Location,
    PacingDevice,
    Route,
    RouteGroup,
    Sedation,
    Urgency,
)
from registry.choices_events import EventKind, Failure, Lesion
from registry.choices_extended import CheckAngiogram, PocketSide, RoadmapAccess, Securement
from registry.demo.case import Case, is_axillary
from registry.demo.chance import Chance, tenth
from registry.models import Run
from registry.rules.extended import POCKETS

MEMBRANE_MM = {"25": 175, "30": 220, "34": 225, "35": 225, "40": 255, "50": 265}
SEEN_ON_CONTRAST = (Lesion.DISSECTION_LOCAL, Lesion.PERFORATION)
PATENCY = {Lesion.THROMBOSIS: Duplex.OCCLUSION, Lesion.PSEUDOANEURYSM: Duplex.PSEUDOANEURYSM}
SECOND_OPERATORS = {"OP2": 40, "OP3": 34, "OP5": 26}
DRAWN_BY_HAND = (Closure.MANUAL, Closure.UPSIZE)
LEFT_ALIVE = (EndReason.TRANSPLANT, EndReason.DURABLE, EndReason.WEANED, EndReason.EXCHANGE)
LOST_VALUE = 0.05


def carry_out(case: Case, chance: Chance) -> None:
    """Fill the procedure and the removal of every balloon pump placed here."""
    for run in case.pumps:
        if run.location != Location.ELSEWHERE:
            _people(case, chance, run)
            _times(case, chance, run)
            _radiation(case, chance, run)
            _puncture(case, chance, run)
            if is_axillary(run):
                _arm(case, chance, run)
        if run.removed_at:
            _removal(case, chance, run)


def _people(case: Case, chance: Chance, run: Run) -> None:
    if chance.yes(0.42 if is_axillary(run) else 0.1):
        second = chance.pick(SECOND_OPERATORS)
        run.second_operator_code = "" if second == run.operator_code else second
    kinds = {Sedation.LOCAL: 44, Sedation.CONSCIOUS: 52, Sedation.GENERAL: 4}
    if case.course.ventilated or run.access_method == AccessMethod.GRAFT:
        kinds = {Sedation.GENERAL: 92, Sedation.CONSCIOUS: 8}
    run.sedation = chance.kept(chance.pick(kinds), LOST_VALUE) or ""


def _times(case: Case, chance: Chance, run: Run) -> None:
    """The programme learns: axillary procedures take less time each year."""
    mean, spread = (58 - 24 * case.maturity, 11) if is_axillary(run) else (24, 7)
    if run.access_method == AccessMethod.GRAFT:
        mean += 34
    run.procedure_min = chance.kept(chance.whole(mean, spread, 9, 150), LOST_VALUE)
    started = run.inserted_at + timedelta(minutes=chance.randint(2, 9))
    if started < case.end_of(run):
        run.pump_on_at = chance.kept(started, LOST_VALUE)
    before = run.replaces
    if before and before.is_balloon_pump and before.removed_at and before.removed_at < run.inserted_at:
        stopped = run.inserted_at - before.removed_at + timedelta(minutes=chance.randint(3, 7))
        run.standby_min = chance.kept(round(stopped / timedelta(minutes=1)), LOST_VALUE)


def _radiation(case: Case, chance: Chance, run: Run) -> None:
    if Guidance.FLUOROSCOPY not in run.guidance:
        run.fluoroscopy_min, run.dose_mgy, run.contrast_ml = Decimal(0), Decimal(0), 0
        return
    mean = 10.5 - 5 * case.maturity if is_axillary(run) else 3.4
    minutes = chance.bell(mean, mean * 0.28, 0.8, 28)
    run.fluoroscopy_min = chance.kept(tenth(minutes), LOST_VALUE)
    run.dose_mgy = chance.kept(Decimal(round(minutes * chance.uniform(9, 19))), 0.08)
    contrast = chance.whole(24, 8, 6, 60) if is_axillary(run) else chance.pick({0: 60, 8: 20, 12: 12, 20: 8})
    run.contrast_ml = chance.kept(contrast, LOST_VALUE)


def _puncture(case: Case, chance: Chance, run: Run) -> None:
    run.balloon_length_mm = chance.kept(MEMBRANE_MM[run.balloon_volume_ml], LOST_VALUE)
    run.sheath_fr = chance.kept(chance.pick({run.catheter_fr: 82, Decimal(0): 18}), LOST_VALUE)
    if run.access_method != AccessMethod.PERCUTANEOUS:
        return
    several = 0.42 - 0.24 * case.maturity if is_axillary(run) else 0.2
    several += 0.15 if Guidance.LANDMARK in run.guidance else 0
    tries = chance.pick({2: 78, 3: 22}) if chance.yes(several) else 1
    run.puncture_attempts = chance.kept(tries, LOST_VALUE)
    run.micropuncture = chance.kept(chance.yes(0.93 if is_axillary(run) else 0.4), LOST_VALUE)


def _arm(case: Case, chance: Chance, run: Run) -> None:
    run.roadmap_access = chance.kept(_roadmap(chance, run), LOST_VALUE) or ""
    run.check_angiogram = chance.kept(_contrast_check(case, chance, run), 0.04) or ""
    run.securement = [] if chance.yes(0.04) else _held_by(case, chance)
    run.puncture_pocket = chance.kept(_pocket(case, run), 0.03) or ""
    if run.access_method == AccessMethod.PERCUTANEOUS:
        run.needle_angle_deg = chance.kept(chance.whole(51, 4, 45, 60), 0.09)
        run.puncture_outside_cage = chance.kept(True, LOST_VALUE)
        run.stiff_wire = chance.kept(chance.yes(0.16), LOST_VALUE)


def _roadmap(chance: Chance, run: Run) -> RoadmapAccess:
    if run.replaces and run.replaces.route_group == RouteGroup.FEMORAL:
        return RoadmapAccess.OLD_PUMP
    if Guidance.ROADMAP_WIRE not in run.guidance:
        return RoadmapAccess.NONE
    left = {RoadmapAccess.FEMORAL: 52, RoadmapAccess.RADIAL: 40, RoadmapAccess.BRACHIAL: 8}
    on_the_left = run.route in (Route.AXILLARY_LEFT, Route.SUBCLAVIAN_LEFT)
    return chance.pick(left) if on_the_left else RoadmapAccess.FEMORAL


def _contrast_check(case: Case, chance: Chance, run: Run) -> CheckAngiogram:
    """An injury of the procedure was seen on it."""
    for event in case.events:
        early = event.onset_at - run.inserted_at < timedelta(hours=16)
        if event.run is run and event.lesion in SEEN_ON_CONTRAST and early:
            return CheckAngiogram.ABNORMAL
    return chance.pick({CheckAngiogram.CLEAR: 90, CheckAngiogram.NOT_DONE: 10})


def _held_by(case: Case, chance: Chance) -> list[Securement]:
    """Early catheters were held without a loop of slack now and then."""
    held = [Securement.SHEATH, Securement.HUB]
    held += [Securement.ADHESIVE] if chance.yes(0.55) else []
    return held if chance.yes(0.12 * (1 - case.maturity)) else [*held, Securement.SLACK]


def _pocket(case: Case, run: Run) -> PocketSide:
    here = run.route in POCKETS.get(case.course.pacing_device or PacingDevice.NONE, ())
    return PocketSide.LATERAL if here else PocketSide.NO_POCKET


# Removal


def _removal(case: Case, chance: Chance, run: Run) -> None:
    if run.closure in DRAWN_BY_HAND:
        run.compression_min = chance.kept(chance.whole(22, 7, 8, 55), LOST_VALUE)
    if run.closure == Closure.NONE:
        return
    ruptured = any(e.run is run and e.failure == Failure.RUPTURE for e in case.events)
    run.catheter_intact = chance.kept(not ruptured, LOST_VALUE)
    if run.end_reason in LEFT_ALIVE:
        run.duplex_after = chance.kept(_patency(case, chance, run), 0.06) or ""


def _patency(case: Case, chance: Chance, run: Run) -> Duplex:
    for event in case.events:
        if event.run is run and event.lesion in PATENCY and event.kind != EventKind.VISCERAL:
            return PATENCY[Lesion(event.lesion)]
    looked = 0.62 if is_axillary(run) else 0.3
    hurried = run.urgency == Urgency.EMERGENT
    seen = chance.pick({Duplex.NORMAL: 96, Duplex.STENOSIS: 4})
    return seen if chance.yes(looked - (0.1 if hurried else 0)) else Duplex.NOT_DONE
