"""Read a query into numpy arrays: arrays of up to 65,536 rows, one per column, built by the server and sent
in one binary COPY row.

Rows one by one would cost the client more than everything else in a report; arrays of fixed-width values
without nulls arrive as one piece each and are decoded in one step. One piece for all rows would take several
times its size while it arrives.
"""

from __future__ import annotations

import struct
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import numpy.typing as npt
from django.db import connection

from outcomes.dataset.clock import POSTGRES_EPOCH_DAYS, minutes_from_postgres
from outcomes.estimators.arrays import Ints

SIGNATURE = b"PGCOPY\n\xff\r\n\0"
COPY_HEADER_BYTES = len(SIGNATURE) + 4 + 4  # flags, length of an extension
ROW_HEADER = struct.Struct("!h")  # number of columns; -1 after the last row
FIELD_HEADER = struct.Struct("!i")  # bytes that follow
ARRAY_HEADER = struct.Struct("!iiiii")  # dimensions, whether any null, type, elements, lower bound

# Choices share numbers of eight bytes, a byte each: the server's time goes by the elements it sends.
CHOICES_PER_WORD = 7  # an eighth could make the number negative
BLOCK_BITS = 16  # of the ids that are sent together
LEAST, GREATEST = np.iinfo(np.int32).min, np.iinfo(np.int32).max

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
    """The columns of ``source`` (what follows FROM) as whole numbers: ids, codes, minutes or days since 1970.

    The first column is an id; rows whose ids are close are sent together, in no order.
    """
    words = _words(columns)
    sent = {name: column for name, column in columns.items() if column.kind != "choice"} | {
        word: Column(_packed(columns[name].sql for name in names), "id") for word, names in words.items()
    }
    inner = ", ".join(f"({c.sql})::{CASTS[c.kind][0]} AS {name}" for name, c in sent.items())
    outer = ", ".join(f"array_agg({name})" for name in sent)
    block = f"{next(iter(sent))} >> {BLOCK_BITS}"
    # OFFSET 0 has the numbers worked out before rows are sorted into blocks, instead of sorting wide texts.
    # Names and expressions are constants of this project; values are parameters.
    wanted = f"(SELECT {inner} FROM {source} OFFSET 0) AS wanted"  # noqa: S608
    query = f"SELECT {outer} FROM {wanted} GROUP BY {block}"  # noqa: S608
    statement = f"COPY ({query}) TO STDOUT (FORMAT BINARY)"
    # Django's wrapper takes no parameters here, so the driver's own cursor is asked.
    with connection.cursor() as cursor, cursor.cursor.copy(statement, parameters) as copy:
        blocks = [_block(row, sent, words) for row in _rows(copy)]
    empty = np.zeros(0, dtype=np.int64)
    return {name: np.concatenate([block.pop(name) for block in blocks] or [empty]) for name in columns}


def _rows(messages: Iterable[Any]) -> Iterator[memoryview]:
    """What follows the number of columns in each row; the server sends every row in a message of its own."""
    for message in messages:
        row = memoryview(message)
        if row[: len(SIGNATURE)] == SIGNATURE:
            row = row[COPY_HEADER_BYTES:]
        if row and ROW_HEADER.unpack_from(row)[0] >= 0:
            yield row[ROW_HEADER.size :]


def _block(
    row: memoryview, sent: Mapping[str, Column], words: Mapping[str, Sequence[str]]
) -> dict[str, Ints]:
    found = _decode(row, sent, words)
    for word, names in words.items():
        found |= _unpacked(found.pop(word), names)
    return found


def _words(columns: Mapping[str, Column]) -> dict[str, list[str]]:
    """Which choices share a number."""
    choices = [name for name, column in columns.items() if column.kind == "choice"]
    starts = range(0, len(choices), CHOICES_PER_WORD)
    return {f"choices_{start}": choices[start : start + CHOICES_PER_WORD] for start in starts}


def _packed(choices: Iterable[str]) -> str:
    """One number of a byte for each choice, 1 added to all of them in one step."""
    words = [f"({sql}) * {256**place}::int8" for place, sql in enumerate(choices)]
    return f"{' + '.join(words)} + {sum(256**place for place in range(len(words)))}"


def _unpacked(word: Ints, names: Sequence[str]) -> dict[str, Any]:
    """Two bytes for a choice instead of eight: in a large registry most of the memory is choices."""
    parts: npt.NDArray[np.uint8] = word.astype("<i8", copy=False).view(np.uint8).reshape(-1, 8)
    return {name: parts[:, place].astype(np.int16) - np.int16(1) for place, name in enumerate(names)}


def _decode(row: memoryview, columns: Mapping[str, Column], words: Iterable[str]) -> dict[str, Ints]:
    found, place = {}, 0
    for name, column in columns.items():
        (length,) = FIELD_HEADER.unpack_from(row, place)
        place += FIELD_HEADER.size
        elements = _elements(row[place : place + length], name, column.kind)
        found[name] = elements if name in words else _native(elements, column.kind)
        place += length
    return found


def _elements(field: memoryview, name: str, kind: Kind) -> npt.NDArray[Any]:
    """The elements of an array as PostgreSQL sends it: each with its length before it."""
    _, has_null, _, size, _ = ARRAY_HEADER.unpack_from(field)
    if has_null:
        raise ValueError(f"column {name} holds a null")
    layout = np.dtype([("bytes", ">i4"), ("value", CASTS[kind][1])])
    elements: npt.NDArray[Any] = np.frombuffer(field, layout, count=size, offset=ARRAY_HEADER.size)["value"]
    return elements


def _native(values: npt.NDArray[Any], kind: Kind) -> Ints:
    numbers: Ints = values.astype(np.int64)
    if kind == "moment":
        numbers = minutes_from_postgres(numbers)
    elif kind == "day":
        numbers += POSTGRES_EPOCH_DAYS
    return narrowed(numbers)


def narrowed(numbers: Ints) -> Ints:
    """The same numbers in 32 bits each, unless one is too large."""
    fits = not numbers.size or (numbers.min() >= LEAST and numbers.max() <= GREATEST)
    return numbers.astype(np.int32) if fits else numbers
