"""Columns that know what people need to know about them.

A logbook column carries its unit, the range beyond which a value is refused (``hard``), the range beyond
which a reason is asked for (``soft``), the tier group in which it is shown and the source of its definition.
Forms, database constraints, the data dictionary, import and export are all derived from these.
"""

from __future__ import annotations

from typing import Any

from django.contrib.postgres.fields import ArrayField
from django.db import models

PROJECT = "project convention"
PRACTICE = "common practice, no source"
CORE = "core"

Range = tuple[float, float]


class Described:
    """Mixin that keeps the description out of migrations: wording may change without one."""

    def __init__(
        self,
        *args: Any,
        unit: str = "",
        hard: Range | None = None,
        soft: Range | None = None,
        group: str = CORE,
        source: str = PROJECT,
        **kwargs: Any,
    ) -> None:
        self.unit, self.hard, self.soft, self.group, self.source = unit, hard, soft, group, source
        super().__init__(*args, **kwargs)

    def deconstruct(self) -> tuple[str, str, list[Any], dict[str, Any]]:
        name, _, args, kwargs = super().deconstruct()  # type: ignore[misc]
        for wording in ("choices", "help_text", "verbose_name"):
            kwargs.pop(wording, None)
        plain = next(c for c in type(self).__mro__ if c.__module__.startswith("django."))
        package = plain.__module__.partition(".fields")[0]
        path = f"{package}.fields.{plain.__name__}" if "contrib" in package else f"{package}.{plain.__name__}"
        return name, path, args, kwargs


class Code(Described, models.CharField):
    """One coded value. Optional codes store an empty text when nothing was recorded."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        kwargs.setdefault("max_length", 40)
        if kwargs.get("blank"):
            kwargs.setdefault("default", "")
        super().__init__(*args, **kwargs)


class Codes(Described, ArrayField):
    """Several coded values, kept in the order of the code list."""

    def __init__(self, verbose_name: str | None = None, *, codes: Any = None, **kwargs: Any) -> None:
        self.codes = codes
        kwargs.setdefault("base_field", models.CharField(max_length=40))
        kwargs.setdefault("default", list)
        super().__init__(verbose_name=verbose_name, **kwargs)


class Words(Described, models.TextField):
    """Free text, kept short. Never the name of a person."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        kwargs.setdefault("blank", True)
        kwargs.setdefault("default", "")
        super().__init__(*args, **kwargs)


class Label(Described, models.CharField):
    """A short text with a meaning of its own: a study number, an operator code."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        kwargs.setdefault("max_length", 40)
        super().__init__(*args, **kwargs)


class Whole(Described, models.IntegerField):
    """A whole number; empty means not recorded, never zero."""


class Number(Described, models.DecimalField):
    """A measured number; empty means not recorded, never zero."""

    def __init__(self, *args: Any, places: int = 1, **kwargs: Any) -> None:
        kwargs.setdefault("max_digits", 9)
        kwargs.setdefault("decimal_places", places)
        super().__init__(*args, **kwargs)


class Moment(Described, models.DateTimeField):
    """A date with its time, stored in UTC and shown in the centre's zone."""


class Day(Described, models.DateField):
    """A calendar date at the centre."""


class YesNo(Described, models.BooleanField):
    """Yes or no; an optional one is empty until somebody says."""
