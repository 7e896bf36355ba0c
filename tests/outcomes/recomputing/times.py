"""Measures over time: dwell, repositions over time in place, mobilisation, bridge to therapy."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from math import exp

from tests.outcomes.recomputing import curves
from tests.outcomes.recomputing.curves import Curve, Row, Step
from tests.outcomes.recomputing.rows import (
    DAY,
    GROUPS,
    Course,
    Figure,
    Logbook,
    Recomputation,
    Run,
    day_of,
    key_of,
    moment,
    of,
)

LEVELS = {"out-of-bed": 4, "walk": 7}
BRIDGE_DAYS = (7, 14, 30, 60, 90)
MOBILISATION_DAYS = (1, 2, 3, 7)
REPOSITION_DAYS = (1, 3, 7, 14, 30)
CAUSES = {
    "TRANSPLANT": "transplant",
    "DURABLE_VAD": "durable",
    "RECOVERED_WEANED": "weaned",
    "DIED_ON_SUPPORT": "died",
    "WITHDRAWN_PALLIATIVE": "died",
    "TRANSFERRED": "transferred",
}


def dwell(book: Recomputation) -> None:
    """How long a catheter, and how long support, stays."""
    for group in GROUPS:
        _dwell(book, f"dwell.run/{group}", [_run_row(run) for run in of(group, book.begun_runs)])
        rows = [_course_row(course) for course in of(group, book.begun)]
        _dwell(book, f"dwell.course/{group}", rows)


def _run_row(run: Run) -> Row:
    entry, leaving = run.seen_from - run.inserted_at, run.seen_until - run.inserted_at
    return entry / DAY, leaving / DAY, "removed" if run.removed_at else ""


def _course_row(course: Course) -> Row:
    """Ends when the last device is out; else followed to the outcome or the cut."""
    end = max(run.seen_until for run in course.runs)
    cause = "removed" if course.last_out_at else ""
    return (course.seen_from - course.started_at) / DAY, (end - course.started_at) / DAY, cause


def _dwell(book: Recomputation, key: str, rows: Sequence[Row]) -> None:
    seen = [row for row in rows if not is_over_at_arrival(row)]
    steps = curves.survival(seen)
    book.curves[key] = Curve(seen, steps)
    ended = [leaving for _, leaving, cause in rows if cause]
    book.count(f"{key}/n", len(rows))
    book.count(f"{key}/going-on", len(rows) - len(ended))
    for name, share in (("quartile-1", 0.25), ("median", 0.5), ("quartile-3", 0.75)):
        last = max((leaving for _, leaving, _ in rows), default=0.0)
        book.figures[f"{key}/{name}"] = Figure(len(ended), len(rows), *curves.quantile(steps, share, last))
    if ended:
        book.figures[f"{key}/shortest"] = Figure(1, len(rows), min(ended))
    if rows:
        book.figures[f"{key}/longest"] = Figure(1, len(rows), last)


def mean_repositions(book: Recomputation) -> None:
    """Mean number of repositions of a run by each day, while it is in place."""
    for group in GROUPS:
        runs = [run for run in of(group, book.begun_runs) if not is_over_at_arrival(_run_row(run))]
        rows = [_run_row(run) for run in runs]
        happened = [
            (index, (event.at - run.inserted_at) / DAY)
            for index, run in enumerate(runs)
            for event in book.log.events
            if event.run is run and event.kind == "REPOSITION" and event.cells["review"] != "REFUTED"
            if run.seen_from <= event.at <= run.seen_until
        ]
        patients = [run.patient for run in runs]
        key = f"repositions.mean/{group}"
        times = sorted({time for _, time in happened})
        book.curves[key] = Curve(rows, [_mean_step(rows, happened, patients, time) for time in times])
        for day in REPOSITION_DAYS:
            step = _mean_step(rows, happened, patients, day)
            number = sum(time <= day for _, time in happened)
            if rows:
                upper = step.upper if number else None
                book.figures[f"{key}/day-{day}"] = Figure(number, len(rows), step.value, step.lower, upper)


def _mean_step(
    rows: Sequence[Row], happened: Sequence[tuple[int, float]], patients: Sequence[str], time: float
) -> Step:
    mean, error = curves.mean_events(rows, happened, patients, time)
    factor = exp(curves.Z * error / mean) if mean else 1.0
    return Step(time, curves.at_risk(rows, time), mean, mean / factor, mean * factor)


@dataclass(frozen=True)
class Watch:
    """One clock of mobilisation: when it starts, from when somebody looked, when support on it ended."""

    route: str
    started_at: datetime
    seen_from: datetime
    until: datetime
    is_over: bool
    levels: Sequence[tuple[date, int]]

    def row(self, log: Logbook, level: int) -> Row:
        """Day of the first such level, else day of the end; the level comes first on the same day."""
        zero, first, last = log.day(self.started_at), log.day(self.seen_from), log.day(self.until)
        entry = max((first - zero).days - 0.5, 0.0)
        reached = [day for day, height in self.levels if height >= level and first <= day <= last]
        if reached:
            return entry, float((min(reached) - zero).days), "mobilised"
        return entry, float((last - zero).days), "ended" if self.is_over else ""


def mobilisation(book: Recomputation) -> None:
    """First out of bed and first walk, on the clock of the course and on that of the route."""
    log = book.log
    told = {course.key: _levels(log, course) for course in log.courses}
    courses = [_course_watch(log, course, told[course.key]) for course in book.begun]
    spells = [
        _spell_watch(log, course, spell, told[course.key])
        for course in log.courses
        for spell in _spells(course)
        if book.within(spell[0].inserted_at)
    ]
    _mobilised(book, "mobilisation.course", courses)
    _mobilised(book, "mobilisation.route", spells)
    for group in GROUPS:
        mine = [watch for watch in courses if group in ("ALL", watch.route)]
        silent = sum(not watch.levels for watch in mine)
        book.share(f"mobilisation.course/{group}/unrecorded", silent, len(mine))


@dataclass(frozen=True)
class Levels:
    """What was written down of one course: sessions by time, daily rows by run and day."""

    sessions: list[tuple[datetime, int]]
    daily: list[tuple[str, date, int]]


def _levels(log: Logbook, course: Course) -> Levels:
    sessions = [
        (moment(cells["started_at"]), int(cells["level"]))
        for cells in log.sessions
        if key_of(cells) == course.key
    ]
    daily = [
        (cells["run_no"], day_of(cells["checked_on"]), int(cells["mobility_best"]))
        for cells in log.daily
        if key_of(cells) == course.key and cells["mobility_best"]
    ]
    return Levels(sessions, daily)


def _course_watch(log: Logbook, course: Course, told: Levels) -> Watch:
    """From the first insertion to the outcome or the last removal, whichever is first."""
    ends = [at for at in (course.last_out_at, course.ended_at) if at]
    until = min(ends, default=log.cut)
    levels = [(log.day(at), level) for at, level in told.sessions if course.seen_from <= at <= until]
    levels += [(day, level) for _, day, level in told.daily]
    return Watch(course.route, course.started_at, course.seen_from, until, bool(ends), levels)


def _spells(course: Course) -> list[list[Run]]:
    """Balloon pumps in a row by the same route."""
    spells: list[list[Run]] = []
    for run in course.runs:
        if run.is_pump and spells and spells[-1][-1].route == run.route:
            spells[-1].append(run)
        elif run.is_pump:
            spells.append([run])
    return spells


def _spell_watch(log: Logbook, course: Course, spell: Sequence[Run], told: Levels) -> Watch:
    first, last = spell[0], spell[-1]
    numbers = {run.number for run in spell}
    levels = [(log.day(at), level) for at, level in told.sessions if first.seen_from <= at <= last.seen_until]
    levels += [(day, level) for number, day, level in told.daily if number in numbers]
    is_over = bool(last.removed_at or course.ended_at)
    return Watch(first.route, first.inserted_at, first.seen_from, last.seen_until, is_over, levels)


def _mobilised(book: Recomputation, measure: str, watches: Sequence[Watch]) -> None:
    for group in GROUPS:
        mine = [watch for watch in watches if group in ("ALL", watch.route)]
        for name, level in LEVELS.items():
            rows = [watch.row(book.log, level) for watch in mine if watch.seen_from <= watch.until]
            key = f"{measure}/{group}/{name}"
            book.curves[key] = Curve(rows, curves.incidence(rows, "mobilised"))
            _readings(book, key, "mobilised", MOBILISATION_DAYS)


def _readings(book: Recomputation, key: str, cause: str, days: Iterable[int]) -> None:
    """A cumulative incidence on fixed days."""
    rows, steps = book.curves[key].rows, book.curves[key].steps
    for day in days:
        number = sum(why == cause and leaving <= day for _, leaving, why in rows)
        book.figures[f"{key}/day-{day}"] = reading(rows, number, steps, day, start=0.0)


def reading(
    rows: Sequence[Row], number: int, steps: Sequence[curves.Step], day: float, *, start: float
) -> Figure:
    """A curve on a day; at 0 and 1 the limits are Wilson's among those whose state is known."""
    if not rows:
        return Figure(0, 0)
    step, known = curves.read_at(steps, day), curves.known_by(rows, day)
    value = step.value if step else start
    share = round(value)
    if known and abs(value - share) < 1e-9:
        return Figure(number, len(rows), value, *curves.wilson(share * known, known))
    limits = (step.lower, step.upper) if step else ((None, 1.0) if start else (0.0, None))
    return Figure(number, len(rows), value, *limits)


