"""How the comparison is read."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from outcomes.comparison.reading import load
from registry.models import Centre


@pytest.mark.django_db(transaction=True)
def test_all_is_read_in_one_snapshot_with_the_settings_of_large_reads(centre: Centre) -> None:
    with CaptureQueriesContext(connection) as seen:
        load(centres=[centre])
    settings = [query["sql"] for query in seen if "SET " in query["sql"]]
    assert len(settings) == 1
    assert "REPEATABLE READ" in settings[0]
    assert "SET LOCAL jit = off" in settings[0]
