"""One invented case: what drives its story, and the records that tell it."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from registry.choices import Intent, Outcome, RouteGroup, ShockStage
from registry.demo.chance import Chance
from registry.models import (
    Centre,
    Course,
    CourseOutcome,
    DailyCheck,
    Event,
    FailedAttempt,
    FollowUp,
    HaemodynamicSet,
    ListingSpell,
    Mobilisation,
    Patient,
    PlanChange,
    Run,
    Screening,
)

STAGE_WEIGHT = {ShockStage.A: 0.2, ShockStage.B: 0.3, ShockStage.C: 0.8, ShockStage.D: 2.2, ShockStage.E: 4.5}


@dataclass
class Case:
    """``now`` is when the story stops; ``maturity`` runs from 0 to 1 over the programme’s years."""

    chance: Chance
    centre: Centre
    now: datetime
    start: datetime
    maturity: float
    planned: bool
    patient: Patient
    course: Course
    record_number: str
    age: int

    runs: list[Run] = field(default_factory=list)
    attempts: list[FailedAttempt] = field(default_factory=list)
    plans: list[PlanChange] = field(default_factory=list)
    checks: list[DailyCheck] = field(default_factory=list)
    sessions: list[Mobilisation] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)
    visits: list[FollowUp] = field(default_factory=list)
    screening: Screening | None = None
    sets: list[HaemodynamicSet] = field(default_factory=list)
    spells: list[ListingSpell] = field(default_factory=list)
    outcome: CourseOutcome | None = None
    returned: bool = False  # came back for another course, so lived on

    @property
    def zone(self) -> ZoneInfo:
        return self.centre.zone

    @property
    def severity(self) -> float:
        """How ill the patient is: it moves both the choice of route and the outcome."""
        return STAGE_WEIGHT[ShockStage(self.course.shock_stage)] * math.exp(0.025 * (self.age - 58))

    @property
    def plan(self) -> Intent:
        """The plan as it stands."""
        return Intent(self.plans[-1].intent if self.plans else self.course.intent)

    @property
    def is_dead(self) -> bool:
        fatal = (Outcome.DIED, Outcome.WITHDRAWN)
        return self.outcome is not None and self.outcome.outcome in fatal

    @property
    def seen_from(self) -> datetime:
        """From when this programme saw the patient."""
        return self.course.arrived_at or self.start

    @property
    def pumps(self) -> list[Run]:
        return [run for run in self.runs if run.is_balloon_pump]

    @property
    def escalated(self) -> bool:
        return any(not run.is_balloon_pump for run in self.runs)

    def day(self, moment: datetime) -> date:
        """The calendar day at the centre."""
        return moment.astimezone(self.zone).date()

    def end_of(self, run: Run) -> datetime:
        return run.removed_at or self.now

    def days_of(self, run: Run) -> float:
        """Elapsed days in place here."""
        return max((self.end_of(run) - max(run.inserted_at, self.seen_from)) / timedelta(days=1), 0)


def is_axillary(run: Run) -> bool:
    return run.route_group == RouteGroup.AXILLARY
