"""The quarter as a page, and its charts, built from a small logbook."""

from __future__ import annotations

from dataclasses import asdict, replace

import pytest
from django.template.loader import render_to_string
from plotly.graph_objects import Figure as PlotlyFigure

from outcomes.figures import Chart, Series
from outcomes.measures.values import ALL_ROUTES
from outcomes.plotly_charts import plotly_spec
from outcomes.quarter import Section, Table, key_figures, sections
from outcomes.report import Report
from outcomes.tables import IN_BOTH
from tests.outcomes.builder import Logbook

pytestmark = pytest.mark.django_db


@pytest.fixture
def report() -> Report:
    """Two axillary courses, one with an exchange, and a femoral one that crossed over."""
    book = Logbook()
    first = book.course()
    book.run(first, "2026-07-02 10:00", "2026-07-12 10:00")
    book.run(first, "2026-07-12 10:30", "2026-07-20 10:00")
    book.outcome(first, "2026-07-20 10:00")
    second = book.course()
    book.run(second, "2026-08-01 09:00")
    third = book.course()
    book.run(third, "2026-08-03 09:00", "2026-08-07 09:00", route="FEMORAL_L")
    book.run(
        third,
        "2026-08-07 09:20",
        "2026-08-22 09:20",
        relation="ROUTE_CROSSOVER",
        exchange_reason="PLANNED_ROUTE_CHANGE",
    )
    return book.report("2026-Q3")


def tables(report: Report) -> list[Table]:
    return [part for section in sections(report) for part in section.parts if isinstance(part, Table)]


def charts(report: Report) -> list[Chart]:
    return [part for section in sections(report) for part in section.parts if isinstance(part, Chart)]


def test_every_figure_of_the_report_stands_on_the_page(report: Report) -> None:
    on_page = {cell.key for table in tables(report) for row in table.rows for cell in row.cells if cell}
    readings_of_all = {f.key for f in report.figures if f.at_day is not None and f.group == ALL_ROUTES}
    of_nobody = {f.key for f in report.figures if "recorded in none" in f.note or "no pair" in f.note}
    one_arm = {f.key for f in report.figures if "a route has no recorded value" in f.note}

    assert {f.key for f in report.figures} - on_page <= readings_of_all | of_nobody | one_arm
    assert readings_of_all.isdisjoint(on_page)


def test_every_cell_names_a_figure_that_opens(report: Report) -> None:
    for table in tables(report):
        for row in table.rows:
            for cell in row.cells:
                if cell:
                    report.cases(cell.key)


def test_identifiers_are_unique_on_the_page(report: Report) -> None:
    shown: tuple[Section, ...] = sections(report)
    ids = [section.id for section in shown] + [part.id for section in shown for part in section.parts]

    assert len(ids) == len(set(ids))


def test_an_exchange_is_a_run_and_no_patient(report: Report) -> None:
    begun = next(table for table in tables(report) if table.id == "table-volume-begun")
    values = {row.head: [cell.shown.value for cell in row.cells if cell] for row in begun.rows}

    assert values["Patients"][-1] == "3"
    assert values["Runs"][-1] == "5"


def test_the_strip_on_top_holds_what_people_ask_first(report: Report) -> None:
    assert {"Patients begun", "Device-days", "Bridged to any therapy"} <= {
        label for label, _ in key_figures(report)
    }


def test_charts_are_valid_for_plotly_and_tell_routes_apart_three_ways(report: Report) -> None:
    for chart in charts(report):
        spec = plotly_spec(chart)
        PlotlyFigure(spec)
        lines = [t for t in spec["data"] if t.get("name") in ("Axillary", "Femoral")]
        marks = {
            (t.get("line", {}).get("color"), t.get("line", {}).get("dash"), t.get("marker", {}).get("symbol"))
            for t in lines
        }
        assert len(marks) == len({t["name"] for t in lines})


def test_charts_draw_only_kinds_that_the_small_bundle_holds(report: Report) -> None:
    assert {trace["type"] for chart in charts(report) for trace in plotly_spec(chart)["data"]} <= {
        "scatter",
        "bar",
    }


