"""Datasets without a database: rows as they would be read, with defaults for what a test does not care
about.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from outcomes.dataset import Dataset, codes, deriving
from outcomes.dataset.clock import ALWAYS, MINUTES_PER_DAY, NEVER, minute_of
from outcomes.estimators.arrays import Ints
from outcomes.period import Period
from outcomes.report import Report, build_report
from registry.choices import DeviceClass, EndReason, ExchangeReason, Intent, Outcome, Relation, RouteGroup
from registry.choices_events import EventKind, Failure, KinkSite
from tests.outcomes.clinical_rows import unrecorded

Row = dict[str, Any]
ZONE = ZoneInfo("Europe/Berlin")
ORIGIN = minute_of(datetime(2026, 1, 1, 12, tzinfo=ZONE))  # noon of the first day of the year
CUT = datetime(2026, 7, 1, tzinfo=UTC)

AXILLARY, FEMORAL, OTHER = range(3)

COURSE: Row = {
    "pk": 0, "patient": 0, "centre": 1, "intent": codes.INTENTS.index(Intent.TRANSPLANT), "stage": 2,
    "arrived": ALWAYS, "outcome": codes.UNRECORDED, "outcome_at": NEVER,
}  # fmt: skip
RUN: Row = {
    "pk": 0, "course": 0, "patient": 0, "run_no": 1, "replaces": 0, "inserted": ORIGIN, "removed": NEVER,
    "route": AXILLARY, "device": codes.BALLOON_PUMP, "relation": codes.RELATIONS.index(Relation.FIRST),
    "exchange_reason": codes.UNRECORDED, "end_reason": codes.UNRECORDED, "balloon_ml": 40,
}  # fmt: skip
EVENT: Row = {
    "pk": 0, "course": 0, "named_run": 0, "kind": 0, "onset": ORIGIN, "precision": 0, "serious": 0,
    "review": 0, "failure": codes.UNRECORDED, "kink_site": codes.UNRECORDED,
    "detail": codes.UNRECORDED,
}  # fmt: skip
SESSION: Row = {"pk": 0, "course": 0, "started": ORIGIN, "level": 0}
DAY: Row = {
    "pk": 0, "run": 0, "checked_on": 0, "level": codes.UNRECORDED, "verdict": codes.UNRECORDED,
    "action": codes.UNRECORDED,
}  # fmt: skip
ATTEMPT: Row = {
    "pk": 0,
    "patient": 0,
    "attempted": ORIGIN,
    "intended": AXILLARY,
    "followed_by": 0,
    "failure": 0,
}
CANDIDATE: Row = {"pk": 0, "considered_on": 0, "route": AXILLARY, "reason": 0}


def day(number: float) -> int:
    """The minute that lies so many days after noon of 01-Jan-2026."""
    return ORIGIN + round(number * MINUTES_PER_DAY)


def outcome(code: Outcome) -> int:
    return codes.OUTCOMES.index(code)


def intent(code: Intent) -> int:
    return codes.INTENTS.index(code)


def kind(code: EventKind) -> int:
    return codes.KINDS.index(code)


def relation(code: Relation) -> int:
    return codes.RELATIONS.index(code)


def exchange_reason(code: ExchangeReason) -> int:
    return codes.EXCHANGE_REASONS.index(code)


def end_reason(code: EndReason) -> int:
    return codes.END_REASONS.index(code)


def device(code: DeviceClass) -> int:
    return codes.DEVICES.index(code)


def failure(code: Failure) -> int:
    return codes.FAILURES.index(code)


def kink_site(code: KinkSite) -> int:
    return codes.KINK_SITES.index(code)


def route(group: RouteGroup) -> int:
    return codes.ROUTES.index(group)


def columns(rows: Iterable[Row], default: Row) -> dict[str, Ints]:
    """Columns of the rows; ``pk`` numbers them from 1 unless they say otherwise."""
    full = [
        {**default, **({"pk": number} if "pk" in default else {}), **row}
        for number, row in enumerate(rows, 1)
    ]
    return {name: np.array([row[name] for row in full], dtype=np.int64) for name in default}


def dataset(
    courses: Iterable[Row],
    runs: Iterable[Row],
    *,
    events: Iterable[Row] = (),
    sessions: Iterable[Row] = (),
    days: Iterable[Row] = (),
    attempts: Iterable[Row] = (),
    candidates: Iterable[Row] = (),
    cut_at: datetime = CUT,
    zone: ZoneInfo = ZONE,
) -> Dataset:
    """A dataset of these rows. A run takes the patient of its course, which is that of the course's own
    number.
    """
    cut = minute_of(cut_at)
    course_rows = columns(({"patient": n, **row} for n, row in enumerate(courses, 1)), COURSE)
    owner = dict(zip(course_rows["pk"].tolist(), course_rows["patient"].tolist(), strict=True))
    run_rows = columns(({"patient": owner[row["course"]], **row} for row in runs), RUN)
    course_table, run_table = deriving.derive_runs_and_courses(course_rows, run_rows, zone=zone, cut=cut)
    event_table = deriving.derive_events(columns(events, EVENT), course_table, run_table, zone=zone, cut=cut)
    bedside, films = deriving.derive_days(columns(days, DAY), run_table)
    return Dataset(
        centres=("Test",),
        zone=zone,
        as_of=None,
        cut_at=cut_at,
        courses=course_table,
        runs=run_table,
        events=event_table,
        sessions=deriving.derive_sessions(columns(sessions, SESSION), course_table, cut=cut),
        bedside=bedside,
        films=films,
        attempts=deriving.derive_attempts(columns(attempts, ATTEMPT), course_table, run_table, cut=cut),
        candidates=deriving.derive_candidates(columns(candidates, CANDIDATE)),
        clinical=unrecorded(course_table, run_table, event_table),
    )


def report(data: Dataset, period: str = "2026-Q1") -> Report:
    return build_report(dataset=data, period=Period.parse(period, data.zone))


def courses_with_outcomes(
    counts: dict[Outcome, int], *, days: float = 10.9, **run: Any
) -> tuple[list[Row], list[Row]]:
    """So many courses with each outcome, one run each, all of one length."""
    ends = [code for code, count in counts.items() for _ in range(count)]
    courses = [{"outcome": outcome(code), "outcome_at": day(days)} for code in ends]
    runs = [
        {"course": n, "removed": day(days), "end_reason": end_reason(EndReason.WEANED), **run}
        for n in range(1, len(ends) + 1)
    ]
    return courses, runs
