"""Writing the whole registry as plain tables, one file per entity."""

from __future__ import annotations

import csv
from collections.abc import Callable
from pathlib import Path
from typing import Any

from registry.models import Record
from registry.snapshot import one_snapshot
from registry.tables.cells import write_cell
from registry.tables.layout import TABLES, Link, Table

Key = tuple[Any, ...]
Keys = dict[type[Record], dict[int, Key]]
Progress = Callable[[str, int, int], None]


def silent(name: str, done: int, total: int) -> None:
    """Progress that nobody watches."""


def export_tables(folder: Path, *, progress: Progress = silent) -> dict[str, int]:
    """Write every table into ``folder``, replacing files of the same name; returns rows by table.

    Rows come in the order of their keys, so that two registries with the same content give the same bytes.
    Raises OSError.
    """
    folder.mkdir(parents=True, exist_ok=True)
    keys: Keys = {}
    counts = {}
    with one_snapshot():
        for step, table in enumerate(TABLES, start=1):
            rows = _rows(table, keys)
            _write(folder / table.file, table.columns, rows)
            counts[table.name] = len(rows)
            progress(table.name, step, len(TABLES))
    return counts


def _rows(table: Table, keys: Keys) -> list[list[str]]:
    records = list(table.model._default_manager.order_by())
    keys[table.model] = own = {record.pk: _key(table, record, keys) for record in records}
    records.sort(key=lambda record: own[record.pk])
    return [_cells(table, record, keys) for record in records]


def _key(table: Table, record: Record, keys: Keys) -> Key:
    values = {name: getattr(record, name) for name in table.key if name in table.fields}
    for link in table.links:
        if set(link.columns) <= set(table.key):
            values |= _linked(table, link, record, keys)
    return tuple(values[column] for column in table.key)


def _linked(table: Table, link: Link, record: Record, keys: Keys) -> dict[str, Any]:
    """The columns of a link; none where it points to nothing."""
    pk = getattr(record, f"{link.field}_id")
    return {} if pk is None else dict(zip(link.columns, keys[table.target(link)][pk], strict=True))


def _cells(table: Table, record: Record, keys: Keys) -> list[str]:
    values = {name: getattr(record, name) for name in table.fields}
    for link in table.links:
        values |= _linked(table, link, record, keys)
    return [write_cell(table.field_of(column), values.get(column)) for column in table.columns]


def _write(path: Path, columns: list[str], rows: list[list[str]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)  # lines end as in RFC 4180, so that any line end in a cell is quoted
        writer.writerow(columns)
        writer.writerows(rows)
