"""Records of one kind beside one another: a row a variable, a column a record."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from registry.derived import indices
from registry.history import shown
from registry.models import HaemodynamicSet, Record

EMPTY = "–"


@dataclass(frozen=True)
class Row:
    """``values`` are as shown, one a record; ``formula`` says where a computed one comes from."""

    label: str
    unit: str
    values: tuple[str, ...]
    formula: str = ""


def columns_of(model: type[Record], groups: Iterable[str], *left_out: str) -> list[Any]:
    """Columns of a model that belong to one of the groups."""
    wanted = set(groups)
    return [c for c in model.described() if c.group in wanted and c.name not in left_out]


def value_of(record: Record, column: Any) -> str:
    """A value as shown, its unit left to the heading."""
    text = shown(column, getattr(record, column.name))
    return text.removesuffix(f" {column.unit}") if column.unit else text


def entered(records: Sequence[Record], columns: Iterable[Any]) -> list[Row]:
    """Rows of the variables that at least one record holds."""
    rows = [
        Row(str(column.verbose_name), column.unit, tuple(value_of(record, column) for record in records))
        for column in columns
    ]
    return [row for row in rows if set(row.values) - {EMPTY}]


def computed(sets: Sequence[HaemodynamicSet]) -> list[Row]:
    """Rows of what follows from the sets. An index computed in two ways has two rows."""
    found = [{(i.label, i.unit, i.formula): i.value for i in indices(measured)} for measured in sets]
    keys = dict.fromkeys(key for values in found for key in values)
    return [
        Row(label, unit, tuple(values.get((label, unit, formula), EMPTY) for values in found), formula)
        for label, unit, formula in keys
    ]
