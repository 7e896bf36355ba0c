"""The quarters before, and trends over them."""

from __future__ import annotations

from outcomes.committee import for_committee
from outcomes.exports.material import Material
from outcomes.trends import trends
from tests.outcomes.builder import Logbook
from tests.outcomes.exports.conftest import material_of


def test_a_trend_holds_the_figures_of_the_quarters(material: Material) -> None:
    dwell = next(chart for chart in material.trends if chart.id == "chart-trend-dwell-run")
    axillary = dwell.series[0]

    for period, value in zip(axillary.x, axillary.y, strict=True):
        report = next(report for report in material.quarters if report.header.period == period)
        assert value == report.figure("dwell.run/AXILLARY/median").estimate


def test_a_quarter_without_an_estimate_is_left_open(material: Material) -> None:
    dwell = next(chart for chart in material.trends if chart.id == "chart-trend-dwell-run")

    assert dwell.series[0].x == ("2026-Q1", "2026-Q3")
    assert dwell.series[1].x == ("2026-Q2", "2026-Q3")
    assert "no value shown, which is not 0: 2026-Q2 (axillary); 2026-Q1 (femoral)" in dwell.method


def test_a_single_quarter_is_no_trend(material: Material) -> None:
    assert trends(material.quarters[-1:]) == ()
    assert trends(()) == ()


def test_the_committee_sees_what_its_quarters_show(book: Logbook) -> None:
    seen = material_of(book, smallest_cell=5)

    assert [report.header.period for report in seen.quarters] == ["2026-Q1", "2026-Q2", "2026-Q3"]
    assert seen.trends == ()  # every count of so small a programme is hidden
    for report in seen.quarters:
        assert report == for_committee(report, threshold=5)