def bridge(book: Recomputation) -> None:
    """Escalation or outcome, whichever came first; the rest is still supported."""
    for group in GROUPS:
        every = [bridge_row(book.log, course) for course in of(group, book.begun)]
        rows = [row for row in every if not is_over_at_arrival(row)]
        for cause in ("transplant", "durable", "weaned", "escalated", "died", "transferred"):
            key = f"bridge/{group}/{cause}"
            book.curves[key] = Curve(rows, curves.incidence(rows, cause))
            _readings(book, key, cause, BRIDGE_DAYS)
        _supported(book, f"bridge/{group}/supported", rows)


def is_over_at_arrival(row: Row) -> bool:
    """Never under observation, as support had ended by the time of arrival."""
    entry, leaving, _ = row
    return entry > 0 and entry >= leaving


def bridge_row(log: Logbook, course: Course) -> Row:
    escalations = [run.inserted_at for run in course.runs if run.cells["relation"] == "DEVICE_ESCALATION"]
    escalations += [
        run.removed_at for run in course.runs if run.removed_at and run.cells["end_reason"] == "ESCALATION"
    ]
    ends = [(at, "escalated") for at in escalations]
    if course.ended_at:
        ends.append((course.ended_at, CAUSES[course.outcome]))
    at, cause = min(ends, default=(course.last_out_at or log.cut, ""))
    return (course.seen_from - course.started_at) / DAY, (at - course.started_at) / DAY, cause


def _supported(book: Recomputation, key: str, rows: Sequence[Row]) -> None:
    steps = curves.survival(rows)
    for day in BRIDGE_DAYS:
        number = curves.there_on(rows, day)
        book.figures[f"{key}/day-{day}"] = reading(rows, number, steps, day, start=1.0)
