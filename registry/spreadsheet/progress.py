"""How far an import has come, written where others can see it while its transaction is still open."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TypeAlias

from django.db import connection

from registry.models import StagedSheet

Tell: TypeAlias = Callable[[int, int], None]
EVERY_SECONDS = 0.3


def silent(done: int, total: int) -> None:
    """Progress that nobody watches."""


@contextmanager
def shown_progress(sheet: StagedSheet) -> Iterator[Tell]:
    """A function that writes rows done and rows in all into the staged sheet, over a connection of its own.

    The caller must not have changed the staged sheet in its open transaction.
    """
    aside = connection.copy()
    last = 0.0

    def tell(done: int, total: int) -> None:
        nonlocal last
        now = time.monotonic()
        if done < total and now - last < EVERY_SECONDS:
            return
        last = now
        with aside.cursor() as cursor:
            cursor.execute(
                "UPDATE registry_stagedsheet SET rows_done = %s, rows_total = %s WHERE id = %s",
                [done, total, sheet.pk],
            )

    try:
        yield tell
    finally:
        aside.close()
