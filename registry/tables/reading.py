"""Reading plain tables into the registry: everything or nothing, every problem named.

The import only adds. A record that is already there is a problem, save a centre, which is left as it is.
Rows of a record that was refused are passed over quietly: they are not wrong themselves.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from django.db import DatabaseError, connection, transaction
from django.db.models import prefetch_related_objects
from django.utils import timezone

from registry import rules
from registry.actions import written_by
from registry.models import Centre, Course, Patient, Record, Run
from registry.tables.cells import CellError, read_cell, shown
from registry.tables.files import Complaint, Row, read_rows, stray_files
from registry.tables.layout import KEY_FIELDS, TABLE_OF, TABLES, Link, Table
from registry.tables.writing import Key, Progress, silent

# Each row saved passes through a history trigger whose cost grows within one statement.
BATCH = 1000
RELATED: dict[type[Record], tuple[str, ...]] = {
    Centre: (),
    Patient: ("centre",),
    Course: ("patient", "centre"),
    Run: ("course__patient", "course__centre"),
}


@dataclass
class ImportReport:
    """What an import found. ``complaints`` stop it; ``questions`` are for a person to answer later."""

    complaints: list[Complaint] = field(default_factory=list)
    questions: list[Complaint] = field(default_factory=list)
    counts: dict[str, int] = field(default_factory=dict)


@dataclass(frozen=True)
class Draft:
    """A record made of a row and not saved yet."""

    row: Row
    key: Key
    record: Record


class PassedOver(Exception):  # noqa: N818 - not an error: the record it belongs to was refused
    """A row whose owner was refused."""


def import_tables(
    folder: Path, *, dry_run: bool = False, centre: str = "", progress: Progress = silent
) -> ImportReport:
    """Add what the files in ``folder`` hold, in one transaction; a dry run does the same and keeps nothing.

    With ``centre``, every row must be of that centre and the column may be missing. Raises OSError if the
    folder or a file cannot be read.
    """
    report = ImportReport()
    report.complaints += stray_files(folder)
    if not any((folder / table.file).exists() for table in TABLES):
        report.complaints.append(Complaint(folder.name, 0, "", "None of the tables is in this folder."))
    with transaction.atomic(), written_by(None, f"import of {folder.name}"):
        _Importer(folder, centre, report, progress).run()
        if dry_run or report.complaints:
            transaction.set_rollback(True)
    return report


class _Importer:
    """The records known so far by their keys, and what was found wrong."""

    def __init__(self, folder: Path, centre: str, report: ImportReport, progress: Progress) -> None:
        self.folder, self.centre, self.report, self.progress = folder, centre, report, progress
        self.known: dict[type[Record], dict[Key, Record]] = {
            model: {_key_of(record): record for record in model._default_manager.select_related(*related)}
            for model, related in RELATED.items()
        }
        self.refused: dict[type[Record], set[Key]] = {table.model: set() for table in TABLES}
        self.unread: set[type[Record]] = set()  # some of its rows could not be named
        self.added: list[tuple[Row, Course]] = []

    def run(self) -> None:
        for table in TABLES:
            given = frozenset({"centre"} if self.centre else ())
            rows, faults = read_rows(self.folder, table, given=given)
            if faults:
                self.report.complaints += faults
                self.unread.add(table.model)
            self.report.counts[table.name] = self._take(table, rows)
            if table.model is Run:
                # Rules ask a course for its runs; from here on no new ones come.
                prefetch_related_objects(list(self.known[Course].values()), "runs")
        self._check_courses()
        with connection.cursor() as cursor:
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")

    def complain(self, table: Table, row: Row, column: str, text: str) -> None:
        self.report.complaints.append(Complaint(table.file, row.number, column, text))

    # One table

    def _take(self, table: Table, rows: list[Row]) -> int:
        waiting = list(self._first_of_each(table, rows))
        kept = 0
        while waiting:
            ready, waiting = self._split(table, waiting)
            for start in range(0, len(ready), BATCH):
                batch = ready[start : start + BATCH]
                drafts = [draft for row, key in batch if (draft := self._draft(table, row, key))]
                kept += self._save(table, drafts)
                self.progress(table.name, start + len(batch), len(ready))
        return kept

    def _first_of_each(self, table: Table, rows: list[Row]) -> Iterator[tuple[Row, Key]]:
        """Rows with their keys; a key that is not read, or stands here twice, is refused."""
        seen: dict[Key, int] = {}
        for row in rows:
            if "centre" in table.columns and self.centre:
                row.cells.setdefault("centre", self.centre)
            try:
                key = self._key(table, row)
            except CellError:
                self._draft(table, row, None)  # to name every fault of the row
                self.unread.add(table.model)
                continue
            if key in seen:
                self.complain(table, row, table.key[-1], f"The same as row {seen[key]}.")
                continue
            seen[key] = row.number
            yield row, key

    def _key(self, table: Table, row: Row) -> Key:
        zone = None if table.model is Centre else self._zone_of_row(table, row)
        return tuple(read_cell(table.field_of(name), row.cells[name], zone) for name in table.key)

    def _zone_of_row(self, table: Table, row: Row) -> ZoneInfo | None:
        for link in table.links:
            owner = self.known[table.target(link)].get(_link_key(table, link, row) or ())
            if owner:
                return _zone(owner)
        return None

    def _split(
        self, table: Table, waiting: list[tuple[Row, Key]]
    ) -> tuple[list[tuple[Row, Key]], list[tuple[Row, Key]]]:
        """Rows that can be saved now, and those that point to a row of their own table still to come."""
        own = [link for link in table.links if table.target(link) is table.model]
        pending = {key for _, key in waiting}
        ready: list[tuple[Row, Key]] = []
        later: list[tuple[Row, Key]] = []
        for row, key in waiting:
            waits = any(_link_key(table, link, row) in pending for link in own)
            (later if waits else ready).append((row, key))
        if ready:
            return ready, later
        for row, key in later:
            self.complain(table, row, own[0].columns[-1], "These rows point to each other in a circle.")
            self.refused[table.model].add(key)
        return [], []

    # One row

    def _draft(self, table: Table, row: Row, key: Key | None) -> Draft | None:
        """The record of a row, or None when it is refused."""
        before = len(self.report.complaints)
        try:
            values = self._links(table, row)
            values |= self._cells(table, row, _zone_among(values))
            if key is not None and len(self.report.complaints) == before:
                draft = Draft(row, key, table.model(**values))
                if self._is_new(table, draft) and self._passes(table, draft):
                    return draft
        except PassedOver:
            pass
        self._refuse(table, key)
        return None

    def _refuse(self, table: Table, key: Key | None) -> None:
        standing_centre = table.model is Centre and key in self.known[Centre]
        if key is not None and not standing_centre:
            self.refused[table.model].add(key)

    def _links(self, table: Table, row: Row) -> dict[str, Any]:
        values: dict[str, Any] = {}
        for link in table.links:
            values[link.field] = self._linked(table, link, row)
        if self.centre and table.model is Centre and row.cells.get("code") != self.centre:
            self.complain(table, row, "code", f"Only centre {self.centre} is to be imported.")
        if table.model is Run and values["course"]:
            values["patient"] = values["course"].patient
        return values

    def _linked(self, table: Table, link: Link, row: Row) -> Record | None:
        try:
            key = _link_key(table, link, row, strict=True)
        except CellError as error:
            self.complain(table, row, link.columns[-1], str(error))
            return None
        model = table.target(link)
        if key is None:
            if not table.is_optional(link):
                self.complain(table, row, link.columns[-1], "This must be filled.")
            return None
        if key in self.refused[model] or (key not in self.known[model] and model in self.unread):
            raise PassedOver
        if key not in self.known[model]:
            name = " ".join(str(part) for part in key)
            text = f"There is no {model._meta.verbose_name} {shown(name)}."
            self.complain(table, row, link.columns[-1], text)
        elif self.centre and model is Centre and key != (self.centre,):
            self.complain(table, row, "centre", f"Only centre {self.centre} is to be imported.")
        return self.known[model].get(key)

    def _cells(self, table: Table, row: Row, zone: ZoneInfo | None) -> dict[str, Any]:
        values = {}
        for name, column in table.fields.items():
            if name in row.cells:
                try:
                    values[name] = read_cell(column, row.cells[name], zone)
                except CellError as error:
                    self.complain(table, row, name, str(error))
        return values

    def _is_new(self, table: Table, draft: Draft) -> bool:
        if draft.key not in self.known.get(table.model, {}):
            return True
        if table.model is Centre:
            text = "This centre is already in the registry and is left as it is."
            self.report.questions.append(Complaint(table.file, draft.row.number, "code", text))
        else:
            self.complain(table, draft.row, table.key[-1], "This is already in the registry.")
        return False

    def _passes(self, table: Table, draft: Draft) -> bool:
        """Ask the logbook's rules; a course is asked again once its runs are there."""
        with _clock_of(draft.record):
            found = rules.check(draft.record)
        for problem in found:
            complaint = Complaint(table.file, draft.row.number, problem.field, problem.text)
            if problem.blocks:
                self.report.complaints.append(complaint)
            elif table.model is not Course:
                self.report.questions.append(complaint)
        return not any(problem.blocks for problem in found)

    # Saving

    def _save(self, table: Table, drafts: list[Draft]) -> int:
        saved = self._save_together(table, drafts) if drafts else []
        if saved and table.model in self.known:
            self.known[table.model] |= {draft.key: draft.record for draft in saved}
            count_rows(table.model)
        self.added += [(draft.row, draft.record) for draft in saved if isinstance(draft.record, Course)]
        return len(saved)

    def _save_together(self, table: Table, drafts: list[Draft]) -> list[Draft]:
        try:
            with transaction.atomic():
                table.model._default_manager.bulk_create([draft.record for draft in drafts])
        except DatabaseError:
            return [draft for draft in drafts if self._save_alone(table, draft)]
        return drafts

    def _save_alone(self, table: Table, draft: Draft) -> bool:
        draft.record.pk = None
        try:
            with transaction.atomic():
                draft.record.save(force_insert=True)
        except DatabaseError as error:
            self.complain(table, draft.row, "", _refusal(table.model, error))
            self._refuse(table, draft.key)
            return False
        return True

    def _check_courses(self) -> None:
        table = TABLE_OF[Course]
        for row, course in self.added:
            with _clock_of(course):
                found = rules.check(course)
            for problem in found:
                kind = self.report.complaints if problem.blocks else self.report.questions
                kind.append(Complaint(table.file, row.number, problem.field, problem.text))


