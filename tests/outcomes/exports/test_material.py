"""What the files are made of."""

from __future__ import annotations

from outcomes.comparison.cuts import last_quarter_end
from outcomes.exports.material import Material
from tests.outcomes.builder import Logbook
from tests.outcomes.exports.conftest import material_of


def test_quarters_begin_with_the_first_course(material: Material) -> None:
    assert [report.header.period for report in material.quarters] == ["2026-Q1", "2026-Q2", "2026-Q3"]
    assert material.quarters[-1] is material.report


def test_a_period_that_is_no_quarter_has_no_quarters_before(book: Logbook) -> None:
    year = material_of(book, "2026")

    assert (year.quarters, year.trends) == ((), ())
    assert year.forest is not None


def test_all_reports_are_of_one_moment(material: Material) -> None:
    assert {report.header.data_cut for report in material.quarters} == {material.header.data_cut}


def test_a_report_kept_on_its_own_has_its_page(material: Material) -> None:
    kept = Material(report=material.report)

    assert set(kept.tables) == set(material.tables)
    assert kept.trends == ()
    assert not kept.cases_shown


def test_the_committee_compares_until_the_end_of_the_last_quarter(book: Logbook, material: Material) -> None:
    seen = material_of(book, smallest_cell=5)

    assert material.compared is not None
    assert seen.compared is not None
    assert material.compared.data_cut == material.header.data_cut
    assert seen.compared.data_cut == last_quarter_end(seen.header.data_cut, book.centre.zone)
    assert seen.compared_until == f"{seen.compared.data_cut.astimezone(book.centre.zone):%d-%b-%Y}"


def test_an_empty_programme_has_material(nothing: Material) -> None:
    assert nothing.trends == ()
    assert nothing.compared is None
    assert nothing.forest is None
    assert nothing.cases == ()
