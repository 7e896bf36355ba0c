"""What all logbook records share: a public identifier, a version, constraints from their columns, history."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from datetime import UTC, date, datetime
from typing import Any, ClassVar, TypeVar

import pghistory
from django.db import models
from django.db.models import Q

from registry.fields import Code, Codes, Day, Described, Moment

EARLIEST_YEAR, LATEST_YEAR = 1990, 2100

M = TypeVar("M", bound="Record")


class Record(models.Model):
    """A row that people edit.

    ``version`` counts its saves, so that a form opened before somebody else saved is noticed.
    """

    public_id = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    version = models.PositiveIntegerField(default=1, editable=False)

    entity = ""

    class Meta:
        abstract = True
        constraints: ClassVar[list[models.BaseConstraint]] = []

    @classmethod
    def described(cls) -> list[Any]:
        """The columns people fill, in the order they were written down."""
        return [f for f in cls._meta.fields if isinstance(f, Described)]


def label_of(model: type[Record], name: str) -> str:
    """What people call a column."""
    return next(str(column.verbose_name) for column in model.described() if column.name == name)


def _codes_of(field: Any) -> list[Any]:
    codes = [value for value, _ in field.choices]
    return [*codes, ""] if field.blank and isinstance(field, Code) else codes


def column_rules(model: type[Record]) -> list[models.CheckConstraint]:
    """Constraints that follow from the columns alone: known codes, hard ranges, sane years."""
    rules = []
    for field in model.described():
        name, table = field.name, model._meta.model_name
        if isinstance(field, Codes):
            condition = Q(**{f"{name}__contained_by": list(field.codes.values)})
        elif field.choices:
            condition = Q(**{f"{name}__in": _codes_of(field)})
        elif isinstance(field, Moment):
            span = datetime(EARLIEST_YEAR, 1, 1, tzinfo=UTC), datetime(LATEST_YEAR, 1, 1, tzinfo=UTC)
            condition = Q(**{f"{name}__range": span})
        elif isinstance(field, Day):
            condition = Q(**{f"{name}__range": (date(EARLIEST_YEAR, 1, 1), date(LATEST_YEAR, 1, 1))})
        elif field.hard:
            condition = Q(**{f"{name}__range": field.hard})
        else:
            continue
        rules.append(models.CheckConstraint(condition=condition, name=f"{table}_{name}_value"))
    return rules


def logbook_record(entity: str) -> Callable[[type[M]], type[M]]:
    """Class decorator: name the entity, add the column constraints, keep every change as history.

    The history model is called ``<Model>History`` and is reached as ``record.history``.
    """

    def wrap(model: type[M]) -> type[M]:
        model.entity = entity
        model._meta.constraints = [*model._meta.constraints, *column_rules(model)]
        track = pghistory.track(
            pghistory.InsertEvent(),
            pghistory.UpdateEvent(),
            pghistory.DeleteEvent(),
            model_name=f"{model.__name__}History",
            obj_field=pghistory.ObjForeignKey(related_name="history", related_query_name="history"),
            append_only=True,
        )
        return track(model)

    return wrap
