"""A digest of a dataset that does not depend on the order of its rows."""

from __future__ import annotations

import hashlib
from dataclasses import fields
from typing import Any

import numpy as np

from outcomes.dataset import Dataset
from outcomes.estimators.arrays import Ints

TABLES = ("courses", "runs", "events", "sessions", "bedside", "films", "attempts", "candidates")
POSITIONS = {"course": "courses", "run": "runs", "during": "courses"}
SLICES = ("first_run",)  # positions that only say how rows are sorted
WIDTH = 2**256


def fingerprint(dataset: Dataset) -> str:
    """64 hexadecimal digits: the sum, modulo 2^256, of the SHA-256 of every row with its table's name.

    A sum does not know an order, and a changed, added or missing row changes it (multiset hashing: Clarke D
    et al., ASIACRYPT 2003, doi:10.1007/978-3-540-40061-5_12, their additive construction).
    """
    total = 0
    for name in TABLES:
        rows = _rows(dataset, name)
        for row in rows:
            total += int.from_bytes(hashlib.sha256(name.encode() + row.tobytes()).digest(), "big")
    return f"{total % WIDTH:064x}"


def _rows(dataset: Dataset, name: str) -> Ints:
    """The table as whole numbers, one row each; references by key, not by position."""
    table: Any = getattr(dataset, name)
    columns = [_column(dataset, name, field.name) for field in fields(table) if field.name not in SLICES]
    return np.ascontiguousarray(np.stack(columns, axis=1)) if columns[0].size else np.zeros((0, 1), np.int64)


def _column(dataset: Dataset, table: str, column: str) -> Ints:
    values: Ints = np.asarray(getattr(getattr(dataset, table), column)).astype(np.int64)
    target = POSITIONS.get(column)
    if target is None:
        return values
    keys = getattr(dataset, target).pk
    return np.where(values >= 0, np.append(keys, -1)[values], -1)
