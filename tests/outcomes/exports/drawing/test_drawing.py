"""Static drawings of every kind of chart."""

from __future__ import annotations

from dataclasses import replace
from xml.etree import ElementTree

import pytest

from outcomes.exports.drawing import draw
from outcomes.exports.drawing.canvas import Scale, ceiling, stepped, ticks
from outcomes.exports.drawing.intervals import ratio_words
from outcomes.exports.material import Material
from outcomes.figures import Chart, Series

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


@pytest.mark.parametrize("kind", ["steps", "stack", "dots", "trend", "forest"])
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


def test_a_logarithmic_scale_puts_one_in_the_middle() -> None:
    assert Scale(1 / 16, 16, 0, 100, logarithmic=True).at(1) == pytest.approx(50)


@pytest.mark.parametrize(
    ("value", "lower", "upper", "said"),
    [
        (0.82, 0.41, 1.63, "0.82 (0.41 to 1.63)"),
        (0.0, None, 1.26, "at most 1.26"),
        (float("inf"), 0.019, None, "at least 0.019"),
    ],
)
def test_a_ratio_in_words(value: float, lower: float | None, upper: float | None, said: str) -> None:
    assert ratio_words(Series("", "", ("a",), (value,), (lower,), (upper,)), 0) == said
