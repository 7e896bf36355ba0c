"""The daily rows and mobilisation sessions of each pump."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from registry.choices import EndReason, ExchangeReason, FilmVerdict, PositionAction, ShockStage
from registry.choices_events import (
    OUT_OF_BED_LEVEL,
    WALK_LEVEL,
    AssistRatio,
    DuringMobilisation,
    EventKind,
    KinkSeen,
    LimbNeuro,
    NotMobilised,
    Pulse,
    RepositionMove,
    RepositionPlace,
    RepositionTrigger,
    Rutherford,
    SiteState,
)
from registry.demo import harm
from registry.demo.case import Case, is_axillary
from registry.models import DailyCheck, Event, Mobilisation, Run

WORST_LEVEL_FOR_SESSION = 3
PAUSES = {
    DuringMobilisation.HYPOTENSION: 30,
    DuringMobilisation.ALARM: 30,
    DuringMobilisation.AUGMENTATION: 20,
    DuringMobilisation.MIGRATION: 15,
    DuringMobilisation.LINE_PULL: 5,
}
THREATENED = {
    Rutherford.I: (Pulse.DOPPLER, LimbNeuro.NORMAL),
    Rutherford.IIA: (Pulse.ABSENT, LimbNeuro.NORMAL),
    Rutherford.IIB: (Pulse.ABSENT, LimbNeuro.MOTOR),
}
MOVES = {FilmVerdict.HIGH: RepositionMove.WITHDRAWN, FilmVerdict.LOW: RepositionMove.ADVANCED}


@dataclass(frozen=True)
class Ward:
    """One calendar day of one pump: ``number`` counts from the day of insertion, which is 0."""

    case: Case
    run: Run
    on: date
    number: int

    def at(self, hour: int, minute: int) -> datetime:
        return datetime.combine(self.on, time(hour, minute), self.case.zone)

    @property
    def is_last(self) -> bool:
        return self.run.removed_at is not None and self.case.day(self.run.removed_at) == self.on


def watch(case: Case, *, forgotten: frozenset[date] = frozenset()) -> None:
    """A row for every calendar day with a pump in place here; a few are missing, and those ``forgotten``."""
    for run in case.pumps:
        for ward in _days(case, run):
            lost = ward.on in forgotten or case.chance.yes(0.012)
            check = _row(ward)
            if not lost:
                case.checks.append(check)


def _days(case: Case, run: Run) -> list[Ward]:
    inserted_on = case.day(run.inserted_at)
    first = max(inserted_on, case.day(case.seen_from))
    last = case.day(case.end_of(run) - timedelta(seconds=1))
    days = (first + timedelta(days=n) for n in range((last - first).days + 1))
    return [Ward(case, run, on, (on - inserted_on).days) for on in days]


def _row(ward: Ward) -> DailyCheck:
    check = DailyCheck(run=ward.run, checked_on=ward.on)
    check.assist_ratio = _ratio(ward)
    _film(ward, check)
    _limb(ward, check)
    _site(ward, check)
    _mobility(ward, check)
    return check


def _ratio(ward: Ward) -> AssistRatio:
    weaned = ward.run.end_reason == EndReason.WEANED and ward.run.removed_at is not None
    if weaned and ward.number:
        left = (ward.case.day(ward.case.end_of(ward.run)) - ward.on).days
        return {0: AssistRatio.R13, 1: AssistRatio.R12}.get(left, AssistRatio.R11)
    return AssistRatio.R11 if ward.case.chance.yes(0.985) else AssistRatio.R12


# Position


def _film(ward: Ward, check: DailyCheck) -> None:
    chance = ward.case.chance
    if _moved_by_exchange(ward):
        check.film_verdict = chance.pick({FilmVerdict.HIGH: 40, FilmVerdict.LOW: 40, FilmVerdict.ROTATED: 20})
        check.position_action = PositionAction.EXCHANGE
    elif ward.number == 0 or chance.yes(0.8):
        _read_film(ward, check)
    if check.film_verdict and chance.yes(0.9):
        check.cranial_marker_mm = _marker(ward, check.film_verdict)


def _moved_by_exchange(ward: Ward) -> bool:
    return any(run.exchange_reason == ExchangeReason.MALPOSITION for run in _replaced_by(ward))


def _replaced_by(ward: Ward) -> list[Run]:
    """The device that took over from this one on this day, if any."""
    return [run for run in ward.case.runs if ward.is_last and run.replaces is ward.run]


def _read_film(ward: Ward, check: DailyCheck) -> None:
    chance = ward.case.chance
    off = (0.09 if ward.number <= 3 else 0.045) if is_axillary(ward.run) else 0.018
    if not chance.yes(off):
        check.film_verdict = FilmVerdict.CANNOT_TELL if chance.yes(0.01) else FilmVerdict.ACCEPTABLE
        if check.film_verdict == FilmVerdict.CANNOT_TELL:
            check.position_action = PositionAction.OBSERVE
        return
    check.film_verdict = chance.pick({FilmVerdict.HIGH: 46, FilmVerdict.LOW: 48, FilmVerdict.ROTATED: 6})
    act = chance.pick(
        {
            PositionAction.BEDSIDE: 62,
            PositionAction.FLUOROSCOPY: 24,
            PositionAction.OBSERVE: 13,
            PositionAction.NONE: 1,
        }
    )
    check.position_action = act
    # Now and then nobody writes the event: the coordinator has to ask.
    if act in (PositionAction.BEDSIDE, PositionAction.FLUOROSCOPY) and chance.yes(0.96):
        _reposition(ward, check)


def _marker(ward: Ward, verdict: str) -> int:
    chance = ward.case.chance
    if verdict == FilmVerdict.HIGH:
        return chance.whole(33, 4, 26, 40)
    if verdict == FilmVerdict.LOW:
        return chance.whole(-14, 4, -20, -6)
    return chance.whole(10, 6, -5, 25)


def _reposition(ward: Ward, check: DailyCheck) -> None:
    case, chance = ward.case, ward.case.chance
    onset = ward.at(chance.randint(9, 20), chance.randint(0, 59))
    if not ward.run.inserted_at < onset < min(case.end_of(ward.run), case.now):
        return
    bedside = check.position_action == PositionAction.BEDSIDE
    blind = bedside and chance.yes(0.3)
    place = RepositionPlace.BEDSIDE_BLIND if blind else RepositionPlace.BEDSIDE_FILM
    harm.add(
        case,
        EventKind.REPOSITION,
        onset,
        ward.run,
        trigger=chance.pick(
            {
                RepositionTrigger.FILM: 78,
                RepositionTrigger.LOW_AUGMENTATION: 12,
                RepositionTrigger.AFTER_MOBILISATION: 10,
            }
        ),
        moved=MOVES.get(FilmVerdict(check.film_verdict), RepositionMove.UNFOLDED),
        place=place if bedside else RepositionPlace.FLUOROSCOPY,
        reposition_success=chance.yes(0.9),
        from_mm=_marker(ward, check.film_verdict) if chance.yes(0.8) else None,
        to_mm=_marker(ward, FilmVerdict.ACCEPTABLE) if chance.yes(0.8) else None,
    )


# Site and limb


def _events(ward: Ward, kind: EventKind) -> list[Event]:
    return [event for event in ward.case.events if event.kind == kind and event.run is ward.run]


def _since(ward: Ward, kind: EventKind, days: int) -> bool:
    ages = ((ward.on - ward.case.day(event.onset_at)).days for event in _events(ward, kind))
    return any(0 <= age <= days for age in ages)


def _limb(ward: Ward, check: DailyCheck) -> None:
    chance = ward.case.chance
    weak = 0.05 if is_axillary(ward.run) else 0.16
    check.pulse = Pulse.DOPPLER if chance.yes(weak) else Pulse.PRESENT
    check.limb_neuro = LimbNeuro.NORMAL
    for event in _events(ward, EventKind.LIMB):
        if (ward.on - ward.case.day(event.onset_at)).days in (0, 1):
            check.pulse, check.limb_neuro = THREATENED[Rutherford(event.rutherford)]
    if _since(ward, EventKind.NERVE, 4):
        check.limb_neuro = LimbNeuro.SENSORY
    check.kink_seen = KinkSeen.NONE
    for event in _events(ward, EventKind.KINK):
        if event.kink_site and ward.case.day(event.onset_at) == ward.on:
            check.kink_seen = event.kink_site


def _site(ward: Ward, check: DailyCheck) -> None:
    chance = ward.case.chance
    seen = {
        SiteState.OOZE: _since(ward, EventKind.BLEEDING, 1) or chance.yes(0.04),
        SiteState.HAEMATOMA: _since(ward, EventKind.ACCESS_SITE, 4),
        SiteState.ERYTHEMA: chance.yes(0.012),
        SiteState.TENDER: chance.yes(0.02),
    }
    check.site = [state for state, there in seen.items() if there] or [SiteState.CLEAN]


# Mobility


def _mobility(ward: Ward, check: DailyCheck) -> None:
    reason = _reason_for_bed(ward)
    level = 0 if reason else _level(ward)
    slots = _slots(ward) if level >= WORST_LEVEL_FOR_SESSION else []
    if level >= WORST_LEVEL_FOR_SESSION and not slots:
        reason = NotMobilised.PROCEDURE
    if reason:
        check.not_mobilised = reason
        return
    if ward.case.chance.yes(0.985):
        check.mobility_best = level
    _sessions(ward, level, slots)


def _reason_for_bed(ward: Ward) -> str:
    """Why the patient stayed in bed that day; empty when not."""
    chance, stage = ward.case.chance, ward.case.course.shock_stage
    course_day = (ward.on - ward.case.day(ward.case.start)).days
    sick_days = {ShockStage.D: 2, ShockStage.E: 5}.get(ShockStage(stage), 0)
    if ward.case.escalated and ward.number > 0:
        return NotMobilised.SEDATED if chance.yes(0.6) else NotMobilised.UNSTABLE
    if course_day < sick_days:
        return NotMobilised.SEDATED if ward.case.course.ventilated else NotMobilised.UNSTABLE
    if _replaced_by(ward) or (ward.number == 0 and chance.yes(0.7)):
        return NotMobilised.PROCEDURE
    if not is_axillary(ward.run):
        return NotMobilised.FEMORAL_POLICY if chance.yes(0.66 - 0.35 * ward.case.maturity) else ""
    kept = {
        NotMobilised.UNSTABLE: 40,
        NotMobilised.STAFFING: 26,
        NotMobilised.REFUSED: 18,
        NotMobilised.PAIN: 16,
    }
    return chance.pick(kept) if chance.yes(0.11) else ""


def _level(ward: Ward) -> int:
    """ICU Mobility Scale: early walking with the axillary route, mostly bed with the femoral one."""
    chance = ward.case.chance
    if is_axillary(ward.run):
        mean = 5.3 + 0.8 * min(ward.number, 4) - 0.5 * min(ward.case.severity, 3)
        return chance.whole(mean, 1.3, 1, 9)
    allowed = ward.case.maturity > 0.6 and ward.number >= 2 and ward.case.severity < 1.5
    if allowed and chance.yes(0.35):  # a walking protocol came in the last year
        return chance.pick({3: 30, 4: 34, 5: 20, 7: 16})
    return chance.pick({0: 40, 1: 44, 2: 16})


def _slots(ward: Ward) -> list[datetime]:
    """Times of day for a session while the pump lies in place."""
    minute = ward.case.chance.randint(0, 59)
    times = [ward.at(9, minute), ward.at(13, minute), ward.at(16, minute)]
    first, last = ward.run.inserted_at + timedelta(hours=3), ward.case.end_of(ward.run)
    return [moment for moment in times if first < moment < min(last, ward.case.now)]


def _sessions(ward: Ward, best: int, slots: list[datetime]) -> None:
    chance = ward.case.chance
    wanted = chance.pick({1: 25, 2: 50, 3: 25} if best >= OUT_OF_BED_LEVEL else {1: 100})
    for place, moment in enumerate(slots[:wanted]):
        level = best if place == 0 else max(best - chance.pick({0: 60, 1: 40}), 1)
        ward.case.sessions.append(_session(ward, moment, level))


def _session(ward: Ward, moment: datetime, level: int) -> Mobilisation:
    chance = ward.case.chance
    walked = level >= WALK_LEVEL
    during = chance.pick(PAUSES) if chance.yes(0.045) else DuringMobilisation.NONE
    return Mobilisation(
        course=ward.case.course,
        started_at=moment,
        level=level,
        distance_m=chance.whole(60 + 18 * min(ward.number, 12), 40, 5, 560) if walked else None,
        during=[during],
    )
