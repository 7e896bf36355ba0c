"""All or nothing: what a sheet adds is saved in one transaction, asked by the rules, and kept or undone."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass, field, replace
from typing import Any

from django.db import DatabaseError, connection, models, transaction
from django.db.models import prefetch_related_objects

from registry import rules
from registry.actions import written_by
from registry.forms.base import REFUSALS
from registry.models import Answer, Centre, ImportedRow, Record, User
from registry.spreadsheet.columns import Layout
from registry.spreadsheet.courses import Question, plan_runs
from registry.spreadsheet.events import number_events, plan_events
from registry.spreadsheet.progress import Tell, silent
from registry.spreadsheet.rows import CellProblem, SheetRow

BATCH = 200
MANY = 3
REASON = "import from a spreadsheet"


@dataclass
class Report:
    """What a check or an import found. ``problems`` and open questions stop it."""

    counts: dict[str, int] = field(default_factory=dict)
    problems: list[CellProblem] = field(default_factory=list)
    unusual: list[CellProblem] = field(default_factory=list)
    questions: list[Question] = field(default_factory=list)
    open_questions: int = 0
    notes: list[tuple[int, str]] = field(default_factory=list)

    @property
    def stops(self) -> bool:
        """Whether nothing may be saved."""
        return bool(self.problems or self.open_questions)

    def staged(self) -> dict[str, Any]:
        """The report as kept with the staged sheet."""
        return {**asdict(self), "stops": self.stops}


@dataclass(frozen=True)
class Order:
    """What is to be imported: the rows read, what they are, and what a person said about them."""

    layout: str
    rows: list[SheetRow]
    answers: dict[str, str]
    reason: str = ""


def import_rows(order: Order, *, centre: Centre, by: User, keep: bool, tell: Tell = silent) -> Report:
    """Save what the rows add and return what was found; without ``keep``, or if anything stops it, undo it.

    Values that are unusual need a reason, which is stored with each of them. Rows that came in before, and
    runs or events that the logbook has, add nothing.
    """
    with transaction.atomic(), written_by(by, REASON):
        report = _Saving(order, centre, by, tell).run()
        unanswered = bool(report.unusual) and not order.reason
        if not keep or report.stops or unanswered:
            transaction.set_rollback(True)
    return report


class _Saving:
    def __init__(self, order: Order, centre: Centre, by: User, tell: Tell) -> None:
        self.order, self.centre, self.by, self.tell = order, centre, by, tell
        self.report = Report()
        self.answers: list[Answer] = []
        self.steps_done = self.steps = 0

    def run(self) -> Report:
        rows = self._new_rows()
        if self.order.layout == Layout.EVENTS:
            self._events(rows)
        else:
            self._runs(rows)
        self.report.problems = _once_for_all(self.order.rows)
        self.report.notes.sort()
        Answer.objects.bulk_create(self.answers)
        with connection.cursor() as cursor:
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        self._advance(self.steps)
        return self.report

    def _new_rows(self) -> list[SheetRow]:
        digests = [row.digest for row in self.order.rows]
        came_in = set(
            ImportedRow.objects.filter(centre=self.centre, digest__in=digests).values_list(
                "digest", flat=True
            )
        )
        seen: dict[str, int] = {}
        fresh = []
        for row in self.order.rows:
            if row.digest in came_in:
                self.report.notes.append((row.number, "This row came in before; it adds nothing."))
                row.problems.clear()
            elif row.digest in seen:
                self.report.notes.append(
                    (row.number, f"The same as row {seen[row.digest]}; it adds nothing.")
                )
                row.problems.clear()
            else:
                seen[row.digest] = row.number
                fresh.append(row)
        return fresh

    def _runs(self, rows: list[SheetRow]) -> None:
        plan = plan_runs(rows, self.centre, self.order.answers)
        self.report.notes += plan.notes
        self.report.questions = plan.questions
        self.report.open_questions = sum(
            self.order.answers.get(question.key) not in question.choices for question in plan.questions
        )
        self.report.counts = {
            "patients": len(plan.patients), "courses": len(plan.courses), "runs": len(plan.runs),
            "exchanges": plan.exchanges, "outcomes": len(plan.outcomes),
        }  # fmt: skip
        self.steps = 2 * (len(plan.patients) + len(plan.courses) + len(plan.runs) + len(plan.outcomes))
        self._ask_before(plan.runs)
        if self._has_problems(rows) or self.report.open_questions:
            return
        self._insert(rows, [(None, patient) for patient in plan.patients])
        self._insert(rows, [(None, identity) for identity in plan.identities])
        self._insert(rows, list(plan.courses))
        for step in _levels(plan.runs):
            self._insert(rows, step)
        self._insert(rows, list(plan.outcomes))
        self._remember([(row, run) for row, run in plan.runs])
        if self._has_problems(rows):
            return
        prefetch_related_objects(list({id(run.course): run.course for _, run in plan.runs}.values()), "runs")
        self._ask([(None, patient) for patient in plan.patients], plan.courses, plan.outcomes)

    def _events(self, rows: list[SheetRow]) -> None:
        plan = plan_events(rows, self.centre)
        self.report.notes += plan.notes
        self.report.counts = {"events": len(plan.events)}
        self.steps = 2 * len(plan.events)
        self._ask_before(plan.events)
        if self._has_problems(rows):
            return
        number_events([event for _, event in plan.events])
        self._insert(rows, list(plan.events))
        self._remember(list(plan.events))

    @staticmethod
    def _has_problems(rows: list[SheetRow]) -> bool:
        """Rows that could not be read are not tried on the database: what hangs on them would fail too."""
        return any(row.problems for row in rows)

    # Writing

    def _insert(self, rows: list[SheetRow], pairs: Sequence[tuple[SheetRow | None, Any]]) -> None:
        for start in range(0, len(pairs), BATCH):
            batch = pairs[start : start + BATCH]
            if any(row and row.problems for row in rows):
                return
            self._insert_batch(batch)
            self._advance(len(batch))

    def _insert_batch(self, batch: Sequence[tuple[SheetRow | None, Any]]) -> None:
        model: type[models.Model] = type(batch[0][1])
        try:
            with transaction.atomic():
                model._default_manager.bulk_create([record for _, record in batch])
        except DatabaseError:
            for row, record in batch:
                self._insert_alone(row or self.order.rows[0], record)

    @staticmethod
    def _insert_alone(row: SheetRow, record: Any) -> None:
        record.pk = None
        try:
            with transaction.atomic():
                record.save(force_insert=True)
        except DatabaseError as error:
            row.complain("", _refusal(error))

    def _advance(self, steps: int) -> None:
        """Tell how far it is, in rows: each record is one step when saved and one when asked about."""
        self.steps_done = min(self.steps_done + steps, self.steps)
        rows = len(self.order.rows)
        self.tell(rows * self.steps_done // max(self.steps, 1), rows)

    def _remember(self, pairs: Sequence[tuple[SheetRow, Record]]) -> None:
        ImportedRow.objects.bulk_create(
            ImportedRow(
                centre=self.centre, digest=row.digest, entity=record.entity, record_id=record.public_id
            )
            for row, record in pairs
        )

    # Asking the rules

    def _ask_before(self, pairs: Sequence[tuple[SheetRow, Any]]) -> None:
        """Runs and events are asked about before the database refuses them in its own words."""
        for row, record in pairs:
            before = getattr(record, "replaces", None)
            if not row.problems and (before is None or before.route):  # else too little is known of it
                for problem in rules.check(record):
                    self._note(row, record, problem)
            self._advance(1)

    def _ask(self, *groups: Sequence[tuple[SheetRow | None, Any]]) -> None:
        """The others are asked about once they are saved: the rules look at the runs of a course."""
        for row, record in (pair for group in groups for pair in group):
            for problem in rules.check(record):
                self._note(row or self._row_of(record), record, problem)
            self._advance(1)

    def _row_of(self, record: Record) -> SheetRow:
        number = getattr(record, "study_no", "")
        return next(row for row in self.order.rows if row.get("patient.study_no") == number)

    def _note(self, row: SheetRow, record: Record, problem: rules.Problem) -> None:
        target = f"{record.entity}.{problem.field}"
        if problem.blocks:
            row.complain(target, problem.text)
            return
        heading, shown = row.cells.get(target, ("", ""))
        self.report.unusual.append(CellProblem(row.number, heading, shown, problem.text))
        if self.order.reason:
            self.answers.append(
                Answer(
                    entity=record.entity,
                    record_id=record.public_id,
                    code=problem.code,
                    question=problem.text,
                    reason=self.order.reason,
                    given_by=self.by,
                )
            )


def _once_for_all(rows: list[SheetRow]) -> list[CellProblem]:
    """All problems in order. What no column of the sheet holds is said once, at the first row without it."""
    lacking = Counter(problem.text for row in rows for problem in row.problems if not problem.column)
    told: set[str] = set()
    problems = []
    for problem in (problem for row in rows for problem in row.problems):
        many = lacking[problem.text]
        if problem.column or many < MANY:
            problems.append(problem)
        elif problem.text not in told:
            told.add(problem.text)
            text = f"{problem.text} So it is in {many} rows: no column of the sheet holds it."
            problems.append(replace(problem, text=text))
    return problems


def _refusal(error: DatabaseError) -> str:
    """What the database refused, in words."""
    name = getattr(getattr(error.__cause__, "diag", None), "constraint_name", None) or "a rule of the logbook"
    return REFUSALS.get(name, f"The logbook refuses this: {name.replace('_', ' ')}.")


def _levels(pairs: Sequence[tuple[SheetRow, Any]]) -> Iterator[list[tuple[SheetRow, Any]]]:
    """First all first runs, then all second ones: a run points to the one before it."""
    for number in sorted({run.run_no for _, run in pairs}):
        yield [(row, run) for row, run in pairs if run.run_no == number]
