"""What is no more: the records of a patient that were removed, when, by whom and why."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.apps import apps
from django.core.exceptions import ObjectDoesNotExist
from django.db.models import QuerySet

from registry.dictionary import described_models
from registry.models import Course, Patient, PatientIdentity, Record, Run, User


@dataclass(frozen=True)
class Removed:
    """A record that was removed; ``pk`` is the key under which its history stands."""

    entity: str
    public_id: UUID
    pk: int
    name: str
    at: datetime
    by: str
    reason: str


def _history(model: type[Record]) -> QuerySet[Any]:
    return apps.get_model("registry", f"{model.__name__}History")._default_manager.all()


def removed_of(patient: Patient) -> list[Removed]:
    """The removed records of a patient, the latest first. The record number is told of with the patient."""
    found = []
    for model in described_models():
        if model is not PatientIdentity:
            rows = _history(model).filter(pgh_label="delete", **_of_patient(model, patient.pk))
            found += [_removed(model, row) for row in rows]
    return sorted(found, key=lambda one: one.at, reverse=True)


def _of_patient(model: type[Record], patient_id: int) -> dict[str, Any]:
    """How the history of an entity names the patient: itself, by its course or by its run, removed or not."""
    columns = {field.attname for field in model._meta.concrete_fields}
    if "patient_id" in columns:
        return {"patient_id": patient_id}
    for owner in (Course, Run):
        if f"{owner.entity}_id" in columns:
            keys = _history(owner).filter(patient_id=patient_id).values("pgh_obj_id")
            return {f"{owner.entity}_id__in": keys}
    return {"pk__in": []}


def find_removed(model: type[Record], public_id: Any, *, user: User) -> tuple[Removed, Patient | None] | None:
    """A removed record of the user's centre, and its patient if that one is still there."""
    row = _history(model).filter(pgh_label="delete", public_id=public_id).first()
    patient = _patient_of(row) if row else None
    centre_id = getattr(row, "centre_id", None) or getattr(patient, "centre_id", None)
    if centre_id is None or centre_id != user.centre_id:
        return None
    return _removed(model, row), Patient.objects.filter(pk=patient.pgh_obj_id).first() if patient else None


def _patient_of(row: Any) -> Any:
    """The latest state of the patient that a row of history belongs to; None for a record of nobody."""
    for owner in (Run, Course):
        key = getattr(row, f"{owner.entity}_id", None)
        if key and not hasattr(row, "patient_id"):
            row = _history(owner).filter(pgh_obj_id=key).order_by("pgh_id").last()
    key = getattr(row, "patient_id", None)
    return _history(Patient).filter(pgh_obj_id=key).order_by("pgh_id").last() if key else None


def _removed(model: type[Record], row: Any) -> Removed:
    context = row.pgh_context or {}
    return Removed(
        entity=model.entity,
        public_id=row.public_id,
        pk=row.pgh_obj_id,
        name=_name(model, row),
        at=row.pgh_created_at,
        by=context.get("name", ""),
        reason=context.get("reason", ""),
    )


def _name(model: type[Record], row: Any) -> str:
    """What the record was called; only its kind when what it belonged to was removed too."""
    record = model(**{field.attname: getattr(row, field.attname) for field in model._meta.concrete_fields})
    try:
        return str(record)
    except ObjectDoesNotExist:
        return str(model._meta.verbose_name).capitalize()
