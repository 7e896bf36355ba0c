"""Descriptions of charts: the last step of layers, and limits beyond the axis of a trend."""

from __future__ import annotations

import pytest

from outcomes.exports.drawing import draw
from outcomes.exports.slides.native import _days_of_columns
from outcomes.figures import Chart, Series, beyond, stack
from outcomes.measures.values import Curve
from outcomes.plotly_charts import plain_spec


def curve(label: str, days: tuple[float, ...], estimate: tuple[float, ...]) -> Curve:
    """A cumulative incidence whose last event falls on the last day of observation."""
    nothing = (None,) * len(days)
    return Curve(
        key=f"bridge/FEMORAL/{label}", measure="bridge", label=f"{label}, femoral", group="FEMORAL",
        quantity="cumulative incidence", counted="courses", subjects=4, start=0.0, days=days,
        estimate=estimate, lower=nothing, upper=nothing, at_risk=(4,) * len(days), risk_days=(),
        risk_counts=(), last_day=22.0, method="Aalen-Johansen",
    )  # fmt: skip


def layers(last: float) -> Chart:
    """Half of the courses out on day 9; the others, or some of them, on day 22, the last of all."""
    curves = [
        curve("Transplant", (22.0,), (last,)),
        curve("Died, or support withdrawn", (9.0,), (0.5,)),
    ]
    return stack(curves, id="chart-x", finding="", label="", x_max=22.0)


@pytest.mark.parametrize("last", [0.5, 0.25])
def test_a_step_on_the_last_day_is_wide_enough_to_be_seen(last: float) -> None:
    chart = layers(last)
    on_page = plain_spec(chart)
    transplant = on_page["data"][0]
    seen = min(chart.held_until or 99.0, chart.x_max or 0.0) - 22.0

    assert transplant["name"] == f"Transplant {last:.0%}"
    assert (transplant["x"][-1], transplant["y"][-1]) == (pytest.approx(22.0 + seen), last)
    assert on_page["layout"]["xaxis"]["range"][1] >= 22.0 + seen
    assert seen >= 0.03 * 22.0


def test_layers_hold_to_the_end_of_the_axis_once_nobody_is_left() -> None:
    assert layers(0.5).held_until is None
    assert layers(0.25).held_until == 23.0


def test_a_drawing_shows_the_last_step_and_says_its_value() -> None:
    drawn = draw(layers(0.25))
    transplant = next(part for part in drawn.split('<path d="M')[1:] if 'fill="#0072B2"' in part)
    points = [point.split() for point in transplant.partition(" Z")[0].split(" L")]
    top = min(float(y) for _, y in points)
    reached = [float(x) for x, y in points if float(y) == top]

    assert "Transplant 25%" in drawn
    assert max(reached) - min(reached) > 10  # pixels


@pytest.mark.parametrize("last", [3.0, 21.2, 22.0, 59.9, 80.0, 121.0])
def test_slides_have_a_column_after_the_last_event(last: float) -> None:
    room = (layers(0.25).held_until or 0.0) - 22.0
    chart = stack([curve("Transplant", (last,), (0.25,))], id="chart-x", finding="", label="", x_max=last)
    held = chart.held_until or 0.0

    assert room >= 1.0
    assert any(last <= day <= held for day in _days_of_columns(chart.x_max or 0.0))


def test_layers_are_named_as_in_the_table_below() -> None:
    assert [series.name for series in layers(0.5).series] == ["Transplant", "Died, or support withdrawn"]


def trend(upper: tuple[float | None, ...]) -> Chart:
    quarters = tuple(f"2026-Q{n + 1}" for n in range(len(upper)))
    series = Series("Femoral", "FEMORAL", quarters, (10.0,) * len(upper), (1.0,) * len(upper), upper)
    return Chart("chart-x", "trend", "", "", "Quarter", "Days", False, (series,), "")


def test_a_limit_beyond_the_axis_or_without_end_is_cut() -> None:
    chart = trend((20.0, None, 90.0))

    assert beyond(chart, chart.series[0]) == ("2026-Q2", "2026-Q3")
    assert chart.cut
    assert not trend((20.0, 30.0)).cut


def test_no_limits_at_all_are_not_cut() -> None:
    series = Series("Femoral", "FEMORAL", ("2026-Q1",), (3.0,), (None,), (None,))
    assert not Chart("chart-x", "trend", "", "", "", "", False, (series,), "").cut
