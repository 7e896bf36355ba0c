"""Records beside one another."""

from __future__ import annotations

from datetime import timedelta

import pytest

from registry.beside import Row, columns_of, computed, entered, value_of
from registry.models import HaemodynamicSet, Run
from tests.factories import create_haemodynamics

pytestmark = pytest.mark.django_db
COLUMNS = columns_of(HaemodynamicSet, ("haemodynamics",), "measured_at", "on_support", "surface_formula")


def two_sets(run: Run) -> list[HaemodynamicSet]:
    first = create_haemodynamics(
        course=run.course, on_support="NONE", systolic_mmhg=120, diastolic_mmhg=60, mean_mmhg=None
    )
    later = create_haemodynamics(
        course=run.course, measured_at=first.measured_at + timedelta(hours=1), on_support="IABP", mean_mmhg=70
    )
    return [first, later]


def test_columns_belong_to_the_groups_asked_for() -> None:
    names = [column.name for column in columns_of(Run, ("device",), "udi_raw")]
    assert names == ["udi_di", "lot", "serial", "expires_on", "console_code"]


def test_a_variable_that_no_record_holds_has_no_row(run: Run) -> None:
    rows = {row.label: row for row in entered(two_sets(run), COLUMNS)}
    assert rows["systolic"].values[0] == "120"
    assert rows["systolic"].unit == "mmHg"
    assert rows["measured mean"].values == ("–", "70")
    assert "note" not in rows


def test_an_index_computed_in_two_ways_has_two_rows(run: Run) -> None:
    means = [row for row in computed(two_sets(run)) if row.label == "Mean pressure"]
    assert means == [
        Row("Mean pressure", "mmHg", ("80", "–"), "(systolic + 2 diastolic) / 3"),  # (120 + 120) / 3
        Row("Mean pressure", "mmHg", ("–", "70"), "measured"),
    ]


def test_no_record_no_row() -> None:
    assert entered([], COLUMNS) == []
    assert computed([]) == []


def test_the_unit_is_left_to_the_heading(run: Run) -> None:
    run.contrast_ml = 0
    column = Run._meta.get_field("contrast_ml")
    assert value_of(run, column) == "0"
    assert value_of(Run(), column) == "–"
