"""A digest of a dataset that does not depend on the order of its rows."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import fields
from typing import Any

import numpy as np

from outcomes.dataset import Dataset
from outcomes.estimators.arrays import Ints

TABLES = ("courses", "runs", "events", "sessions", "bedside", "films", "attempts", "candidates")
BESIDE = {"course": "courses", "run": "runs", "laboratory": "courses", "aftermath": "courses"}
POSITIONS = {"course": "courses", "run": "runs", "during": "courses"}
SLICES = ("first_run",)  # positions that only say how rows are sorted
WIDTH = 2**256


def fingerprint(dataset: Dataset) -> str:
    """64 hexadecimal digits: the sum, modulo 2^256, of the SHA-256 of every row with its table's name.

    A sum does not know an order, and a changed, added or missing row changes it (multiset hashing: Clarke D
    et al., ASIACRYPT 2003, doi:10.1007/978-3-540-40061-5_12, their additive construction).
    """
    total = 0
    for name, rows in [*((name, _rows(dataset, name)) for name in TABLES), *_measured(dataset)]:
        for row in rows:
            total += int.from_bytes(hashlib.sha256(name.encode() + row.tobytes()).digest(), "big")
    return f"{total % WIDTH:064x}"


def _rows(dataset: Dataset, name: str) -> Ints:
    """The table as whole numbers, one row each; references by key, not by position."""
    table: Any = getattr(dataset, name)
    columns = [_column(dataset, name, field.name) for field in fields(table) if field.name not in SLICES]
    return np.ascontiguousarray(np.stack(columns, axis=1)) if columns[0].size else np.zeros((0, 1), np.int64)


def _measured(dataset: Dataset) -> Iterator[tuple[str, Ints]]:
    """What was measured beside the counts, each row with its key; late entries by the key of their event."""
    clinical = dataset.clinical
    for name, table in BESIDE.items():
        yield f"clinical {name}", _stacked([getattr(dataset, table).pk, *getattr(clinical, name).values()])
    sets = clinical.pressures
    keys = dataset.courses.pk[sets["course"]]
    yield "pressures", _stacked([keys, *(column for name, column in sets.items() if name != "course")])
    yield "late entries", _stacked([dataset.events.pk[clinical.late_entered]])


def _stacked(columns: Sequence[Ints]) -> Ints:
    return np.ascontiguousarray(np.stack([column.astype(np.int64) for column in columns], axis=1))


def _column(dataset: Dataset, table: str, column: str) -> Ints:
    values: Ints = np.asarray(getattr(getattr(dataset, table), column)).astype(np.int64)
    target = POSITIONS.get(column)
    if target is None:
        return values
    keys = getattr(dataset, target).pk
    return np.where(values >= 0, np.append(keys, -1)[values], -1)
