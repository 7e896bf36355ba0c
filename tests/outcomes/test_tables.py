"""Tables by part: one row an item, and what nobody recorded named below."""

from __future__ import annotations

from outcomes.committee import for_committee
from outcomes.report import Report
from outcomes.tables import by_part
from tests.outcomes.clinical_rows import measured
from tests.outcomes.rows import AXILLARY, FEMORAL, dataset, day, report

COLUMNS = [("Axillary", "AXILLARY", ""), ("Difference, SD", "ALL", "difference")]


def two_courses(**more: list[dict[str, int]]) -> Report:
    data = dataset(
        [{}, {}],
        [{"course": n, "route": route, "removed": day(2)} for n, route in ((1, AXILLARY), (2, FEMORAL))],
    )
    return report(measured(data, **more), "2026")


def test_a_row_holds_the_parts_of_one_item() -> None:
    table = by_part(two_courses(), "baseline", COLUMNS)
    age = next(row for row in table.rows if row.head == "Age, y")
    assert [cell.key for cell in age.cells if cell] == [
        "baseline/AXILLARY/age",
        "baseline/ALL/age/difference",
    ]
    assert table.columns == ("Axillary", "Difference, SD")


def test_what_nobody_recorded_is_named_and_takes_no_row() -> None:
    table = by_part(two_courses(conditions=[{"lactate_mmol_l": 20}]), "baseline", COLUMNS)
    heads = [row.head for row in table.rows]
    assert "Lactate, mmol/L" in heads
    assert "Sodium, mmol/L" not in heads
    assert any(note.startswith("Recorded in nobody:") and "Sodium" in note for _, note in table.notes)


def test_a_table_of_nothing_says_so() -> None:
    columns = [("Before", "ALL", "before"), ("Change", "ALL", "change")]
    table = by_part(two_courses(), "support.early", columns)
    assert [(row.head, row.cells) for row in table.rows] == [("Nothing recorded", (None, None))]
    assert table.method == ""


def test_a_table_with_nothing_shown_to_the_committee_says_it_is_hidden() -> None:
    seen = two_courses()
    assert not by_part(seen, "baseline", COLUMNS).hidden
    assert by_part(for_committee(seen, threshold=5), "baseline", COLUMNS).hidden
