"""Reading many tables as they stood at one moment, whoever writes meanwhile."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from django.db import connection, transaction

# Compiling such queries takes longer than running them; their joins should fit in memory.
SNAPSHOT = """
    SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY;
    SET LOCAL jit = off;
    SET LOCAL work_mem = '64MB';
"""


@contextmanager
def one_snapshot() -> Iterator[None]:
    """Let all queries inside see the same state, unless a transaction is already under way."""
    nested = connection.in_atomic_block
    with transaction.atomic():
        if not nested:
            with connection.cursor() as cursor:
                cursor.execute(SNAPSHOT)
        yield
