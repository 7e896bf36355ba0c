"""Which files the plain tables are, and which columns each has.

Records name each other by what people call them (study number, course number, run number), never by a
database key, so that a file can be read, written and moved to another registry. The columns of a table are
its key, then the records it belongs to, then every column of the model under the model's own name.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

from registry.models import (
    Candidate,
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
    Record,
    Run,
    Screening,
)


@dataclass(frozen=True)
class Link:
    """A foreign key, written as the columns that hold the key of the record it points to, in that order."""

    field: str
    columns: tuple[str, ...]


@dataclass(frozen=True)
class Table:
    """One entity as a file: ``key`` holds the columns that name a row."""

    name: str
    model: type[Record]
    key: tuple[str, ...]
    links: tuple[Link, ...] = ()

    @property
    def file(self) -> str:
        return f"{self.name}.csv"

    @cached_property
    def fields(self) -> dict[str, Any]:
        """The model's own columns by name; keys of the database and foreign keys are not among them."""
        return {
            field.name: field
            for field in self.model._meta.concrete_fields
            if field.editable and not field.primary_key and not field.is_relation
        }

    @cached_property
    def columns(self) -> list[str]:
        """All columns of the file in their order."""
        linked = [column for link in self.links for column in link.columns]
        return list(dict.fromkeys([*self.key, *linked, *self.fields]))

    def target(self, link: Link) -> type[Record]:
        """The model that a link points to."""
        model: type[Record] = self.model._meta.get_field(link.field).related_model  # type: ignore[assignment]
        return model

    def field_of(self, column: str) -> Any:
        """The model field that a column of the file is written and read by."""
        if column in self.fields:
            return self.fields[column]
        link = next(link for link in self.links if column in link.columns)
        return KEY_FIELDS[TABLE_OF[self.target(link)].key[link.columns.index(column)]]

    def is_optional(self, link: Link) -> bool:
        return bool(self.model._meta.get_field(link.field).null)


COURSE_KEY = ("study_no", "course_no")
RUN_KEY = (*COURSE_KEY, "run_no")
OF_CENTRE = Link("centre", ("centre",))
OF_PATIENT = Link("patient", ("study_no",))
OF_COURSE = Link("course", COURSE_KEY)
OF_RUN = Link("run", RUN_KEY)

# In the order in which they can be read: what is pointed to comes first. The hospital's own record numbers,
# the accounts and the answers to questions are left out on purpose.
TABLES = (
    Table("centres", Centre, ("code",)),
    Table("patients", Patient, ("study_no",), (OF_CENTRE,)),
    Table("courses", Course, COURSE_KEY, (OF_PATIENT, OF_CENTRE)),
    Table("runs", Run, RUN_KEY, (OF_COURSE, Link("replaces", (*COURSE_KEY, "replaces_run_no")))),
    Table(
        "failed_attempts",
        FailedAttempt,
        ("study_no", "attempted_at", "intended_route"),
        (
            OF_PATIENT,
            OF_CENTRE,
            Link("followed_by", ("study_no", "followed_by_course_no", "followed_by_run_no")),
        ),
    ),
    Table("candidates", Candidate, ("centre", "line_no"), (OF_CENTRE,)),
    Table("screenings", Screening, COURSE_KEY, (OF_COURSE,)),
    Table("haemodynamics", HaemodynamicSet, (*COURSE_KEY, "measured_at"), (OF_COURSE,)),
    Table("listing_spells", ListingSpell, (*COURSE_KEY, "began_on"), (OF_COURSE,)),
    Table("daily_checks", DailyCheck, (*RUN_KEY, "checked_on"), (OF_RUN,)),
    Table("mobilisations", Mobilisation, (*COURSE_KEY, "started_at"), (OF_COURSE,)),
    Table("events", Event, (*COURSE_KEY, "event_no"), (OF_COURSE, OF_RUN)),
    Table("outcomes", CourseOutcome, COURSE_KEY, (OF_COURSE,)),
    Table("plan_changes", PlanChange, (*COURSE_KEY, "changed_at"), (OF_COURSE,)),
    Table("follow_ups", FollowUp, (*COURSE_KEY, "point"), (OF_COURSE,)),
)
TABLE_OF: dict[type[Record], Table] = {table.model: table for table in TABLES}
KEY_FIELDS: dict[str, Any] = {
    "code": Centre._meta.get_field("code"),
    "study_no": Patient._meta.get_field("study_no"),
    "course_no": Course._meta.get_field("course_no"),
    "run_no": Run._meta.get_field("run_no"),
}
