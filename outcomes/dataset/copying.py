"""Read a query into numpy arrays: one array per column, built by the server and sent in one binary COPY
row.

Rows one by one would cost the client more than everything else in a report; arrays of fixed-width values
without nulls arrive as one piece each and are decoded in one step.
"""

from __future__ import annotations

import struct
from collections.abc import Iterable, Mapping, Sequence
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

# Choices share numbers of eight bytes, a byte each: the server's time goes by the elements it sends.
CHOICES_PER_WORD = 7  # an eighth could make the number negative

Kind = Literal["choice", "code", "id", "moment", "day"]
CASTS: dict[Kind, tuple[str, str]] = {
    "code": ("int2", ">i2"),
    "id": ("int8", ">i8"),
    "moment": ("timestamptz", ">i8"),
    "day": ("date", ">i4"),
}


@dataclass(frozen=True)
class Column:
    """SQL of a column that is never null, and what its numbers mean; a choice lies between -1 and 254."""

    sql: str
    kind: Kind


def read_columns(
    columns: Mapping[str, Column], source: str, parameters: Mapping[str, Any]
) -> dict[str, Ints]:
    """The columns of ``source`` (what follows FROM) as int64: ids, codes, minutes or days since 1970."""
    words = _words(columns)
    sent = {name: column for name, column in columns.items() if column.kind != "choice"} | {
        word: Column(_packed(columns[name].sql for name in names), "id") for word, names in words.items()
    }
    inner = ", ".join(f"({c.sql})::{CASTS[c.kind][0]} AS {name}" for name, c in sent.items())
    outer = ", ".join(f"array_agg({name})" for name in sent)
    # Names and expressions are constants of this project; values are parameters.
    query = f"SELECT {outer} FROM (SELECT {inner} FROM {source}) AS wanted"  # noqa: S608
    statement = f"COPY ({query}) TO STDOUT (FORMAT BINARY)"
    # Django's wrapper takes no parameters here, so the driver's own cursor is asked.
    with connection.cursor() as cursor, cursor.cursor.copy(statement, parameters) as copy:
        answer = b"".join(copy)
    found = _decode(answer, sent)
    for word, names in words.items():
        found |= _unpacked(found.pop(word), names)
    return found


def _words(columns: Mapping[str, Column]) -> dict[str, list[str]]:
    """Which choices share a number."""
    choices = [name for name, column in columns.items() if column.kind == "choice"]
    starts = range(0, len(choices), CHOICES_PER_WORD)
    return {f"choices_{start}": choices[start : start + CHOICES_PER_WORD] for start in starts}


def _packed(choices: Iterable[str]) -> str:
    return " + ".join(f"(({sql}) + 1)::int8 * {256**place}" for place, sql in enumerate(choices))


def _unpacked(word: Ints, names: Sequence[str]) -> dict[str, Any]:
    """Two bytes for a choice instead of eight: in a large registry most of the memory is choices."""
    parts: npt.NDArray[np.uint8] = word.astype("<i8", copy=False).view(np.uint8).reshape(-1, 8)
    return {name: parts[:, place].astype(np.int16) - np.int16(1) for place, name in enumerate(names)}


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
