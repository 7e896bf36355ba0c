"""What is known now of an issued period that was not known, or known otherwise, when it was issued.

The clock stands still at the issued moment: patients followed for longer change nothing here. Only entries
made, corrected or removed since then do.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.apps import apps

from outcomes.dataset import load_dataset
from outcomes.issuing.issue import data_cut, issued_period, reissue
from outcomes.measures.values import Figure, Record
from outcomes.report import Report, build_report
from registry.history import Change, changes_in
from registry.models import Course, IssuedReport

Case = tuple[Record, int]
# Where a case of a figure, and a changed record, say which course they belong to.
COURSE_OF_CASE = {
    "patients": ("CourseHistory", "patient_id", "pgh_obj_id"),
    "courses": ("CourseHistory", "pgh_obj_id", "pgh_obj_id"),
    "runs": ("RunHistory", "pgh_obj_id", "course_id"),
    "events": ("EventHistory", "pgh_obj_id", "course_id"),
}
CHANGED = {
    "Course": "pgh_obj_id",
    "Run": "course_id",
    "Event": "course_id",
    "Mobilisation": "course_id",
    "CourseOutcome": "course_id",
}


@dataclass(frozen=True)
class Moved:
    """A figure that differs, with the records that came into it or left it."""

    was: Figure | None
    now: Figure | None
    came: tuple[Case, ...]
    went: tuple[Case, ...]

    @property
    def figure(self) -> Figure:
        """The figure as it is now, or as it was if it is no longer there."""
        found = self.now or self.was
        assert found is not None
        return found


@dataclass(frozen=True)
class LateChange:
    """A change made after the issue to a record of a course behind a moved figure."""

    course: Course | None
    entity: str
    change: Change


def known_now(issued: IssuedReport) -> Report:
    """The issued period computed from today's rows, with the data cut left where it was."""
    dataset = load_dataset(centres=[issued.centre], cut_at=data_cut(issued.as_of))
    return build_report(dataset=dataset, period=issued_period(issued))


def restatements(issued: IssuedReport) -> tuple[Moved, ...]:
    """The figures of an issued report that would be others if it were issued now as of the same moment."""
    was, now = _figures(reissue(issued)), _figures(known_now(issued))
    keys = {**was, **now}
    return tuple(_moved(was.get(k), now.get(k)) for k in keys if _differs(was.get(k), now.get(k)))


def _figures(report: Report) -> dict[str, Figure]:
    return {figure.key: figure for figure in report.figures}


def _differs(was: Figure | None, now: Figure | None) -> bool:
    if was is None or now is None:
        return True
    return (was.numerator, was.denominator, was.estimate) != (now.numerator, now.denominator, now.estimate)


def _moved(was: Figure | None, now: Figure | None) -> Moved:
    before, after = _cases(was), _cases(now)
    return Moved(was, now, tuple(sorted(after - before)), tuple(sorted(before - after)))


def _cases(figure: Figure | None) -> set[Case]:
    """The records in numerator and denominator."""
    if figure is None:
        return set()
    lists = (*figure.cases.numerator, *figure.cases.denominator)
    return {(cases.record, pk) for cases in lists for pk in cases.pks}


def late_changes(issued: IssuedReport, moved: Iterable[Moved]) -> tuple[LateChange, ...]:
    """Who changed what, when and why since the issue, in the courses behind moved figures; latest first."""
    courses = _courses({case for figure in moved for case in (*figure.came, *figure.went)})
    known = Course.objects.select_related("patient").in_bulk(courses)
    found = [
        LateChange(known.get(course), model.entity, change)
        for name, column in CHANGED.items()
        for model, pk, course in _touched(name, column, issued, courses)
        for change in changes_in(model, pk)
        if change.at > issued.as_of
    ]
    return tuple(sorted(found, key=lambda late: late.change.at, reverse=True))


def _history(name: str) -> Any:
    return apps.get_model("registry", name)._default_manager


def _courses(cases: set[Case]) -> set[int]:
    found: set[int] = set()
    for record, (history, own, course) in COURSE_OF_CASE.items():
        pks = [pk for kind, pk in cases if kind == record]
        if pks:
            found |= set(_history(history).filter(**{f"{own}__in": pks}).values_list(course, flat=True))
    return found


def _touched(name: str, column: str, issued: IssuedReport, courses: set[int]) -> list[tuple[Any, int, int]]:
    rows = _history(f"{name}History").filter(pgh_created_at__gt=issued.as_of, **{f"{column}__in": courses})
    model = apps.get_model("registry", name)
    return [(model, pk, course) for pk, course in rows.values_list("pgh_obj_id", column).distinct()]
