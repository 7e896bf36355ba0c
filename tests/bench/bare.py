"""Tables without their indexes and constraints while rows go in; made again at once, they cost far less."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import Any

CONSTRAINTS = """
    SELECT conrelid::regclass::text, quote_ident(conname), pg_get_constraintdef(oid)
    FROM pg_constraint AS own
    WHERE contype IN ('f', 'u', 'x') AND conrelid = ANY(%s::regclass[]) AND NOT EXISTS (
        SELECT FROM pg_constraint AS other
        WHERE own.contype = 'u' AND other.contype = 'f' AND other.conindid = own.conindid
    )
    ORDER BY contype = 'f'
"""
INDEXES = """
    SELECT indexrelid::regclass::text, pg_get_indexdef(indexrelid)
    FROM pg_index
    WHERE indrelid = ANY(%s::regclass[]) AND NOT EXISTS (
        SELECT FROM pg_constraint WHERE conindid = indexrelid AND contype <> 'f'
    )
"""


@contextmanager
def bare(cursor: Any, tables: Iterable[str]) -> Iterator[None]:
    """Take all but keys that others refer to and checks of single rows off, and put it back afterwards.

    Belongs into a transaction, so that nothing is lost if it fails.
    """
    names = list(tables)
    cursor.execute(CONSTRAINTS, [names])
    constraints = cursor.fetchall()
    for table, name, _ in reversed(constraints):
        cursor.execute(f"ALTER TABLE {table} DROP CONSTRAINT {name}")
    cursor.execute(INDEXES, [names])
    indexes = cursor.fetchall()
    for name, _ in indexes:
        cursor.execute(f"DROP INDEX {name}")
    yield
    cursor.execute("SET LOCAL maintenance_work_mem = '512MB'")
    for _, definition in indexes:
        cursor.execute(definition)
    for table, name, definition in constraints:
        cursor.execute(f"ALTER TABLE {table} ADD CONSTRAINT {name} {definition}")
