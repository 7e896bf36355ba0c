"""From rows of device runs to patients, support courses and runs.

A row with another catheter of the same patient is never another patient. Runs that follow each other closely
are one course: the gap between them decides, the centre's gap rule bounds it, and a person is asked where it
does not say enough.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from django.db.models import TextChoices
from django.utils import timezone

from registry.choices import ROUTE_GROUPS, DeviceClass, EndReason, Relation
from registry.forms.followed import END_OF_RUN
from registry.forms.moments import write_moment
from registry.models import Centre, Course, CourseOutcome, Patient, PatientIdentity, Run
from registry.models.base import label_of
from registry.models.run import REPLACES_A_CATHETER
from registry.spreadsheet.people import People
from registry.spreadsheet.rows import SheetRow

AT_ONCE = timedelta(hours=2)  # a shorter gap is an exchange (project convention)
OVERLAP = timedelta(hours=2)  # and so is an overlap as short, if a person says so


class Link(TextChoices):
    """How a run relates to the one before it, where the sheet leaves it open."""

    EXCHANGE = "EXCHANGE", "An exchange: the earlier catheter came out as this one went in"
    GAP = "GAP", "Put in again after a gap, in the same course"
    NEW = "NEW", "A new support course"


@dataclass(frozen=True)
class Question:
    """What a person has to say about a row: its choices, and what the answer is stored under."""

    row: int
    text: str
    choices: tuple[str, ...]

    @property
    def key(self) -> str:
        return str(self.row)


@dataclass
class Step:
    """A run of the chain of one patient: from the sheet, with its row, or already in the logbook."""

    run: Run
    row: SheetRow | None = None


@dataclass
class Plan:
    """What a sheet will add, and what has to be known first."""

    patients: list[Patient] = field(default_factory=list)
    identities: list[PatientIdentity] = field(default_factory=list)
    courses: list[tuple[SheetRow, Course]] = field(default_factory=list)
    runs: list[tuple[SheetRow, Run]] = field(default_factory=list)
    outcomes: list[tuple[SheetRow, CourseOutcome]] = field(default_factory=list)
    questions: list[Question] = field(default_factory=list)
    notes: list[tuple[int, str]] = field(default_factory=list)
    exchanges: int = 0


def plan_runs(rows: Iterable[SheetRow], centre: Centre, answers: dict[str, str]) -> Plan:
    """Join the rows into courses. Problems are noted on the rows."""
    return _Planner(centre, answers).plan(list(rows))


class _Planner:
    def __init__(self, centre: Centre, answers: dict[str, str]) -> None:
        self.centre, self.answers = centre, answers
        self.plan_ = Plan()
        self.gap_rule = timedelta(hours=centre.gap_rule_hours or 0)

    def plan(self, rows: list[SheetRow]) -> Plan:
        people = People(self.centre, rows)
        for patient, own in people.rows_by_patient(rows):
            self._patient(patient, sorted(own, key=_inserted), people)
        self.plan_.patients = people.new
        self.plan_.identities = people.identities
        return self.plan_

    def _patient(self, patient: Patient, rows: list[SheetRow], people: People) -> None:
        chain = [Step(run) for run in people.runs_of(patient)]
        for row in rows:
            if row.get("run.inserted_at") is None:
                row.complain("run.inserted_at", "Say when the device went in: day and time.")
                continue
            if not self._is_known(row, chain):
                self._add(patient, row, chain)
        self._close(chain)
        self._outcomes(chain)

    def _is_known(self, row: SheetRow, chain: list[Step]) -> bool:
        """Whether the logbook, or a row above, has the run of this row; and whether it says the same."""
        for step in chain:
            if step.run.inserted_at == row.get("run.inserted_at"):
                if step.row:
                    row.complain("run.inserted_at", f"The same run as in row {step.row.number}.")
                else:
                    self.plan_.notes.append((row.number, _already(step.run, row)))
                return True
        later = [step.run for step in chain if step.row is None and step.run.inserted_at > _inserted(row)]
        if later:
            text = f"This lies before {later[0]}, which is in the logbook already. Enter it there by hand."
            row.complain("run.inserted_at", text)
        return bool(later)

    def _add(self, patient: Patient, row: SheetRow, chain: list[Step]) -> None:
        before = chain[-1] if chain else None
        run = Run(patient=patient, **columns_of(row, "run"))
        link = self._link(before, run, row) if before else Link.NEW
        if link is None:
            return
        if before is None or link == Link.NEW:
            run.course, run.run_no, run.relation = self._course(patient, row, chain), 1, Relation.FIRST
            run.exchange_reason = ""
        else:
            self._join(run, before, link, row)
        _note_assumed(run, row)
        chain.append(Step(run, row))
        self.plan_.runs.append((row, run))

    # How a run relates to the one before it

    def _link(self, before: Step, run: Run, row: SheetRow) -> Link | None:
        """The relation if it is clear or was said; None if it has to be asked or cannot be."""
        earlier = before.run
        if row.get("run.relation") == Relation.FIRST:
            return Link.NEW
        if earlier.removed_at is None:
            return self._still_in(before, run, row)
        gap = run.inserted_at - earlier.removed_at
        if gap > self.gap_rule or _ended(before):
            return Link.NEW
        if row.get("run.relation") in REPLACES_A_CATHETER or _escalates(earlier, run):
            return Link.EXCHANGE
        if timedelta(0) <= gap <= AT_ONCE:
            return Link.EXCHANGE
        if gap < -OVERLAP:
            row.complain(
                "run.inserted_at",
                f"The catheter of {_place(before)} was still in until {_at(earlier.removed_at)}.",
            )
            return None
        return self._asked(row, before, gap)

    def _still_in(self, before: Step, run: Run, row: SheetRow) -> Link | None:
        if _escalates(before.run, run):
            return Link.EXCHANGE
        if before.row is None:
            text = (
                f"{before.run} is still in place in the logbook. Record its removal or exchange there first."
            )
            row.complain("run.inserted_at", text)
            return None
        text = (
            f"The catheter of {_place(before)} has no removal, and another went in at {_at(run.inserted_at)}."
        )
        return self._answer(row, text, (Link.EXCHANGE,))

    def _asked(self, row: SheetRow, before: Step, gap: timedelta) -> Link | None:
        hours = abs(gap) / timedelta(hours=1)
        if gap < timedelta(0):
            text = f"The catheter of {_place(before)} came out {hours:.1f} h after this one went in."
            return self._answer(row, text, (Link.EXCHANGE,))
        text = f"This one went in {hours:.1f} h after the catheter of {_place(before)} came out."
        return self._answer(row, text, (Link.EXCHANGE, Link.GAP, Link.NEW))

    def _answer(self, row: SheetRow, text: str, choices: tuple[Link, ...]) -> Link | None:
        self.plan_.questions.append(Question(row.number, text, tuple(choices)))
        answer = self.answers.get(str(row.number))
        return Link(answer) if answer in choices else None

    def _join(self, run: Run, before: Step, link: Link, row: SheetRow) -> None:
        earlier = before.run
        run.course, run.replaces, run.run_no = earlier.course, earlier, earlier.run_no + 1
        run.relation = row.get("run.relation") or _relation(earlier, run, link)
        if run.relation in REPLACES_A_CATHETER:
            self.plan_.exchanges += 1
            self._end_earlier(before, run)
            if not run.exchange_reason:
                row.complain("run.exchange_reason", "Say why the catheter was changed.")

    def _end_earlier(self, before: Step, run: Run) -> None:
        earlier = before.run
        if before.row and (earlier.removed_at is None or earlier.removed_at > run.inserted_at):
            earlier.removed_at = run.inserted_at
            self.plan_.notes.append(
                (before.row.number, f"Removal set to {_at(run.inserted_at)}, when the next went in.")
            )
        if before.row:
            earlier.end_reason = earlier.end_reason or EndReason.EXCHANGE

    # Courses and how they end

    def _course(self, patient: Patient, row: SheetRow, chain: list[Step]) -> Course:
        known = {id(step.run.course): step.run.course.course_no for step in chain}
        course = Course(
            patient=patient,
            centre=self.centre,
            course_no=max(known.values(), default=0) + 1,
            **columns_of(row, "course"),
        )
        complain_of_gaps(row, course, "course")
        self.plan_.courses.append((row, course))
        return course

    def _close(self, chain: list[Step]) -> None:
        """Why a run ended, where an outcome of its course says it."""
        for step in filter(lambda step: step.row, chain):
            run, row = step.run, step.row
            assert row
            outcome = row.get("outcome.outcome")
            if run.removed_at and not run.end_reason and outcome:
                run.end_reason = END_OF_RUN[outcome]
            if outcome and not run.removed_at and run.device_class == DeviceClass.IABP:
                row.complain("run.removed_at", "The course has an outcome, but this catheter has no removal.")
            complain_of_gaps(row, run, "run")

    def _outcomes(self, chain: list[Step]) -> None:
        courses: dict[int, list[Step]] = {}
        for step in chain:
            courses.setdefault(id(step.run.course), []).append(step)
        for steps in courses.values():
            said = [step.row for step in steps if step.row and step.row.get("outcome.outcome")]
            if said:
                self._outcome(steps[-1], said)

    def _outcome(self, last: Step, said: list[SheetRow]) -> None:
        row, course = said[-1], last.run.course
        different = [other for other in said if other.get("outcome.outcome") != row.get("outcome.outcome")]
        if different:
            text = f"Row {different[0].number} names another outcome of the same course."
            row.complain("outcome.outcome", text)
        if course.pk and hasattr(course, "outcome"):
            self.plan_.notes.append((row.number, "The outcome of this course is in the logbook already."))
            return
        outcome = CourseOutcome(course=course, **columns_of(row, "outcome"))
        if outcome.occurred_at is None and last.run.removed_at:
            outcome.occurred_at = last.run.removed_at
            self.plan_.notes.append(
                (
                    row.number,
                    f"The outcome has no time; the last removal, {_at(outcome.occurred_at)}, is taken.",
                )
            )
        complain_of_gaps(row, outcome, "outcome")
        self.plan_.outcomes.append((row, outcome))


def _inserted(row: SheetRow) -> datetime:
    return row.get("run.inserted_at") or timezone.now()


def columns_of(row: SheetRow, entity: str) -> dict[str, Any]:
    prefix = f"{entity}."
    return {name.removeprefix(prefix): value for name, value in row.values.items() if name.startswith(prefix)}


def complain_of_gaps(row: SheetRow, record: Any, entity: str) -> None:
    """Note what a record cannot be without, unless its cell was filled and is complained of already."""
    unread = {problem.column for problem in row.problems}
    for column in record.described():
        if column.null or column.blank or column.name in ("course_no", "run_no", "event_no"):
            continue
        heading = row.cells.get(f"{entity}.{column.name}", ("", ""))[0]
        if getattr(record, column.name) in (None, "", []) and (not heading or heading not in unread):
            row.complain(f"{entity}.{column.name}", f"Nothing is recorded for: {column.verbose_name}.")


def _already(run: Run, row: SheetRow) -> str:
    """That a run is in the logbook, and where the sheet differs from it."""
    different = [
        label_of(Run, name)
        for name, value in columns_of(row, "run").items()
        if name not in ("relation", "note") and getattr(run, name) != value
    ]
    if not different:
        return f"{run} is in the logbook already."
    return f"{run} is in the logbook already and is left as it is. It differs in: {', '.join(different)}."


def _note_assumed(run: Run, row: SheetRow) -> None:
    names = [label_of(Run, base.partition(".")[2]) for base in row.assumed if base.startswith("run.")]
    if names:
        text = f"Time of day not in the spreadsheet, taken at import: {', '.join(names)}."
        run.note = f"{run.note} {text}".strip()


def _escalates(earlier: Run, run: Run) -> bool:
    return bool(run.device_class != earlier.device_class)


def _ended(before: Step) -> bool:
    """Whether the course of the earlier run has its outcome."""
    if before.row:
        return bool(before.row.get("outcome.outcome"))
    return hasattr(before.run.course, "outcome")


def _relation(earlier: Run, run: Run, link: Link) -> str:
    if _escalates(earlier, run):
        to_more = earlier.device_class == DeviceClass.IABP
        return Relation.ESCALATION if to_more else Relation.DEESCALATION
    if link == Link.GAP:
        return Relation.REINSERTION
    if run.route == earlier.route:
        return Relation.SAME_SITE
    groups = [ROUTE_GROUPS.get(one.route) for one in (earlier, run)]
    return Relation.NEW_SITE if groups[0] == groups[1] else Relation.CROSSOVER


def _place(step: Step) -> str:
    return f"row {step.row.number}" if step.row else str(step.run)


def _at(moment: datetime) -> str:
    return write_moment(moment, timezone.get_current_timezone())


def steps_of(plan: Plan) -> Iterator[tuple[SheetRow, Run]]:
    """The runs in an order in which each comes after the one it follows."""
    yield from sorted(plan.runs, key=lambda pair: pair[1].run_no)
