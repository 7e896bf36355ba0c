"""What was entered, corrected or removed since an issue, behind the figures that moved, and why."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Any

from django.apps import apps
from django.db.models import Q

from outcomes.issuing.issue import data_cut
from outcomes.issuing.restated import Case, Moved
from outcomes.measures.values import Record as Kind
from registry.dictionary import described_models
from registry.history import KINDS, Change, changes_in
from registry.models import (
    Answer,
    Candidate,
    Centre,
    Course,
    DailyCheck,
    Event,
    FailedAttempt,
    IssuedReport,
    Patient,
    PatientIdentity,
    Record,
    Run,
)
from registry.rules.issued import HAPPENED

# Whom or what a record is about: a patient, or a candidate, who has no patient's record; and its key.
Subject = tuple[type[Record], int]
MODELS: dict[Kind, type[Record]] = {
    "patients": Patient,
    "courses": Course,
    "runs": Run,
    "events": Event,
    "failed attempts": FailedAttempt,
    "candidates": Candidate,
    "films": DailyCheck,
}
# What no figure is made of.
NOT_COUNTED = (Centre, PatientIdentity)
ITSELF = "pgh_obj_id"
OWNERS: dict[str, type[Record]] = {"course_id": Course, "run_id": Run}
LEADS: dict[str, type[Record]] = {**OWNERS, "patient_id": Patient}
LATE = "late_for_issued"  # the question that registry/rules/issued.py asks


@dataclass(frozen=True)
class LateChange:
    """A change made after the issue to a record of somebody behind a moved figure.

    ``about`` is the course, patient or candidate it belongs to, if that one is still there.
    """

    subject: Subject
    about: Record | None
    model: type[Record]
    change: Change

    @property
    def entity(self) -> str:
        """What people call a record of this kind."""
        return str(self.model._meta.verbose_name)

    @property
    def moves_values(self) -> bool:
        """Whether it can move a number without a case; an event entered or removed is a case itself."""
        return self.model is not Event or self.change.kind == KINDS["update"]


def late_changes(issued: IssuedReport, moved: Iterable[Moved]) -> tuple[LateChange, ...]:
    """Who changed what, when and why since the issue, for those behind moved figures; latest first."""
    wanted = set(_subjects_of(_cases_to_explain(moved)).values())
    found = [
        LateChange(subject, _about(model, pk), model, change)
        for model in described_models()
        if model not in NOT_COUNTED
        for pk, subject in _touched(model, issued, wanted).items()
        for change in _changes_since(model, pk, issued)
    ]
    return tuple(sorted(found, key=lambda late: late.change.at, reverse=True))


def behind_values(moved: Iterable[Moved], changes: Iterable[LateChange]) -> dict[str, tuple[Record, ...]]:
    """For figures that moved by values, by key: the courses and patients behind them that were changed."""
    by_values = [each for each in moved if each.by_values]
    changed = [late for late in changes if late.about and late.moves_values]
    subject_of = _subjects_of({case for each in by_values for case in each.cases})
    found = {}
    for each in by_values:
        subjects = {subject_of.get(case) for case in each.cases}
        found[each.figure.key] = tuple(
            dict.fromkeys(late.about for late in changed if late.about and late.subject in subjects)
        )
    return found


def _cases_to_explain(moved: Iterable[Moved]) -> set[Case]:
    found: set[Case] = set()
    for each in moved:
        found.update(each.cases if each.by_values else (*each.came, *each.went))
    return found


def _subjects_of(cases: Iterable[Case]) -> dict[Case, Subject]:
    keys: dict[Kind, set[int]] = {}
    for kind, pk in cases:
        keys.setdefault(kind, set()).add(pk)
    return {
        (kind, pk): subject
        for kind, pks in keys.items()
        for pk, subject in _subjects(MODELS[kind], pks).items()
    }


def _history(model: type[Record]) -> Any:
    return apps.get_model("registry", f"{model.__name__}History")._default_manager


def _column(model: type[Record]) -> str:
    """The column of the history that leads towards the subject."""
    names = {field.attname for field in model._meta.concrete_fields}
    return next((name for name in ("patient_id", *OWNERS) if name in names), ITSELF)


def _subjects(model: type[Record], pks: Iterable[int]) -> dict[int, Subject]:
    """Whom records are about, whether they are still there or not."""
    column = _column(model)
    rows = _history(model).filter(pgh_obj_id__in=pks, **{f"{column}__isnull": False})
    keys = dict(rows.order_by("pgh_id").values_list(ITSELF, column))
    if column not in OWNERS:
        return {pk: (model if column == ITSELF else Patient, key) for pk, key in keys.items()}
    of_owner = _subjects(OWNERS[column], set(keys.values()))
    return {pk: of_owner[key] for pk, key in keys.items()}


def _touched(model: type[Record], issued: IssuedReport, wanted: set[Subject]) -> dict[int, Subject]:
    """The records of the wanted that were written since the issue, but for what only happened since."""
    rows = _history(model).filter(_belongs_to(model, wanted), pgh_created_at__gt=issued.as_of)
    if happened := HAPPENED.get(model.entity):
        rows = rows.exclude(pgh_label="insert", **{f"{happened}__gt": data_cut(issued.as_of)})
    return _subjects(model, set(rows.values_list(ITSELF, flat=True)))


def _belongs_to(model: type[Record], wanted: set[Subject]) -> Q:
    column = _column(model)
    kind = model if column == ITSELF else Patient
    keys = [key for subject, key in wanted if subject is kind]
    if column in OWNERS:
        return Q(**{f"{column}__in": _history(OWNERS[column]).filter(patient_id__in=keys).values(ITSELF)})
    return Q(**{f"{column}__in": keys})


def _changes_since(model: type[Record], pk: int, issued: IssuedReport) -> Iterator[Change]:
    """Changes of a record with their reasons; that of a late entry was given as an answer."""
    for change in changes_in(model, pk):
        if change.at > issued.as_of:
            entered = change.kind == KINDS["insert"]
            yield replace(change, reason=change.reason or (_why_late(model, pk) if entered else ""))


def _why_late(model: type[Record], pk: int) -> str:
    record_id = _history(model).filter(pgh_obj_id=pk).values("public_id")[:1]
    said = Answer.objects.filter(code=LATE, entity=model.entity, record_id=record_id).first()
    return said.reason if said else ""


def _about(model: type[Record], pk: int | None) -> Record | None:
    """The course, patient or candidate a changed record belongs to."""
    if model in (Course, Patient, Candidate):
        return model._default_manager.filter(pk=pk).first()
    row = _history(model).filter(pgh_obj_id=pk).order_by("pgh_id").last()
    column, owner = next((column, owner) for column, owner in LEADS.items() if hasattr(row, column))
    return _about(owner, getattr(row, column))
