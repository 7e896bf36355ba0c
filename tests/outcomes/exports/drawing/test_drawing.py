"""Static drawings of every kind of chart."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from xml.etree import ElementTree

import pytest

from outcomes.comparison.page.sections import sections
from outcomes.comparison.value import Comparison
from outcomes.exports.drawing import draw
from outcomes.exports.drawing.canvas import ceiling, stepped, ticks
from outcomes.exports.drawing.compared import difference_words, reach_of, signed_ticks
from outcomes.exports.drawing.sequences import LABELS_APART
from outcomes.exports.material import Material
from outcomes.figures import Chart, Series
from outcomes.routes import routes_forest

SVG = "{http://www.w3.org/2000/svg}"


def chart(kind: str, **changes: object) -> Chart:
    """A small chart of a kind."""
    rows: tuple[float | str, ...] = (0.0, 2.0, 5.0) if kind in ("steps", "stack") else ("one", "two", "three")
    series = tuple(
        Series(name, group, rows, (0.1, 0.4, 0.5), (None, 0.2, 0.3), (None, 0.6, None), ("1/9", "4/9", "5/9"))
        for name, group in (("Axillary", "AXILLARY"), ("Femoral", "FEMORAL"))
    )
    made = Chart("chart-x", kind, "A finding", "A label", "x", "y", True, series, "method")  # type: ignore[arg-type]
    return replace(made, **changes)  # type: ignore[arg-type]


@pytest.mark.parametrize("kind", ["steps", "stack", "dots", "trend"])
def test_every_kind_is_one_named_and_described_drawing(kind: str) -> None:
    root = ElementTree.fromstring(draw(chart(kind)))

    assert root.tag == f"{SVG}svg"
    assert root.findtext(f"{SVG}title") == "A finding"
    assert "A label" in (root.findtext(f"{SVG}desc") or "")


def test_every_chart_of_a_quarter_can_be_drawn(material: Material) -> None:
    for each in material.charts.values():
        ElementTree.fromstring(draw(each))
        assert draw(each) == draw(each)


def test_words_are_escaped() -> None:
    text = draw(chart("steps", finding='<script>"&', y_title="<b>"))

    assert "<script>" not in text
    assert "<b>" not in text


@pytest.mark.parametrize("kind", ["steps", "trend"])
def test_routes_differ_in_more_than_colour(kind: str) -> None:
    drawn = draw(chart(kind))

    assert "stroke-dasharray" in drawn
    assert 'stroke="#0072B2"' in drawn
    assert 'stroke="#D55E00"' in drawn


def test_a_step_holds_until_the_next_day() -> None:
    assert stepped([(0, 1.0), (2, 0.5), (3, 0.5)]) == [(0, 1.0), (2, 1.0), (2, 0.5), (3, 0.5)]


def test_a_limit_beyond_the_axis_is_cut_and_marked() -> None:
    wide = Series(
        "Axillary", "AXILLARY", ("2026-Q1", "2026-Q2"), (0.1, 0.1), (0.0, 0.0), (0.2, 9.0), ("", "")
    )
    drawn = draw(chart("trend", series=(wide,), percent=False))

    assert drawn.count(" Z") == 1  # the head of one arrow; the markers are squares


def test_ticks_are_round_and_end_at_the_ceiling() -> None:
    assert ticks(ceiling(0.83)) == pytest.approx([0, 0.2, 0.4, 0.6, 0.8, 1.0])
    assert ticks(ceiling(7)) == [0, 2, 4, 6, 8]


def test_every_chart_of_the_comparison_can_be_drawn(compared: Comparison) -> None:
    charts = [part for each in sections(compared) for part in each.parts if isinstance(part, Chart)]
    shapes = {getattr(each, "shape", "") for each in charts}

    assert shapes >= {"", "differences", "balance", "bins", "sums", "control"}
    for each in charts:
        root = ElementTree.fromstring(draw(each))
        marks = [mark.attrib for mark in root.iter() if mark.tag in (f"{SVG}circle", f"{SVG}text")]
        width = float(root.attrib["width"])
        assert all(0 <= float(mark.get("cx", mark.get("x", 0))) <= width for mark in marks), each.id


def test_a_forest_holds_every_limit_and_says_every_difference(compared: Comparison) -> None:
    forest = routes_forest(compared)
    assert forest is not None
    drawn, reach = draw(forest), reach_of(forest)

    for series in forest.series:
        assert all(-reach <= low <= high <= reach for low, high in limits_of(series))
        assert all(difference_words(series, i) in drawn for i in range(len(series.x)))
    assert 0.0 in signed_ticks(reach)


def limits_of(series: Series) -> list[tuple[float, float]]:
    pairs = zip(series.lower, series.upper, strict=True)
    return [(low, high) for low, high in pairs if low is not None and high is not None]


def test_a_difference_in_words() -> None:
    series = Series("", "", ("a", "b"), (0.17, -0.004), (0.03, None), (0.32, None))

    assert difference_words(series, 0) == "+17 (+3 to +32)"
    assert difference_words(series, 1) == "0"


def test_a_long_title_of_an_axis_is_broken() -> None:
    title = "Pumps without the event since the one before, in order"
    drawn = draw(chart("trend", y_title=title, percent=False))

    assert title not in drawn
    assert all(word in drawn for word in ("Pumps", "in order"))


def test_words_below_a_control_chart_stand_apart(compared: Comparison) -> None:
    charts = [part for each in sections(compared) for part in each.parts if isinstance(part, Chart)]
    control = next(each for each in charts if getattr(each, "shape", "") == "control")
    crowded = replace(control, starts=tuple(range(len(control.series[0].x))))  # type: ignore[call-arg]
    root = ElementTree.fromstring(draw(crowded))
    months = {*control.series[0].notes}
    places = [float(mark.attrib["x"]) for mark in root.iter(f"{SVG}text") if mark.text in months]

    assert len(places) > 1
    assert all(after - before >= LABELS_APART for before, after in pairwise(places))
