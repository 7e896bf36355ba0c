"""Read a query into numpy arrays: one array per column, built by the server and sent in one binary COPY
row.

Rows one by one would cost the client more than everything else in a report; arrays of fixed-width values
without nulls arrive as one piece each and are decoded in one step.
"""

from __future__ import annotations

import struct
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import numpy.typing as npt
from django.db import connection

from outcomes.dataset.clock import POSTGRES_EPOCH_DAYS, minutes_from_postgres
from outcomes.estimators.arrays import Ints

COPY_HEADER_BYTES = 11 + 4 + 4 + 2  # signature, flags, length of an extension; number of columns of the row
FIELD_HEADER = struct.Struct("!i")  # bytes that follow; -1 for null, which an aggregate over no row is
ARRAY_HEADER = struct.Struct("!iiiii")  # dimensions, whether any null, type, elements, lower bound

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
    inner = ", ".join(f"({c.sql})::{CASTS[c.kind][0]} AS {name}" for name, c in columns.items())
    outer = ", ".join(f"array_agg({name})" for name in columns)
    # Names and expressions are constants of this project; values are parameters.
    query = f"SELECT {outer} FROM (SELECT {inner} FROM {source}) AS wanted"  # noqa: S608
    statement = f"COPY ({query}) TO STDOUT (FORMAT BINARY)"
    # Django's wrapper takes no parameters here, so the driver's own cursor is asked.
    with connection.cursor() as cursor, cursor.cursor.copy(statement, parameters) as copy:
        answer = b"".join(copy)
    return _decode(answer, columns)


def _decode(answer: bytes, columns: Mapping[str, Column]) -> dict[str, Ints]:
    found, place = {}, COPY_HEADER_BYTES
    for name, column in columns.items():
        (length,) = FIELD_HEADER.unpack_from(answer, place)
        place += FIELD_HEADER.size
        field = memoryview(answer)[place : place + max(length, 0)]
        found[name] = _native(_elements(field, name, column.kind), column.kind)
        place += max(length, 0)
    return found


def _elements(field: memoryview, name: str, kind: Kind) -> npt.NDArray[Any]:
    """The elements of an array as PostgreSQL sends it: each with its length before it."""
    if not field:
        return np.zeros(0, dtype=CASTS[kind][1])
    _, has_null, _, size, _ = ARRAY_HEADER.unpack_from(field)
    if has_null:
        raise ValueError(f"column {name} holds a null")
    layout = np.dtype([("bytes", ">i4"), ("value", CASTS[kind][1])])
    elements: npt.NDArray[Any] = np.frombuffer(field, layout, count=size, offset=ARRAY_HEADER.size)["value"]
    return elements


def _native(values: npt.NDArray[Any], kind: Kind) -> Ints:
    numbers: Ints = values.astype(np.int64)
    if kind == "moment":
        return minutes_from_postgres(numbers)
    return numbers + POSTGRES_EPOCH_DAYS if kind == "day" else numbers