def count_rows(model: type[Record]) -> None:
    """Tell the query planner how many rows there are now; it would plan for the empty table of before."""
    with connection.cursor() as cursor:
        cursor.execute(f"ANALYZE {model._meta.db_table}")


def _key_of(record: Record) -> Key:
    owner: Any = record
    if isinstance(record, Run):
        return (*_key_of(record.course), record.run_no)
    if isinstance(record, Course):
        return (*_key_of(record.patient), record.course_no)
    return (owner.study_no if isinstance(record, Patient) else owner.code,)


def _link_key(table: Table, link: Link, row: Row, *, strict: bool = False) -> Key | None:
    """The key that a row's link names; None where its cells are empty or, unless ``strict``, unreadable."""
    cells = [row.cells.get(column, "").strip() for column in link.columns]
    if not cells[-1]:
        return None
    names = TABLE_OF[table.target(link)].key
    try:
        return tuple(read_cell(KEY_FIELDS[name], cell, None) for name, cell in zip(names, cells, strict=True))
    except CellError:
        if strict:
            raise
        return None


def _centre(record: Record | None) -> Centre | None:
    """The centre that a record belongs to, through its owners."""
    if isinstance(record, Centre):
        return record
    for name in ("centre", "course", "run"):
        if owner := getattr(record, name, None):
            return _centre(owner)
    return None


