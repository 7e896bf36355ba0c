"""Read a query into numpy arrays by PostgreSQL's binary COPY, over Django's own connection.

Every column has a fixed width and no null, so the whole answer is one structured array.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from django.db import connection

from outcomes.dataset.clock import POSTGRES_EPOCH_DAYS, minutes_from_postgres
from outcomes.estimators.arrays import Ints

SIGNATURE = b"PGCOPY\n\xff\r\n\0"
HEADER_BYTES = len(SIGNATURE) + 8  # flags and length of an extension, both zero
TRAILER_BYTES = 2

Kind = Literal["code", "id", "moment", "day"]
CASTS: dict[Kind, tuple[str, str]] = {
    "code": ("int2", ">i2"),
    "id": ("int8", ">i8"),
    "moment": ("timestamptz", ">i8"),
    "day": ("date", ">i4"),
}


@dataclass(frozen=True)
class Column:
    """SQL of a column that is never null, and what its numbers mean."""

    sql: str
    kind: Kind


def read_columns(
    columns: Mapping[str, Column], source: str, parameters: Mapping[str, Any]
) -> dict[str, Ints]:
    """The columns of ``source`` (what follows FROM) as int64: ids, codes, minutes or days since 1970."""
    select = ", ".join(f"({column.sql})::{CASTS[column.kind][0]}" for column in columns.values())
    statement = f"COPY (SELECT {select} FROM {source}) TO STDOUT (FORMAT BINARY)"  # noqa: S608 - no input in it
    # Django's wrapper takes no parameters here, so the driver's own cursor is asked.
    with connection.cursor() as cursor, cursor.cursor.copy(statement, parameters) as copy:
        rows = _decode(b"".join(copy), columns)
    return {name: _native(rows[name], column.kind) for name, column in columns.items()}


def _decode(answer: bytes, columns: Mapping[str, Column]) -> Any:
    fields: list[tuple[str, str]] = [("columns in row", ">i2")]
    for name, column in columns.items():
        fields += [(f"bytes of {name}", ">i4"), (name, CASTS[column.kind][1])]
    layout = np.dtype(fields)
    rows, rest = divmod(len(answer) - HEADER_BYTES - TRAILER_BYTES, layout.itemsize)
    table = np.frombuffer(answer, layout, count=rows, offset=HEADER_BYTES)
    if rest or not (table["columns in row"] == len(columns)).all():
        raise ValueError(f"a column of {', '.join(columns)} was null or of another width")
    return table


def _native(values: Any, kind: Kind) -> Ints:
    numbers: Ints = values.astype(np.int64)
    if kind == "moment":
        return minutes_from_postgres(numbers)
    return numbers + POSTGRES_EPOCH_DAYS if kind == "day" else numbers