def test_charts_with_the_routes_side_by_side_share_their_days(report: Report) -> None:
    spans = {chart.x_max for chart in charts(report) if chart.kind == "stack"}

    assert len(spans) == 1


def test_step_charts_start_at_insertion(report: Report) -> None:
    for chart in charts(report):
        if chart.kind == "steps":
            assert all(asdict(series)["x"][0] == 0.0 for series in chart.series)


def test_an_empty_quarter_is_a_page_too() -> None:
    assert [section.id for section in sections(Logbook().report("2026-Q3"))]


def test_data_quality_closes_the_page_and_opens_it_for_a_committee(report: Report) -> None:
    usual = [section.id for section in sections(report)]
    assert usual[-1] == "quality"
    assert [section.id for section in sections(report, quality_first=True)] == ["quality", *usual[:-1]]


def test_the_bridge_charts_say_where_the_courses_led(report: Report) -> None:
    said = next(chart.finding for chart in charts(report) if chart.id == "chart-bridge-axillary")
    assert said.startswith("Axillary first, 2 courses: by day 30 ")


def test_a_rate_beside_shares_names_its_unit(report: Report) -> None:
    heads = {table.id: [row.head for row in table.rows] for table in tables(report)}
    assert heads["table-repositions"] == ["Reposition", "Reposition, per 1,000 device-days"]
    assert "Bleeding" in heads["table-complications-rate"]


def test_nobody_left_out_takes_no_note(report: Report) -> None:
    notes = [note for table in tables(report) if table.id == "table-success" for _, note in table.notes]
    assert notes
    assert all(note.startswith("not in it: ") for note in notes)
    assert not any(" 0 " in note for note in notes)


def test_charts_of_mobilisation_name_no_route_and_say_which_one_counts(report: Report) -> None:
    labels = [chart.label for chart in charts(report) if chart.id in ("chart-walk", "chart-out-of-bed")]
    assert labels
    for label in labels:
        assert label.endswith(", by first route (the route of the first pump)")
        assert "axillary" not in label


def test_tables_at_fixed_days_name_the_route_in_words(report: Report) -> None:
    bridge = next(table for table in tables(report) if table.id == "table-bridge-days")
    shown = render_to_string("quarter/table.html", {"table": bridge, "report": report})
    names = {row.head for row in bridge.rows}
    layers = {series.name for chart in charts(report) if chart.kind == "stack" for series in chart.series}

    assert "Transplant, axillary</span>" in shown
    assert "Transplant, femoral</span>" in shown
    assert layers == names - {"Still supported"}


def test_a_patient_of_both_routes_is_explained_where_patients_are_counted(report: Report) -> None:
    noted = {table.id for table in tables(report) if ("", IN_BOTH) in table.notes}
    assert "table-complications-patients" in noted
    assert "table-complications-rate" not in noted


def test_nothing_is_explained_where_everybody_had_one_route() -> None:
    book = Logbook()
    for route in ("AXILLARY_L", "FEMORAL_L"):
        book.run(book.course(), "2026-07-02 10:00", "2026-07-12 10:00", route=route)
    assert not any(("", IN_BOTH) in table.notes for table in tables(book.report("2026-Q3")))


def test_a_chart_says_what_it_shows_and_that_limits_are_cut(report: Report) -> None:
    walk = next(chart for chart in charts(report) if chart.id == "chart-walk")
    wide = Series("Axillary", "AXILLARY", ("2026-Q2", "2026-Q3"), (1.0, 1.0), (0.1, 0.1), (2.0, None))
    cut = replace(walk, kind="trend", series=(wide,))
    shown = {
        chart.kind: render_to_string("quarter/chart.html", {"part": {"chart": chart, "table": {"rows": []}}})
        for chart in (walk, cut)
    }

    assert f'<p class="method">{walk.label}. ' in shown["steps"]
    assert "end in an arrow" not in shown["steps"]
    assert "Limits that reach beyond the drawing end in an arrow." in shown["trend"]
