"""Charts as Plotly draws them: limits that reach beyond the axis end in an arrow."""

from __future__ import annotations

from plotly.graph_objects import Figure

from outcomes.figures import Chart, Series
from outcomes.plotly_charts import plain_spec, plotly_spec


def test_a_cut_limit_ends_in_an_arrow_on_the_edge_of_the_axis() -> None:
    quarters = ("2026-Q1", "2026-Q2", "2026-Q3")
    axillary = Series("Axillary", "AXILLARY", quarters, (9.0,) * 3, (1.0,) * 3, (20.0, 20.0, 20.0), ("",) * 3)
    femoral = Series("Femoral", "FEMORAL", quarters, (9.0,) * 3, (1.0,) * 3, (20.0, None, 90.0), ("",) * 3)
    spec = plotly_spec(Chart("chart-x", "trend", "", "", "Quarter", "Days", False, (axillary, femoral), ""))
    arrows = [trace for trace in spec["data"] if trace["marker"]["symbol"] == "triangle-up"]
    edge = spec["layout"]["yaxis"]["range"][1]

    assert [trace["offsetgroup"] for trace in arrows] == ["FEMORAL"]
    assert arrows[0]["x"] == ["2026-Q2", "2026-Q3"]
    assert set(arrows[0]["y"]) == {edge}


def test_rows_are_named_for_a_narrow_page() -> None:
    series = Series("Axillary", "AXILLARY", ("b", "a"), (0.1, 0.2), (0.0, 0.1), (0.3, 0.4), ("1/9", "2/9"))
    spec = plain_spec(Chart("chart-x", "dots", "", "", "", "", True, (series,), ""))

    Figure(**spec)
    assert spec["layout"]["meta"] == {"rows": ["b", "a"]}
