"""The invented programme: its hospital, its three years and its people."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from registry.choices import (
    AccessMethod,
    AttemptFailure,
    DeclineReason,
    FilmVerdict,
    Guidance,
    Intent,
    Location,
    Outcome,
    PositionAction,
    Role,
    Route,
    RouteGroup,
    Urgency,
)
from registry.demo import (
    aftermath,
    course,
    days,
    harm,
    labels,
    laboratory,
    listing,
    pressures,
    procedure,
    risk,
    screening,
)
from registry.demo.case import Case, is_axillary
from registry.demo.chance import Chance, at_clock
from registry.demo.patients import new_case, new_patient
from registry.models import Candidate, Centre, FailedAttempt, Patient

YEARS_DAYS = 3 * 365
FINISHED_CASES = 140
FIRST_NUMBER = 401
# Days since the first device of the patients still supported today, and whether it was planned.
SUPPORTED_NOW = ((2, False), (4, True), (8, True), (12, True), (17, False), (24, True))
PASSWORD = "not-for-real-patients"  # noqa: S105 - printed on purpose: the demonstration's own
ACCOUNTS = {
    "coordinator": Role.COORDINATOR,
    "physician": Role.PHYSICIAN,
    "committee": Role.COMMITTEE,
    "administrator": Role.ADMINISTRATOR,
}


@dataclass
class Story:
    """Everything that the demonstration holds, not saved yet."""

    centre: Centre
    now: datetime
    cases: list[Case] = field(default_factory=list)
    unplaced: list[tuple[Patient, str, FailedAttempt]] = field(default_factory=list)
    candidates: list[Candidate] = field(default_factory=list)

    @property
    def began_at(self) -> datetime:
        return self.now - timedelta(days=YEARS_DAYS)


def new_centre() -> Centre:
    """An invented hospital in an invented town."""
    return Centre(
        code="HB",
        name="Harnbeck Heart Centre",
        time_zone="Europe/Berlin",
        extended_groups=[
            *("baseline", "risk", "labs", "screening", "procedure"),
            *("device", "removal", "film", "haemodynamics", "listing"),
        ],
    )


def tell(today: date, seed: int) -> Story:
    """The whole story up to the first minute of ``today``; the same for the same ``today`` and ``seed``."""
    centre = new_centre()
    now = datetime.combine(today, time(0, 0), centre.zone).astimezone(UTC)
    story = Story(centre, now)
    _Teller(story, seed).tell()
    return story


class _Teller:
    """Fills a story, one stream of chance for each case."""

    def __init__(self, story: Story, seed: int) -> None:
        self.story, self.seed = story, seed
        self.chance = Chance(f"{seed}/programme")

    def tell(self) -> None:
        self._finished()
        self._across_clock_changes()
        self._supported_now()
        self._second_course()
        self._without_a_pump()
        self._number()
        self._oddities()
        self._extended()
        self._candidates()

    # Cases

    def _case(self, start: datetime, planned: bool, accept: Callable[[Case], bool]) -> Case:
        """A case that began at ``start`` and fits; chance is asked again until one does."""
        story, place = self.story, len(self.story.cases)
        for attempt in range(1000):
            chance = Chance(f"{self.seed}/{place}/{attempt}")
            person = new_patient(chance, story.centre, "", start.year)
            case = self._begin(chance, person, start, planned)
            course.live(case)
            if accept(case):
                story.cases.append(case)
                return case
        raise RuntimeError("no case fits")

    def _begin(
        self, chance: Chance, person: tuple[Patient, int, str], start: datetime, planned: bool
    ) -> Case:
        maturity = (start - self.story.began_at) / timedelta(days=YEARS_DAYS)
        moment = self._procedure_time(chance, start) if planned else start
        return new_case(chance, person, now=self.story.now, start=moment, maturity=maturity, planned=planned)

    def _procedure_time(self, chance: Chance, start: datetime) -> datetime:
        """Planned procedures are done on working days."""
        zone = self.story.centre.zone
        weekday = start.astimezone(zone).weekday()
        shifted = start - timedelta(days=max(weekday - 4, 0))
        return at_clock(shifted, chance.randint(8, 15), chance.randint(0, 59), zone)

    def _finished(self) -> None:
        """Courses that are over; a few more each year."""
        latest = YEARS_DAYS - 4
        starts = sorted(3 + (latest - 3) * self.chance.random() ** 0.85 for _ in range(FINISHED_CASES))
        for days_in in starts:
            start = self.story.began_at + timedelta(minutes=round(days_in * 24 * 60))
            self._case(start, self.chance.yes(0.5), lambda case: case.outcome is not None)

    def _across_clock_changes(self) -> None:
        """An axillary pump in place through the latest night of each kind of clock change."""
        zone = self.story.centre.zone
        for night in clock_change_nights(zone, self.story.now - timedelta(days=25)):
            midnight = datetime.combine(night, time(0, 0), zone).astimezone(UTC)

            def spans(case: Case, midnight: datetime = midnight) -> bool:
                over = midnight + timedelta(days=2)
                return case.outcome is not None and any(
                    is_axillary(run) and run.inserted_at < midnight and case.end_of(run) > over
                    for run in case.pumps
                )

            self._case(midnight - timedelta(days=3), True, spans)

    def _supported_now(self) -> None:
        for days_ago, planned in SUPPORTED_NOW:
            start = self.story.now - timedelta(days=days_ago, hours=self.chance.randint(1, 9))
            self._case(start, planned, lambda case: case.outcome is None and bool(case.pumps))

    def _second_course(self) -> None:
        """A patient weaned once comes back months later."""
        for first in self.story.cases:
            weaned = first.outcome is not None and first.outcome.outcome == Outcome.WEANED
            if not weaned or first.start < self.story.began_at + timedelta(days=200):
                continue
            assert first.outcome is not None
            start = first.outcome.occurred_at + timedelta(days=118, hours=3)
            person = first.patient, first.age, first.record_number
            case = self._begin(Chance(f"{self.seed}/again"), person, start, True)
            case.course.course_no, case.course.intent = 2, Intent.TRANSPLANT
            course.live(case)
            if case.outcome is not None:
                first.returned = True
                self.story.cases.append(case)
                return

    def _without_a_pump(self) -> None:
        """Axillary attempts after which no pump was placed at all."""
        chance, story = self.chance, self.story
        for share in (0.12, 0.4, 0.71, 0.9):
            at = self._procedure_time(chance, story.began_at + timedelta(days=YEARS_DAYS * share))
            patient, _, number = new_patient(chance, story.centre, "", at.year)
            why = chance.pick(
                {AttemptFailure.VESSEL_SMALL: 50, AttemptFailure.WIRE: 30, AttemptFailure.NO_PUNCTURE: 20}
            )
            story.unplaced.append((patient, number, attempt(chance, patient, at, Route.AXILLARY_LEFT, why)))

    # What completes the story

    def _number(self) -> None:
        """Study numbers in the order of first contact; then the details that hang on each case."""
        story = self.story
        firsts: dict[int, tuple[datetime, Patient]] = {}
        for case in story.cases:
            firsts.setdefault(id(case.patient), (case.start, case.patient))
        for patient, _, failed in story.unplaced:
            firsts[id(patient)] = (failed.attempted_at, patient)
        ordered = sorted(firsts.values(), key=lambda pair: pair[0])
        for number, (_, patient) in enumerate(ordered, start=FIRST_NUMBER):
            patient.study_no = f"HB-{number:04d}"
        for case in story.cases:
            _complete(case, self._forgotten(case))

    def _forgotten(self, case: Case) -> frozenset[date]:
        """Days whose row is still missing with the patients in the house."""
        today = case.day(self.story.now)
        if case.outcome is not None:
            return frozenset()
        place = self.story.cases.index(case) % 3
        return frozenset({0: [today - timedelta(days=1)], 1: [today - timedelta(days=3)]}.get(place, []))

    def _oddities(self) -> None:
        """A device that looks expired, and a film too high without the event that should follow."""
        expired = next(case for case in self.story.cases[60:] if case.pumps[0].expires_on)
        pump = expired.pumps[0]
        pump.expires_on = expired.day(pump.inserted_at) - timedelta(days=4)
        waiting = [case for case in self.story.cases if case.outcome is None and is_axillary(case.pumps[-1])]
        for case in waiting[:2]:
            check = next(
                check for check in reversed(case.checks) if check.film_verdict == FilmVerdict.ACCEPTABLE
            )
            check.film_verdict, check.position_action = FilmVerdict.HIGH, PositionAction.BEDSIDE
            check.cranial_marker_mm = 34
        waiting[-1].course.lvef_pct = 48  # unusual, and nobody has said why yet

    def _extended(self) -> None:
        """The groups that the programme switched on, each from a stream of its own."""
        for place, case in enumerate(self.story.cases):
            for name, fill in EXTENDED.items():
                fill(case, Chance(f"{self.seed}/{place}/{name}"))
            labels.stick(case)

    def _candidates(self) -> None:
        chance, story = self.chance, self.story
        days_in = sorted(chance.uniform(5, YEARS_DAYS - 2) for _ in range(38))
        for line_no, offset in enumerate(days_in, start=1):
            route = chance.pick({RouteGroup.AXILLARY: 62, RouteGroup.FEMORAL: 38})
            story.candidates.append(
                Candidate(
                    centre=story.centre,
                    line_no=line_no,
                    considered_on=(story.began_at + timedelta(days=offset))
                    .astimezone(story.centre.zone)
                    .date(),
                    route=route,
                    reason=chance.pick(DECLINED[route]),
                )
            )
        for line in story.candidates:
            words = Chance(f"{self.seed}/considered/{line.line_no}")
            line.note = words.kept(words.among(NOTED[DeclineReason(line.reason)]), 0.3) or ""


# In this order: the reasons for a route look at the risks, the laboratory at what happened.
EXTENDED: dict[str, Callable[[Case, Chance], None]] = {
    "risk": risk.describe,
    "screening": screening.assess,
    "procedure": procedure.carry_out,
    "laboratory": laboratory.draw_blood,
    "pressures": pressures.measure,
    "listing": listing.enlist,
}
DECLINED: dict[RouteGroup, dict[DeclineReason, float]] = {
    RouteGroup.AXILLARY: {
        DeclineReason.VESSEL: 38,
        DeclineReason.TOO_WELL: 16,
        DeclineReason.OTHER_THERAPY: 16,
        DeclineReason.TOO_SICK: 12,
        DeclineReason.REFUSED: 8,
        DeclineReason.AORTIC_VALVE: 6,
        DeclineReason.DIED: 4,
    },
    RouteGroup.FEMORAL: {
        DeclineReason.TOO_SICK: 40,
        DeclineReason.DIED: 20,
        DeclineReason.AORTIC_VALVE: 14,
        DeclineReason.AORTA: 14,
        DeclineReason.TOO_WELL: 12,
    },
}

NOTED: dict[DeclineReason, tuple[str, ...]] = {
    DeclineReason.VESSEL: (
        "Left axillary lumen 4.8 mm on CT, right no wider.",
        "Left subclavian stenosis of 70 % on duplex.",
        "Left arm feeds a mammary graft; right side taken by leads.",
    ),
    DeclineReason.TOO_WELL: ("Off the inotrope two days later.", "Wedge pressure fell with diuresis."),
    DeclineReason.OTHER_THERAPY: ("Durable pump the same week.", "An offered heart came first."),
    DeclineReason.TOO_SICK: ("Straight to greater support.", "Lactate rose within the hour."),
    DeclineReason.REFUSED: ("Wished for no device; plan kept with the family.",),
    DeclineReason.AORTIC_VALVE: ("Moderate aortic regurgitation on echo.",),
    DeclineReason.AORTA: ("Aneurysm of the descending aorta on CT.", "Severely tortuous aorta."),
    DeclineReason.DIED: ("Before the team could meet.",),
}


def attempt(
    chance: Chance, patient: Patient, at: datetime, route: Route, why: AttemptFailure
) -> FailedAttempt:
    """A failed attempt by that route."""
    return FailedAttempt(
        centre=patient.centre,
        patient=patient,
        attempted_at=at,
        intended_route=route,
        access_method=AccessMethod.PERCUTANEOUS,
        guidance=[Guidance.ULTRASOUND, Guidance.FLUOROSCOPY],
        operator_code=chance.pick({"OP1": 40, "OP2": 34, "OP3": 26}),
        location=Location.CATH_LAB,
        urgency=Urgency.URGENT,
        failure=why,
    )


def _complete(case: Case, forgotten: frozenset[date]) -> None:
    harm.suffer(case)
    days.watch(case, forgotten=forgotten)
    aftermath.follow(case)
    _failed_before(case)
    case.events.sort(key=lambda event: event.onset_at)
    for number, event in enumerate(case.events, start=1):
        event.event_no = number


def _failed_before(case: Case) -> None:
    """Some patients have their pump by another way than was tried first."""
    chance, run = case.chance, case.runs[0]
    if case.course.transferred_in:
        return
    if is_axillary(run):
        intended, share = Route.AXILLARY_LEFT, 0.5 if run.route == Route.AXILLARY_RIGHT else 0
    else:
        intended, share = Route.AXILLARY_LEFT, 0.3 if case.planned else 0
    if chance.yes(share):
        at = run.inserted_at - timedelta(minutes=chance.randint(25, 80))
        why = chance.pick(
            {AttemptFailure.WIRE: 40, AttemptFailure.VESSEL_SMALL: 30, AttemptFailure.SHEATH: 30}
        )
        failed = attempt(chance, case.patient, at, intended, why)
        failed.followed_by = run
        case.attempts.append(failed)


def clock_change_nights(zone: ZoneInfo, before: datetime) -> list[date]:
    """The latest date of each kind of clock change before that moment."""
    found: dict[bool, date] = {}
    noon = before.astimezone(zone).replace(hour=12, minute=0)
    for back in range(366):
        day = noon.date() - timedelta(days=back)
        now, earlier = (datetime.combine(day - timedelta(days=n), time(12), zone).utcoffset() for n in (0, 1))
        assert now is not None
        assert earlier is not None
        if now != earlier:
            found.setdefault(now > earlier, day)
    return sorted(found.values())
