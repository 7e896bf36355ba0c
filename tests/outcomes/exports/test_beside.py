"""Trends and route ratios beside the quarter."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from outcomes.exports.beside import complication_ratios
from outcomes.exports.material import Material
from outcomes.report import Report
from tests.outcomes.builder import Logbook


def with_rates(report: Report, **events: tuple[int, float, int, float]) -> Report:
    """The report with other events and device-days for its sums, by item: axillary, then femoral."""
    figures = []
    for figure in report.figures:
        item = figure.key.split("/")[2] if figure.measure == "complications" else ""
        if figure.unit == "per 1,000 device-days" and item in events and figure.group != "ALL":
            axillary = figure.group == "AXILLARY"
            count, days = events[item][:2] if axillary else events[item][2:]
            figure = replace(figure, numerator=count, denominator=days)
        figures.append(figure)
    return replace(report, figures=tuple(figures))


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


def test_the_ratio_is_that_of_the_rates(material: Material) -> None:
    chart = complication_ratios(with_rates(material.report, ANY=(12, 400.0, 5, 250.0)))
    assert chart is not None
    series = chart.series[0]

    assert series.x[0] == "Any complication"
    assert series.y[0] == pytest.approx((12 / 400) / (5 / 250))
    assert series.notes[0] == "12 v 5"
    low, high = series.lower[0], series.upper[0]
    assert low is not None
    assert high is not None
    assert low < 1.5 < high


@pytest.mark.parametrize(
    ("events", "said"),
    [
        ((40, 400.0, 5, 400.0), "more often on the axillary route"),
        ((5, 400.0, 40, 400.0), "less often on the axillary route"),
        ((10, 400.0, 9, 400.0), "cannot be told apart"),
    ],
)
def test_a_direction_is_said_only_if_the_limits_leave_out_one(
    material: Material, events: tuple[int, float, int, float], said: str
) -> None:
    chart = complication_ratios(with_rates(material.report, ANY=events))

    assert chart is not None
    assert said in chart.finding
    assert "crude" in chart.finding


def test_no_event_on_one_route_leaves_one_finite_limit(material: Material) -> None:
    chart = complication_ratios(
        with_rates(material.report, ANY=(3, 400.0, 0, 250.0), SERIOUS=(0, 9.0, 2, 9.0))
    )
    assert chart is not None
    series = chart.series[0]

    assert math.isinf(series.y[0])
    assert series.upper[0] is None
    assert series.lower[0]
    assert series.y[1] == 0
    assert series.lower[1] is None
    assert series.upper[1]


def test_without_events_there_is_nothing_to_compare(db: None) -> None:
    assert complication_ratios(Logbook().report("2026-Q3")) is None