def _zone(record: Record | None) -> ZoneInfo | None:
    centre = _centre(record)
    return centre.zone if centre else None


def _zone_among(owners: dict[str, Any]) -> ZoneInfo | None:
    return next((zone for owner in owners.values() if (zone := _zone(owner))), None)


@contextmanager
def _clock_of(record: Record) -> Iterator[None]:
    """Rules compare calendar days: on the clock of the record's centre."""
    zone = None if isinstance(record, Centre) else _zone(record)
    with timezone.override(zone or timezone.get_default_timezone()):
        yield


def _refusal(model: type[Record], error: DatabaseError) -> str:
    """What the database refused, in words: a constraint's own message, or its name."""
    name = getattr(getattr(error.__cause__, "diag", None), "constraint_name", None) or ""
    for rule in model._meta.constraints:
        if rule.name == name and rule.violation_error_message != rule.default_violation_error_message:
            return str(rule.violation_error_message)
    if "once" in name or name.endswith(("_key", "_uniq")):
        return "This is already in the registry."
    return f"The database refuses this: {name.replace('_', ' ')}." if name else "The database refuses this."


def lines(complaints: Iterable[Complaint]) -> Iterator[str]:
    """Complaints as lines, in the order of the tables and rows."""
    order = {table.file: place for place, table in enumerate(TABLES)}
    for complaint in sorted(complaints, key=lambda c: (order.get(c.file, -1), c.file, c.row)):
        yield str(complaint)
