"""A second, slow reading of docs/measures.md: exported tables in, every figure out, by key.

Written from the definitions alone, row by row, without a line of the code it checks. Times stay date-times
until they are written; days on a clock are hours divided by 24.
"""

from __future__ import annotations

import csv
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from functools import cache
from operator import attrgetter, itemgetter
from pathlib import Path
from typing import TypeVar
from zoneinfo import ZoneInfo

from tests.outcomes.recomputing import curves
from tests.outcomes.recomputing.curves import Curve

DAY = timedelta(days=1)
GROUPS = ("AXILLARY", "FEMORAL", "ALL")
Cells = dict[str, str]


@dataclass(frozen=True)
class Figure:
    """What a figure must say; None where the report must say nothing."""

    numerator: float
    denominator: float | None = None
    estimate: float | None = None
    lower: float | None = None
    upper: float | None = None


@dataclass(frozen=True)
class Run:
    """One catheter, with the time it was under observation here."""

    patient: str
    course: tuple[str, str]
    number: str
    inserted_at: datetime
    removed_at: datetime | None
    seen_from: datetime
    seen_until: datetime
    died_at: datetime | None
    is_pump: bool
    route: str
    cells: Cells = field(repr=False)

    def days(self, start: datetime, end: datetime) -> float:
        """Elapsed days in place, under observation, between two moments."""
        return max(min(self.seen_until, end) - max(self.seen_from, start), timedelta()) / DAY

    @property
    def is_seen(self) -> bool:
        """Whether it was still in place when the patient arrived here."""
        return self.seen_from <= self.seen_until

    @property
    def at_risk_until(self) -> datetime:
        """Closure harm within a day of the end counts with the run, but nobody dead is at risk."""
        day_after = self.seen_until + DAY
        return min(day_after, max(self.died_at, self.seen_until)) if self.died_at else day_after


@dataclass(frozen=True)
class Course:
    """One episode of support with its runs in the order of insertion."""

    key: tuple[str, str]
    intent: str
    came_with_it: bool
    seen_from: datetime
    outcome: str
    ended_at: datetime | None
    runs: list[Run]

    @property
    def route(self) -> str:
        return self.runs[0].route

    @property
    def started_at(self) -> datetime:
        return self.runs[0].inserted_at

    @property
    def is_seen(self) -> bool:
        """Whether it was not over before the patient arrived here."""
        last = max(run.seen_until for run in self.runs)
        return self.seen_from <= min(last, self.ended_at or last)

    @property
    def last_out_at(self) -> datetime | None:
        """When the last device came out; None while one is in place or its end is unknown."""
        ends = [run.removed_at for run in self.runs if run.removed_at]
        return max(ends) if len(ends) == len(self.runs) else None


@dataclass(frozen=True)
class Event:
    """What happened, and the run it is put down to; none when no device was in place or just out."""

    patient: str
    at: datetime
    kind: str
    cells: Cells
    run: Run | None
    is_late: bool

    @property
    def pump(self) -> Run | None:
        """The balloon pump whose event this is; none for a late event or another device."""
        return self.run if self.run and self.run.is_pump and not self.is_late else None


Placed = TypeVar("Placed", Run, Course)


class Logbook:
    """The exported tables as known at the data cut, to the minute: what came later has not happened."""

    def __init__(self, folder: Path, cut: datetime) -> None:
        self.cut = cut.replace(second=0, microsecond=0)
        self._folder = folder
        self.zone = ZoneInfo(self.table("centres")[0]["time_zone"])
        self.courses = [course for cells in self.table("courses") if (course := self._course(cells))]
        self.runs = [run for course in self.courses for run in course.runs]
        self.pumps = [run for run in self.runs if run.is_pump]
        self.attempts = sorted(self._until("failed_attempts", "attempted_at"), key=itemgetter("attempted_at"))
        self.sessions = self._until("mobilisations", "started_at")
        self.daily = [
            cells for cells in self.table("daily_checks") if day_of(cells["checked_on"]) <= self.day(self.cut)
        ]
        self.events = [self._event(cells) for cells in self._until("events", "onset_at")]

    @cache  # noqa: B019 - one logbook a test
    def table(self, name: str) -> list[Cells]:
        """The rows of one file."""
        with (self._folder / f"{name}.csv").open(encoding="utf-8-sig", newline="") as file:
            return list(csv.DictReader(file))

    def day(self, at: datetime) -> date:
        """The calendar day on the centre's clocks."""
        return at.astimezone(self.zone).date()

    @cache  # noqa: B019 - one logbook a test
    def _until(self, name: str, column: str) -> list[Cells]:
        return [cells for cells in self.table(name) if moment(cells[column]) <= self.cut]

    def _if_past(self, text: str) -> datetime | None:
        return moment(text) if text and moment(text) <= self.cut else None

    def _course(self, cells: Cells) -> Course | None:
        """A course with its runs; None before its first device is in."""
        key = key_of(cells)
        found = [end for end in self._until("outcomes", "occurred_at") if key_of(end) == key]
        ended_at = moment(found[0]["occurred_at"]) if found else None
        arrived_at = moment(cells["arrived_at"]) if cells["transferred_in"] == "yes" else None
        rows = [run for run in self._until("runs", "inserted_at") if key_of(run) == key]
        died_at = ended_at if found and found[0]["outcome"] == "DIED_ON_SUPPORT" else None
        made = [self._run(run, arrived_at, ended_at, died_at) for run in rows]
        runs = sorted(made, key=attrgetter("inserted_at"))
        if not runs:
            return None
        seen_from = max(runs[0].inserted_at, arrived_at or runs[0].inserted_at)
        came = arrived_at is not None
        return Course(
            key, cells["intent"], came, seen_from, found[0]["outcome"] if found else "", ended_at, runs
        )

    def _run(
        self, cells: Cells, arrived_at: datetime | None, ended_at: datetime | None, died_at: datetime | None
    ) -> Run:
        inserted_at, removed_at = moment(cells["inserted_at"]), self._if_past(cells["removed_at"])
        return Run(
            patient=cells["study_no"],
            course=key_of(cells),
            number=cells["run_no"],
            inserted_at=inserted_at,
            removed_at=removed_at,
            seen_from=max(inserted_at, arrived_at or inserted_at),
            seen_until=removed_at or ended_at or self.cut,
            died_at=died_at,
            is_pump=cells["device_class"] == "IABP",
            route=route_group(cells["route"]),
            cells=cells,
        )

    def _event(self, cells: Cells) -> Event:
        """Put down to the run it names, else the pump in place, else the one removed up to 24 h before.

        Failing these it belongs to another device in place. Late is more than 24 h after the removal of its
        run, or of all devices of the course.
        """
        at = moment(cells["onset_at"])
        own = [run for run in self.runs if run.course == key_of(cells)]
        named = [run for run in own if run.number == cells["run_no"]]
        lying = [run for run in own if run.inserted_at <= at and (not run.removed_at or at < run.removed_at)]
        just_out = [run for run in own if run.removed_at and run.removed_at <= at <= run.removed_at + DAY]
        pumps = [run for run in lying if run.is_pump] or [run for run in just_out if run.is_pump]
        choice = named or pumps[-1:] or lying[-1:] or just_out[-1:]
        ends = [run.removed_at for run in choice or own]
        is_late = all(end is not None and at > end + DAY for end in ends)
        return Event(cells["study_no"], at, cells["kind"], cells, choice[0] if choice else None, is_late)


