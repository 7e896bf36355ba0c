"""Life after therapy, and how complete it all is."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

from tests.outcomes.recomputing import curves
from tests.outcomes.recomputing.curves import Curve, Row
from tests.outcomes.recomputing.measured import median, share
from tests.outcomes.recomputing.rows import (
    GROUPS,
    Cells,
    Course,
    Figure,
    Recomputation,
    Run,
    day_of,
    key_of,
    moment,
    of,
)
from tests.outcomes.recomputing.times import reading


class _After:
    """What became of a course after its therapy, in days since it, as known at the cut."""

    def __init__(self, book: Recomputation, course: Course) -> None:
        log = book.log
        assert course.ended_at
        self.begun = log.day(course.ended_at)
        today = log.day(log.cut)
        self.visits = [
            cells
            for cells in log.table("follow_ups")
            if key_of(cells) == course.key and day_of(cells["seen_on"]) <= today
        ]
        end = next(cells for cells in log.table("outcomes") if key_of(cells) == course.key)
        left = end["discharged_on"] and day_of(end["discharged_on"]) <= today
        self.left_on = day_of(end["discharged_on"]) if left else None
        self.left = end["discharge_status"] if left else ""
        self.is_due = self.begun + timedelta(days=30) <= today

    @property
    def died_on(self) -> date | None:
        said = [day_of(cells["died_on"]) for cells in self.visits if cells["died_on"]]
        learnt = [day_of(cells["seen_on"]) for cells in self.visits if cells["status"] == "DEAD"]
        learnt += [self.left_on] if self.left == "DEAD" and self.left_on else []
        return min(said or learnt, default=None)

    @property
    def died_before(self) -> bool:
        return self.died_on is not None and self.died_on < self.begun

    @property
    def row(self) -> Row:
        alive = [day_of(cells["seen_on"]) for cells in self.visits if cells["status"] == "ALIVE"]
        alive += [self.left_on] if self.left == "ALIVE" and self.left_on else []
        until = self.died_on or max([*alive, self.begun])
        return 0.0, float((until - self.begun).days), "died" if self.died_on else ""

    @property
    def leaving(self) -> float | None:
        return float((self.left_on - self.begun).days) if self.left == "ALIVE" and self.left_on else None

    @property
    def graft(self) -> float | None:
        grades = [cells["graft_dysfunction"] for cells in self.visits if cells["graft_dysfunction"]]
        return float(any(grade in ("MODERATE", "SEVERE") for grade in grades)) if grades else None


def dead_before_therapy(book: Recomputation) -> int:
    """Courses whose patient is recorded dead before the therapy."""
    treated = [course for course in book.begun if course.outcome in ("TRANSPLANT", "DURABLE_VAD")]
    return sum(_After(book, course).died_before for course in treated)


def after_therapy(book: Recomputation) -> None:
    """Survival from the day of the therapy, graft dysfunction, days to leaving hospital."""
    for name, outcome in (("transplant", "TRANSPLANT"), ("durable", "DURABLE_VAD")):
        for group in GROUPS:
            ended = [course for course in of(group, book.begun) if course.outcome == outcome]
            after = [_After(book, course) for course in ended]
            _survival(
                book, f"after.survival/{group}/{name}", [one.row for one in after if not one.died_before]
            )
            median(book, f"after.recovery/{group}/{name}/leaving", [one.leaving for one in after])
            if name == "transplant":
                share(book, f"after.recovery/{group}/graft", [one.graft for one in after], limits=True)


def _survival(book: Recomputation, key: str, rows: Sequence[Row]) -> None:
    steps = curves.survival(rows)
    book.curves[key] = Curve(rows, steps)
    for day in (30, 365):
        figure = reading(rows, curves.there_on(rows, day), steps, day, start=1.0)
        beyond = bool(rows) and day > book.curves[key].last and figure.estimate != 0
        book.figures[f"{key}/day-{day}"] = Figure(figure.numerator, figure.denominator) if beyond else figure


def quality(book: Recomputation) -> None:
    """What is recorded of what is due, and which events were reviewed."""
    told = {key_of(cells): cells for cells in book.log.table("courses")}
    treated = {"TRANSPLANT", "DURABLE_VAD"}
    for group in GROUPS:
        courses, runs = of(group, book.begun), of(group, book.begun_runs)
        out = [course for course in courses if course.last_out_at]
        after = [_After(book, course) for course in courses if course.outcome in treated]
        due = [one for one in after if one.is_due]
        over = [run for run in runs if _course_of(book, run).outcome]
        lines: dict[str, list[bool]] = {
            "outcome": [bool(course.outcome) for course in out],
            "size": [bool(_size(told[course.key])) for course in courses],
            "creatinine": [bool(told[course.key]["creatinine_umol_l"]) for course in courses],
            "pressures": [_has_pressures(book, course) for course in courses],
            "follow-up": [bool(one.died_on) or one.row[1] >= 30 for one in due],
            "removal": [run.removed_at is not None for run in over],
            "position": [bool(run.cells["first_position"]) for run in runs],
            "daily": [_is_written_daily(book, run) for run in runs],
        }
        for name, answers in lines.items():
            book.share(f"quality.complete/{group}/{name}", sum(answers), len(answers))
        events = [event for event in book.known if group == "ALL" or (event.run and event.run.route == group)]
        for name, state in (("unreviewed", "REPORTED"), ("refuted", "REFUTED")):
            hits = sum(event.cells["review"] == state for event in events)
            book.share(f"quality.events/{group}/{name}", hits, len(events), limits=False)


def _size(cells: Cells) -> bool:
    return bool(cells["height_cm"] and cells["weight_kg"])


def _course_of(book: Recomputation, run: Run) -> Course:
    return next(course for course in book.log.courses if course.key == run.course)


def _has_pressures(book: Recomputation, course: Course) -> bool:
    """A set before insertion that says what the patient was on."""
    return any(
        key_of(cells) == course.key
        and cells["on_support"]
        and moment(cells["measured_at"]) <= course.started_at
        for cells in book.log.table("haemodynamics")
    )


def _is_written_daily(book: Recomputation, run: Run) -> bool:
    rows = sum(key_of(cells) == run.course and cells["run_no"] == run.number for cells in book.log.daily)
    return rows >= (book.log.day(run.seen_until) - book.log.day(run.seen_from)).days + 1
