"""One open question, the kind it is of, and where it is looked for."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, NamedTuple
from uuid import UUID

from django.urls import reverse
from django.utils import timezone

from registry.models import Centre

CARE = "ward or coordinator"
OPERATOR = "operator"
COORDINATOR = "coordinator"
PHYSICIAN = "physician"
REVIEWERS = "reviewers other than the operator"
TRANSPLANT = "transplant team or coordinator"


@dataclass(frozen=True)
class Scope:
    """Where questions are looked for: one centre, at one moment, all of its courses or those named."""

    centre: Centre
    now: datetime
    courses: tuple[int, ...] | None = None

    @property
    def today(self) -> date:
        return timezone.localtime(self.now, self.centre.zone).date()

    def within(self, path: str = "") -> dict[str, Any]:
        """Filter arguments for a model whose course is reached by ``path``, such as ``run__course``."""
        prefix = f"{path}__" if path else ""
        if self.courses is None:
            return {f"{prefix}centre_id": self.centre.pk}
        return {f"{prefix}centre_id": self.centre.pk, f"{path or 'pk'}__in": self.courses}

    def shows(self, group: str) -> bool:
        """Whether the centre records a group of variables."""
        return not group or group in self.centre.extended_groups


class Question(NamedTuple):
    """What is asked about one record; ``page`` and ``args`` lead to the form, ``field`` into it."""

    code: str
    record_id: UUID
    course_id: int
    subject: str
    text: str
    page: str
    args: tuple[Any, ...] = ()
    field: str = ""
    query: str = ""

    @property
    def url(self) -> str:
        anchor = f"#div_id_{self.field}" if self.field else ""
        return reverse(self.page, args=self.args) + self.query + anchor


@dataclass(frozen=True)
class Kind:
    """A kind of question: who may answer it, and in which group of variables it arises.

    ``entity`` names the record that an answer is kept with. An answer quiets a question of the same code
    about the same record; with ``by_text`` only one in the same words.
    """

    code: str
    title: str
    entity: str
    who: str
    find: Callable[[Scope], Iterable[Question]]
    group: str = ""
    by_text: bool = False
    answer: str = "Truly unknown"


def course_name(study_no: str, course_no: int, run_no: int | None = None) -> str:
    """A course, or a run of it, as people call it."""
    return f"{study_no} course {course_no}" + (f" run {run_no}" if run_no else "")


def correction(entity: str, record_id: UUID, column: str) -> dict[str, Any]:
    """The page and the field on which a stored value is corrected."""
    return {"page": "correct", "args": (entity, record_id), "field": f"record-{column}"}


def shown_day(day: date) -> str:
    return f"{day:%d-%b-%Y}"