def key_of(cells: Cells) -> tuple[str, str]:
    return cells["study_no"], cells["course_no"]


def day_of(text: str) -> date:
    return date.fromisoformat(text)


@cache
def moment(text: str) -> datetime:
    return datetime.fromisoformat(text.replace("Z", "+00:00")).astimezone(UTC)


def route_group(route: str) -> str:
    """Subclavian counts as axillary."""
    artery = route.split("_")[0]
    return {"AXILLARY": "AXILLARY", "SUBCLAVIAN": "AXILLARY", "FEMORAL": "FEMORAL"}.get(artery, "OTHER")


class Recomputation:
    """One period; `figures`, `curves` and `left_out` are filled by one measure after another."""

    def __init__(self, log: Logbook, start: datetime, end: datetime) -> None:
        self.log, self.start, self.end = log, start, end
        self.stop = min(end, log.cut)
        self.figures: dict[str, Figure] = {}
        self.curves: dict[str, Curve] = {}
        self.left_out: dict[str, int] = {}
        self.all_begun = [course for course in log.courses if self.within(course.started_at)]
        self.with_a_pump = [course for course in self.all_begun if course.runs[0].is_pump]
        self.begun = [course for course in self.with_a_pump if course.is_seen]
        self.begun_runs = [run for run in log.pumps if self.within(run.inserted_at) and run.is_seen]
        self.in_place = [run for run in log.pumps if run.days(start, self.stop) > 0]
        self.exposed = [
            run
            for run in log.pumps
            if run.is_seen and run.seen_from < end and min(run.at_risk_until, log.cut) >= start
        ]
        self.known = [event for event in log.events if self.within(event.at)]
        self.events = [event for event in self.known if event.cells["review"] != "REFUTED"]

    def within(self, at: datetime) -> bool:
        """Whether a moment lies in the period and had come by the data cut."""
        return self.start <= at < self.end and at <= self.log.cut

    def within_days(self, text: str) -> bool:
        """Whether a calendar day lies in the period and had come by the data cut."""
        day = self.log.day
        return day(self.start) <= day_of(text) < day(self.end) and day_of(text) <= day(self.log.cut)

    def days_of(self, group: str) -> float:
        """Device-days of a route in the period."""
        return sum(run.days(self.start, self.stop) for run in of(group, self.in_place))

    def patients_at_risk(self, group: str) -> int:
        return len({run.patient for run in of(group, self.exposed)})

    def count(self, key: str, number: float) -> None:
        self.figures[key] = Figure(number)

    def share(self, key: str, events: int, total: int, *, limits: bool = True) -> None:
        """A proportion, by Wilson or without limits; nothing to say out of nobody."""
        if not total:
            self.figures[key] = Figure(events, total)
            return
        lower, upper = curves.wilson(events, total) if limits else (None, None)
        self.figures[key] = Figure(events, total, events / total, lower, upper)

    def rate(self, key: str, events: int, days: float) -> None:
        """Events per 1,000 device-days with exact limits."""
        if not days:
            self.figures[key] = Figure(events, days)
            return
        lower, upper = curves.garwood(events)
        per = 1000 / days
        self.figures[key] = Figure(events, days, events * per, lower * per, upper * per)


def of(group: str, things: Iterable[Placed]) -> list[Placed]:
    """Those of one route, or all."""
    return [thing for thing in things if group in ("ALL", thing.route)]
