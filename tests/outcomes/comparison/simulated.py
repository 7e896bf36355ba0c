"""Invented programmes with a known effect of the route, straight as tables: no database is needed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from outcomes.comparison.reading import Facts
from outcomes.comparison.units import AXILLARY, FEMORAL, Programme
from outcomes.dataset import Dataset, codes, deriving
from outcomes.dataset.clinical import TENTHS, WHOLE, YES_NO
from outcomes.dataset.clock import ALWAYS, MINUTES_PER_DAY, NEVER, minute_of
from outcomes.estimators.arrays import Flags, Ints
from registry.choices import EndReason, Intent, Outcome, Relation, ShockStage, Urgency
from registry.choices_events import EventKind
from tests.outcomes.clinical_rows import unrecorded

ZONE = ZoneInfo("Europe/Berlin")
BEGAN = minute_of(datetime(2023, 1, 2, 9, tzinfo=ZONE))
CUT = datetime(2026, 7, 1, tzinfo=UTC)
DAY = MINUTES_PER_DAY
TRANSPLANT, DIED = (codes.OUTCOMES.index(code) for code in (Outcome.TRANSPLANT, Outcome.DIED))
STAGE_C, STAGE_D = (codes.STAGES.index(code) for code in (ShockStage.C, ShockStage.D))
URGENT = codes.URGENCIES.index(Urgency.URGENT)
BLEEDING = codes.KINDS.index(EventKind.BLEEDING)


@dataclass(frozen=True)
class Stories:
    """One row per course: what it is made of. Days are from its first insertion."""

    axillary: Flags
    severe: Flags
    age: Ints
    hit: Flags
    died: Flags
    ended_day: Any
    switched_day: Any
    start: Ints
    sex: Ints


def stories(size: int, seed: int, *, chance_axillary: Any, risk: Any, spread_days: int = 1000) -> Stories:
    """Courses whose route depends on ``chance_axillary(severe, age)``, and whose event on
    ``risk(axillary, severe, age)``; nobody changes route.
    """
    random = np.random.default_rng(seed)
    severe, age = random.random(size) < 0.5, random.integers(30, 75, size)
    axillary = random.random(size) < chance_axillary(severe, age)
    hit = random.random(size) < risk(axillary, severe, age)
    died = random.random(size) < np.where(severe, 0.3, 0.1)
    start = np.sort(BEGAN + (random.random(size) * spread_days * DAY).astype(np.int64))
    ended = 3.0 + random.random(size) * 20.0
    never = np.full(size, np.inf)
    return Stories(axillary, severe, age, hit, died, ended, never, start, random.integers(0, 2, size))


def programme(found: Stories, *, transferred: Flags | None = None, cut_at: datetime = CUT) -> Programme:
    """The tables of those courses, as they stood at the data cut."""
    size = found.start.size
    pk = np.arange(1, size + 1)
    ended = found.start + (found.ended_day * DAY).astype(np.int64)
    course_rows = {
        "pk": pk, "patient": pk.copy(), "centre": np.ones(size, dtype=np.int64),
        "intent": np.full(size, codes.INTENTS.index(Intent.TRANSPLANT)),
        "stage": np.where(found.severe, STAGE_D, STAGE_C),
        "arrived": np.full(size, ALWAYS) if transferred is None
        else np.where(transferred, found.start + DAY // 4, ALWAYS),
        "outcome": np.where(found.died, DIED, TRANSPLANT), "outcome_at": ended,
    }  # fmt: skip
    moved = np.flatnonzero(np.isfinite(found.switched_day))
    run_rows = _runs(found, pk, ended, moved)
    cut = minute_of(cut_at)
    courses, runs = deriving.derive_runs_and_courses(course_rows, run_rows, zone=ZONE, cut=cut)
    empty = np.zeros(0, dtype=np.int64)
    events = deriving.derive_events(_events(found, pk), courses, runs, zone=ZONE, cut=cut)
    bedside, films = deriving.derive_days(
        dict.fromkeys(("pk", "run", "checked_on", "level", "verdict", "action"), empty), runs
    )
    dataset = Dataset(
        centres=("Test",),
        zone=ZONE,
        as_of=None,
        cut_at=cut_at,
        courses=courses,
        runs=runs,
        events=events,
        sessions=deriving.derive_sessions(
            dict.fromkeys(("pk", "course", "started", "level"), empty), courses, cut=cut
        ),
        bedside=bedside,
        films=films,
        attempts=deriving.derive_attempts(
            dict.fromkeys(("pk", "patient", "attempted", "intended", "failure", "followed_by"), empty),
            courses, runs, cut=cut,
        ),
        candidates=deriving.derive_candidates(
            dict.fromkeys(("pk", "considered_on", "route", "reason"), empty)
        ),
        clinical=unrecorded(courses, runs, events),
    )  # fmt: skip
    return Programme(dataset, _facts(found, runs.size, transferred))


def _runs(found: Stories, pk: Ints, ended: Ints, moved: Ints) -> dict[str, Ints]:
    """First runs, cut at the change of route, and the runs after it."""
    switched = found.start[moved] + (found.switched_day[moved] * DAY).astype(np.int64)
    first_end = ended.copy()
    first_end[moved] = switched
    size, more = pk.size, moved.size
    exchange = codes.END_REASONS.index(EndReason.EXCHANGE)
    reasons = np.full(size, codes.END_REASONS.index(EndReason.TRANSPLANT))
    reasons[moved] = exchange
    return {
        "pk": np.arange(1, size + more + 1),
        "course": np.concatenate([pk, pk[moved]]),
        "patient": np.concatenate([pk, pk[moved]]),
        "run_no": np.concatenate([np.ones(size, dtype=np.int64), np.full(more, 2)]),
        "replaces": np.concatenate([np.zeros(size, dtype=np.int64), pk[moved]]),
        "inserted": np.concatenate([found.start, switched]),
        "removed": np.concatenate([first_end, ended[moved]]),
        "route": np.concatenate([np.where(found.axillary, AXILLARY, FEMORAL), np.full(more, AXILLARY)]),
        "device": np.full(size + more, codes.BALLOON_PUMP),
        "relation": np.concatenate(
            [
                np.full(size, codes.RELATIONS.index(Relation.FIRST)),
                np.full(more, codes.RELATIONS.index(Relation.CROSSOVER)),
            ]
        ),
        "exchange_reason": np.full(size + more, -1),
        "end_reason": np.concatenate([reasons, np.full(more, codes.END_REASONS.index(EndReason.TRANSPLANT))]),
        "balloon_ml": np.full(size + more, 40),
    }


def _events(found: Stories, pk: Ints) -> dict[str, Ints]:
    """A serious bleed on the second day of those that are hit."""
    hit = np.flatnonzero(found.hit)
    none = np.full(hit.size, -1)
    return {
        "pk": np.arange(1, hit.size + 1), "course": pk[hit], "named_run": np.zeros(hit.size, dtype=np.int64),
        "kind": np.full(hit.size, BLEEDING), "onset": found.start[hit] + DAY,
        "precision": np.zeros(hit.size, dtype=np.int64), "serious": np.ones(hit.size, dtype=np.int64),
        "review": np.zeros(hit.size, dtype=np.int64), "failure": none, "kink_site": none.copy(),
        "detail": none.copy(),
    }  # fmt: skip


def _facts(found: Stories, runs: int, transferred: Flags | None) -> Facts:
    size = found.start.size
    unknown = np.full(size, -1)
    years = 1970 + found.start // (365 * DAY + DAY // 4)
    return Facts(
        course={
            **dict.fromkeys((*YES_NO, *TENTHS, *WHOLE), unknown),
            "sex": found.sex,
            "birth_year": years - found.age,
            "aetiology": np.zeros(size, dtype=np.int64),
            "presentation": unknown,
            "admitted": np.full(size, NEVER),
            "transferred": np.zeros(size, dtype=np.int64) if transferred is None else transferred * 1,
        },
        run={"access": np.zeros(runs, dtype=np.int64), "urgency": np.full(runs, URGENT)},
        attempt={"access": np.zeros(0, dtype=np.int64), "urgency": np.zeros(0, dtype=np.int64)},
    )
