"""Every chart obeys Plotly's own schema, has its values beside it and needs only the basic bundle."""

from __future__ import annotations

import json
from itertools import pairwise

import numpy as np
import pytest
from plotly.graph_objects import Figure

from outcomes.comparison.build import build_comparison
from outcomes.comparison.choices import Choices
from outcomes.comparison.page.diagram import diagram
from outcomes.comparison.page.drawing import comparison_spec
from outcomes.comparison.page.sections import AT_ONCE, NEEDS, section, sections
from outcomes.comparison.page.values import chart_values
from outcomes.comparison.serialise import as_json
from outcomes.figures import Chart
from tests.outcomes.comparison.simulated import programme, stories

BASIC = {"scatter", "bar"}


@pytest.fixture(scope="module")
def comparison():
    made = programme(
        stories(
            260, 71,
            chance_axillary=lambda severe, age: np.where(severe, 0.4, 0.6),
            risk=lambda axillary, severe, age: np.full(severe.shape, 0.5),
        )
    )  # fmt: skip
    return build_comparison(dataset=made.dataset, facts=made.facts, choices=Choices(bands="1"))


def charts_of(comparison) -> list[Chart]:
    return [part for made in sections(comparison) for part in made.parts if isinstance(part, Chart)]


def without_tokens(value):
    """Colours are named by token and resolved in the browser."""
    if isinstance(value, str) and value.startswith("token:"):
        return "#000000"
    if isinstance(value, dict):
        return {key: without_tokens(part) for key, part in value.items()}
    return [without_tokens(part) for part in value] if isinstance(value, list) else value


def test_all_charts_obey_the_schema(comparison):
    found = charts_of(comparison)
    assert {chart.id for chart in found} >= {
        "chart-balance", "chart-overlap", "chart-forest", "chart-shares", "chart-adjusted", "chart-replaced",
        "chart-died", "chart-learning", "chart-trend-axillary", "chart-trend-femoral",
    }  # fmt: skip
    for chart in found:
        spec = without_tokens(comparison_spec(chart))
        Figure(**spec)
        assert {trace["type"] for trace in spec["data"]} <= BASIC
        assert json.loads(json.dumps(spec, allow_nan=False)) == spec


def test_the_values_stand_beside_every_chart(comparison):
    for chart in charts_of(comparison):
        table = chart_values(chart)
        assert len(table["rows"]) == sum(len(series.x) for series in chart.series)
        assert all(len(row["cells"]) == len(table["columns"]) - 1 for row in table["rows"])


def test_narrow_pages_can_name_rows_above_points_and_leave_ticks_away(comparison):
    for chart in charts_of(comparison):
        layout = comparison_spec(chart)["layout"]
        shape = getattr(chart, "shape", "")
        if shape in ("differences", "balance", "shares"):
            assert set(layout["meta"]["rows"]) == {x for series in chart.series for x in series.x}
        if shape == "control":
            low, high = layout["xaxis"]["range"]
            assert all(low < at < high for at in layout["xaxis"]["tickvals"])


def test_a_section_not_worked_out_yet_is_left_for_later(comparison):
    made = programme(
        stories(
            40, 72,
            chance_axillary=lambda severe, age: np.full(severe.shape, 0.5),
            risk=lambda axillary, severe, age: np.full(severe.shape, 0.5),
        )
    )  # fmt: skip
    short = build_comparison(dataset=made.dataset, facts=made.facts, parts=AT_ONCE)
    assert {type(part).__name__ for part in section(short, "naive").parts} == {"Later"}
    for name, parts in NEEDS.items():
        done = build_comparison(dataset=made.dataset, facts=made.facts, parts=parts)
        assert all(type(part).__name__ != "Later" for part in section(done, name).parts)


def test_bands_of_the_diagram_are_as_wide_as_their_numbers(comparison):
    picture = diagram(comparison.who.moves)
    assert picture is not None
    assert diagram(()) is None
    for stage_x in {node.x for node in picture.nodes}:
        nodes = sorted((node for node in picture.nodes if node.x == stage_x), key=lambda node: node.y)
        for upper, lower in pairwise(nodes):
            assert upper.y + upper.height <= lower.y


def test_json_holds_no_key_of_a_record_and_is_the_same_twice(comparison):
    text = as_json(comparison)
    assert text == as_json(comparison)
    plain = json.loads(text)
    assert '"cases":' not in text
    assert plain["who"]["unit"] == "courses"
    assert "NaN" not in text
