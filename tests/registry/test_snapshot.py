"""One moment for all that is read, with the settings that such reading needs."""

from __future__ import annotations

import pytest
from django.db import connection, transaction

from registry.snapshot import one_snapshot

pytestmark = pytest.mark.django_db(transaction=True)
SETTINGS = ("transaction_isolation", "transaction_read_only", "jit", "work_mem")


def settings() -> list[str]:
    with connection.cursor() as cursor:
        found = []
        for name in SETTINGS:
            cursor.execute(f"SHOW {name}")
            found.append(cursor.fetchone()[0])
    return found


def test_a_snapshot_within_another_has_its_settings() -> None:
    usual = settings()
    with one_snapshot(), one_snapshot():
        assert settings() == ["repeatable read", "on", "off", "64MB"]
    assert settings() == usual


def test_a_transaction_under_way_stays_as_it_is() -> None:
    usual = settings()
    with transaction.atomic(), one_snapshot():
        assert settings() == usual
