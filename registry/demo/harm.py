"""What goes wrong on support, with invented daily hazards, and how it is graded."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from registry.choices import ExchangeReason
from registry.choices_events import (
    Barc,
    BleedSite,
    EventAction,
    EventKind,
    Failure,
    InfectionKind,
    KinkSite,
    Lesion,
    Limb,
    LimbAction,
    MajorMinor,
    MalfunctionFix,
    NeuroKind,
    NeuroTiming,
    Precision,
    Resolution,
    ReviewState,
    Rutherford,
    VascularTreatment,
)
from registry.demo.case import Case, is_axillary
from registry.models import Event, Run

# Hazard by kind: at the procedure, then per day, axillary and femoral (invented).
RUN_HAZARDS: dict[EventKind, tuple[tuple[float, float], tuple[float, float]]] = {
    EventKind.KINK: ((0, 0.007), (0, 0.005)),
    EventKind.BLEEDING: ((0.02, 0.0035), (0.03, 0.009)),
    EventKind.ACCESS_SITE: ((0.04, 0), (0.05, 0.002)),
    EventKind.VASCULAR: ((0.022, 0), (0.02, 0.001)),
    EventKind.LIMB: ((0, 0.0010), (0.006, 0.007)),
    EventKind.INFECTION: ((0, 0.0036), (0, 0.0045)),
    EventKind.NERVE: ((0.03, 0), (0, 0)),
    EventKind.VISCERAL: ((0, 0.0022), (0, 0.0010)),
}
COURSE_HAZARDS: dict[EventKind, float] = {
    EventKind.NEURO: 0.0022,
    EventKind.RENAL: 0.014,
    EventKind.HAEMATOLOGICAL: 0.005,
    EventKind.ARRHYTHMIA: 0.007,
    EventKind.OTHER: 0.001,
}
KINK_SITES = {
    KinkSite.FIRST_CONNECTION: 40,
    KinkSite.SECUREMENT: 28,
    KinkSite.SUBCUTANEOUS: 20,
    KinkSite.IN_BALLOON: 12,
}
LIMB_OF_SIDE = {("A", "L"): Limb.ARM_LEFT, ("A", "R"): Limb.ARM_RIGHT}
LEG_OF_SIDE = {"L": Limb.LEG_LEFT, "R": Limb.LEG_RIGHT}


def suffer(case: Case) -> None:
    """Add the events of the course and of each pump, and those behind each exchange."""
    for run in case.pumps:
        _on_run(case, run)
    for run in case.runs:
        if run.replaces is not None and run.exchange_reason:
            _behind_exchange(case, run)
    _on_course(case)


def add(case: Case, kind: EventKind, onset_at: datetime, run: Run | None, **details: Any) -> Event:
    """An event of the case; later ones get their number when the case is finished."""
    event = Event(course=case.course, run=run, kind=kind, onset_at=onset_at, **details)
    event.onset_precision = case.chance.pick({Precision.MINUTE: 62, Precision.HOUR: 30, Precision.DAY: 8})
    event.serious = event.serious or event.severity == MajorMinor.MAJOR
    if not event.resolution:
        recent = case.now - onset_at < timedelta(days=5)
        event.resolution = Resolution.ONGOING if recent and case.chance.yes(0.5) else Resolution.RESOLVED
    event.review = _review(case, onset_at)
    case.events.append(event)
    return event


def _review(case: Case, onset_at: datetime) -> ReviewState:
    """Reviewers meet monthly; what is recent has not been seen by them."""
    if case.now - onset_at < timedelta(days=40):
        return ReviewState.REPORTED
    return case.chance.pick({ReviewState.CONFIRMED: 90, ReviewState.REFUTED: 5, ReviewState.REPORTED: 5})


def _on_run(case: Case, run: Run) -> None:
    days, side = case.days_of(run), 0 if is_axillary(run) else 1
    for kind, hazards in RUN_HAZARDS.items():
        procedural, daily = hazards[side]
        own = max(run.inserted_at, case.seen_from)
        if case.chance.yes(procedural) and run.inserted_at >= case.seen_from and days > 0.2:
            early = min(case.end_of(run), own + timedelta(hours=14))
            DETAILS[kind](case, run, case.chance.between(own, early))
        elif case.chance.happens(daily, days) and days > 1:
            DETAILS[kind](case, run, case.chance.between(own + timedelta(hours=12), case.end_of(run)))


def _on_course(case: Case) -> None:
    end = max(case.end_of(run) for run in case.runs)
    days = max((end - case.seen_from) / timedelta(days=1), 0)
    for kind, daily in COURSE_HAZARDS.items():
        ill = 0.5 + case.severity / 2 if kind in (EventKind.RENAL, EventKind.NEURO) else 1
        if days > 0.5 and case.chance.happens(daily * ill, days):
            DETAILS[kind](case, None, case.chance.between(case.seen_from, end))


def _behind_exchange(case: Case, new: Run) -> None:
    """A change made for a fault has that fault as an event on the old run."""
    old = new.replaces
    assert old is not None
    before = old.removed_at or new.inserted_at
    onset = max(
        before - timedelta(minutes=case.chance.randint(30, 300)), old.inserted_at + timedelta(minutes=5)
    )
    faults = {
        ExchangeReason.KINK: Failure.KINK,
        ExchangeReason.RUPTURE: Failure.RUPTURE,
        ExchangeReason.GAS_LEAK: Failure.GAS_LEAK,
        ExchangeReason.LOW_AUGMENTATION: Failure.UNWRAP,
    }
    reason = ExchangeReason(new.exchange_reason)
    if reason in faults:
        _fault(case, old, onset, faults[reason], MalfunctionFix.EXCHANGE)
    elif reason == ExchangeReason.SITE_BLEED:
        _bleeding(case, old, onset, at_site=True)
    elif reason == ExchangeReason.LIMB:
        _limb(case, old, onset)
    elif reason == ExchangeReason.INFECTION:
        add(
            case,
            EventKind.INFECTION,
            onset,
            old,
            infection_kind=InfectionKind.SITE_LOCAL,
            led_to_removal=True,
            treated_days=case.chance.randint(7, 14),
            actions=[EventAction.DRUG, EventAction.EXCHANGE],
        )


# How each kind is graded


def _fault(case: Case, run: Run, onset: datetime, failure: Failure, fix: MalfunctionFix) -> Event:
    kink = case.chance.pick(KINK_SITES) if failure == Failure.KINK else ""
    exchanged = fix == MalfunctionFix.EXCHANGE
    return add(
        case,
        EventKind.KINK,
        onset,
        run,
        failure=failure,
        kink_site=kink,
        severity=MajorMinor.MAJOR if exchanged else MajorMinor.MINOR,
        fixed_by=fix,
        interrupted_min=case.chance.randint(8, 28) if exchanged else case.chance.randint(0, 9),
        device_kept=exchanged and (failure == Failure.RUPTURE or case.chance.yes(0.7)),
        actions=[EventAction.EXCHANGE] if exchanged else [],
    )


def _kink(case: Case, run: Run, onset: datetime) -> None:
    failure = case.chance.pick(
        {Failure.KINK: 74, Failure.CONSOLE: 12, Failure.CONNECTOR: 8, Failure.TRIGGER: 6}
    )
    fix = {
        Failure.KINK: case.chance.pick({MalfunctionFix.STRAIGHTEN: 55, MalfunctionFix.RESUTURE: 45}),
        Failure.CONSOLE: MalfunctionFix.CONSOLE_SWAP,
        Failure.TRIGGER: MalfunctionFix.CONSOLE_SWAP,
    }.get(failure, MalfunctionFix.STRAIGHTEN)
    _fault(case, run, onset, failure, fix)


def _bleeding(case: Case, run: Run, onset: datetime, *, at_site: bool = False) -> None:
    chance = case.chance
    sites = {BleedSite.ACCESS: 55, BleedSite.GI: 22, BleedSite.AIRWAY: 10, BleedSite.GU: 8}
    if not is_axillary(run):
        sites[BleedSite.RETROPERITONEAL] = 12
    site = BleedSite.ACCESS if at_site else chance.pick(sites)
    grade = chance.pick({Barc.T1: 12, Barc.T2: 44, Barc.T3A: 34, Barc.T3B: 10})
    drop = {Barc.T1: (0, 8), Barc.T2: (8, 25), Barc.T3A: (30, 48), Barc.T3B: (50, 68)}[grade]
    units = {Barc.T3A: chance.randint(1, 2), Barc.T3B: chance.randint(3, 5)}.get(grade, 0)
    severe = grade in (Barc.T3A, Barc.T3B)
    add(
        case,
        EventKind.BLEEDING,
        onset,
        run,
        bleed_site=site,
        barc=grade,
        haemoglobin_drop_g_dl=Decimal(chance.randint(*drop)) / 10,
        red_cell_units=units,
        serious=severe,
        actions=[EventAction.TRANSFUSION] if units else [],
    )


def _access_site(case: Case, run: Run, onset: datetime) -> None:
    lesion = case.chance.pick({Lesion.HAEMATOMA: 72, Lesion.PSEUDOANEURYSM: 22, Lesion.FISTULA: 6})
    treat = VascularTreatment.COMPRESSION
    if lesion == Lesion.PSEUDOANEURYSM:
        treat = case.chance.pick({VascularTreatment.THROMBIN: 60, VascularTreatment.SURGERY: 40})
    major = treat == VascularTreatment.SURGERY
    size = Decimal(case.chance.randint(30, 90)) / 10 if lesion == Lesion.HAEMATOMA else None
    grade = MajorMinor.MAJOR if major else MajorMinor.MINOR
    add(
        case,
        EventKind.ACCESS_SITE,
        onset,
        run,
        lesion=lesion,
        severity=grade,
        treatment=treat,
        haematoma_cm=size,
    )


def _vascular(case: Case, run: Run, onset: datetime) -> None:
    lesion = case.chance.pick(
        {Lesion.DISSECTION_LOCAL: 46, Lesion.THROMBOSIS: 20, Lesion.PERFORATION: 16, Lesion.DISSECTION_B: 10}
    )
    major = lesion in (Lesion.DISSECTION_B, Lesion.PERFORATION)
    treat = VascularTreatment.ENDOGRAFT if lesion == Lesion.PERFORATION else VascularTreatment.NONE
    grade = MajorMinor.MAJOR if major else MajorMinor.MINOR
    add(case, EventKind.VASCULAR, onset, run, lesion=lesion, severity=grade, treatment=treat)


def _visceral(case: Case, run: Run, onset: datetime) -> None:
    add(
        case,
        EventKind.VISCERAL,
        onset,
        run,
        lesion=Lesion.VISCERAL,
        severity=MajorMinor.MAJOR,
        treatment=VascularTreatment.NONE,
        actions=[EventAction.REPOSITION],
    )


def limb_of(run: Run) -> Limb:
    """The limb that a run enters by."""
    side = run.route[-1]
    return LIMB_OF_SIDE[("A", side)] if is_axillary(run) else LEG_OF_SIDE[side]


def _limb(case: Case, run: Run, onset: datetime) -> None:
    grade = case.chance.pick({Rutherford.I: 50, Rutherford.IIA: 34, Rutherford.IIB: 16})
    act = {
        Rutherford.I: LimbAction.OBSERVE,
        Rutherford.IIA: LimbAction.REMOVE if run.removed_at else LimbAction.OBSERVE,
        Rutherford.IIB: LimbAction.THROMBECTOMY,
    }[grade]
    add(
        case,
        EventKind.LIMB,
        onset,
        run,
        limb=limb_of(run),
        rutherford=grade,
        limb_action=act,
        serious=grade == Rutherford.IIB,
    )


def _infection(case: Case, run: Run, onset: datetime) -> None:
    day = case.day(onset) - case.day(run.inserted_at)
    kinds = {InfectionKind.PNEUMONIA: 40, InfectionKind.URINE: 24, InfectionKind.SITE_LOCAL: 18}
    if day.days >= 2:  # bloodstream infection counts from the third calendar day in place
        kinds |= {InfectionKind.BLOODSTREAM_DEVICE: 12, InfectionKind.BLOODSTREAM_OTHER: 10}
    kind = case.chance.pick(kinds)
    blood = kind in (InfectionKind.BLOODSTREAM_DEVICE, InfectionKind.BLOODSTREAM_OTHER)
    add(
        case,
        EventKind.INFECTION,
        onset,
        run,
        infection_kind=kind,
        led_to_removal=False,
        treated_days=case.chance.randint(10, 21) if blood else case.chance.randint(5, 10),
        serious=blood,
        actions=[EventAction.DRUG],
    )


def _nerve(case: Case, run: Run, onset: datetime) -> None:
    grade = case.chance.pick({MajorMinor.MINOR: 92, MajorMinor.MAJOR: 8})
    add(case, EventKind.NERVE, onset, run, severity=grade, limb=limb_of(run))


def _neuro(case: Case, run: Run | None, onset: datetime) -> None:
    kind = case.chance.pick(
        {NeuroKind.ISCHAEMIC: 50, NeuroKind.TIA: 20, NeuroKind.DELIRIUM: 22, NeuroKind.COVERT: 8}
    )
    stroke = kind == NeuroKind.ISCHAEMIC
    early = any(timedelta(0) <= onset - run.inserted_at < timedelta(hours=24) for run in case.runs)
    add(
        case,
        EventKind.NEURO,
        onset,
        run,
        neuro_kind=kind,
        neuro_timing=NeuroTiming.PROCEDURE if early else NeuroTiming.SUPPORT,
        nihss_worst=case.chance.randint(2, 14) if stroke else None,
        serious=stroke,
        resolution=Resolution.SEQUELAE if stroke else "",
    )


def _renal(case: Case, run: Run | None, onset: datetime) -> None:
    if case.course.rrt_at_start:
        return  # already on renal replacement: no new kidney injury (KDIGO 2012)
    stage = case.chance.pick({1: 58, 2: 27, 3: 15})
    replaced = stage == 3 and case.chance.yes(0.6)
    add(case, EventKind.RENAL, onset, run, kidney_stage=stage, renal_replacement=replaced, serious=replaced)


def _graded(kind: EventKind) -> Callable[[Case, Run | None, datetime], None]:
    def draw(case: Case, run: Run | None, onset: datetime) -> None:
        grade = case.chance.pick({MajorMinor.MINOR: 82, MajorMinor.MAJOR: 18})
        add(case, kind, onset, run, severity=grade)

    return draw


DETAILS: dict[EventKind, Callable[[Case, Any, datetime], None]] = {
    EventKind.KINK: _kink,
    EventKind.BLEEDING: _bleeding,
    EventKind.ACCESS_SITE: _access_site,
    EventKind.VASCULAR: _vascular,
    EventKind.LIMB: _limb,
    EventKind.INFECTION: _infection,
    EventKind.NERVE: _nerve,
    EventKind.VISCERAL: _visceral,
    EventKind.NEURO: _neuro,
    EventKind.RENAL: _renal,
    EventKind.HAEMATOLOGICAL: _graded(EventKind.HAEMATOLOGICAL),
    EventKind.ARRHYTHMIA: _graded(EventKind.ARRHYTHMIA),
    EventKind.OTHER: _graded(EventKind.OTHER),
}
