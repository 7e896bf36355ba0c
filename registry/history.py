"""What changed in a record, when, by whom and why, read from the history that the triggers keep."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, TypeVar

from django.apps import apps
from django.utils import timezone

from registry.models import Patient, PatientIdentity, Record

M = TypeVar("M", bound=Record)

KINDS = {"insert": "Entered", "update": "Corrected", "delete": "Removed"}


@dataclass(frozen=True)
class Change:
    """One saved change; ``fields`` holds (label, before, after), before empty at the first entry."""

    at: datetime
    kind: str
    by: str
    reason: str
    fields: tuple[tuple[str, str, str], ...]


def shown_moment(moment: datetime) -> str:
    """A moment on the centre's clocks, the month in letters."""
    return timezone.localtime(moment).strftime("%d-%b-%Y %H:%M")


def shown(column: Any, value: Any) -> str:
    """A stored value as people read it."""
    if value in (None, "", []):
        return "–"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime):
        return shown_moment(value)
    if isinstance(value, date):
        return value.strftime("%d-%b-%Y")
    if column.is_relation:
        return str(column.related_model._default_manager.filter(pk=value).first() or "a removed record")
    labels = dict(column.flatchoices or (getattr(column, "codes", None) and column.codes.choices) or ())
    if isinstance(value, list):
        return ", ".join(str(labels.get(item, item)) for item in value)
    return f"{labels.get(value, value)} {column.unit}".strip()


def _columns(model: type[Record]) -> list[Any]:
    """What people fill in, and the other records they may name, such as the run of an event."""
    return [
        *model.described(),
        *(column for column in model._meta.fields if column.is_relation and column.null),
    ]


def _differences(model: type[Record], before: Any, after: Any) -> tuple[tuple[str, str, str], ...]:
    found = []
    for column in _columns(model):
        old = shown(column, getattr(before, column.attname)) if before else ""
        new = shown(column, getattr(after, column.attname))
        if new != (old or "–"):
            found.append((str(column.verbose_name), old, new))
    return tuple(found)


def changes_of(record: Record) -> list[Change]:
    """All changes of a record, the latest first; of a patient with those of the local record number."""
    changes = changes_in(type(record), record.pk)
    if isinstance(record, Patient):
        changes += _changes(PatientIdentity, patient_id=record.pk)
        changes.sort(key=lambda change: change.at, reverse=True)
    return changes


def changes_in(model: type[Record], pk: int) -> list[Change]:
    """All changes of the record that has, or had, this key; the latest first."""
    return _changes(model, pgh_obj_id=pk)


def stood_at(model: type[M], moment: datetime, **which: Any) -> list[M]:
    """The records that stood at a moment and were ``which`` then, as the history kept them; by their key."""
    known = _history(model).filter(pgh_created_at__lte=moment)
    ever = known.filter(**which).values("id")
    newest = known.filter(id__in=ever).order_by("id", "-pgh_id").distinct("id").values("pgh_id")
    stood = known.filter(pgh_id__in=newest, **which).exclude(pgh_label="delete").order_by("id")
    return [model(**row) for row in stood.values(*(field.attname for field in model._meta.concrete_fields))]


def _history(model: type[Record]) -> Any:
    return apps.get_model("registry", f"{model.__name__}History")._default_manager


def _changes(model: type[Record], **which: int) -> list[Change]:
    changes, before = [], None
    for row in _history(model).filter(**which).order_by("pgh_id"):
        context = row.pgh_context or {}
        changes.append(
            Change(
                at=row.pgh_created_at,
                kind=KINDS.get(row.pgh_label, row.pgh_label),
                by=context.get("name", ""),
                reason=context.get("reason", ""),
                fields=_differences(model, before, row),
            )
        )
        before = row
    return changes[::-1]
