"""The forest of the routes: what it draws, and what it may say."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from outcomes.comparison.build import build_comparison
from outcomes.comparison.summary import NEVER_CAUSAL
from outcomes.comparison.value import HIDDEN, Comparison, Contrast
from outcomes.routes import (
    CRUDE,
    LESS,
    MORE,
    WEIGHTED,
    compared_routes,
    finding,
    hedge,
    refusals,
    routes_forest,
)
from tests.outcomes.comparison.simulated import programme, stories

PARTS = ("baseline", "crude", "adjusted")


def made(size: int = 300, risk: float = 0.1) -> Any:
    return programme(
        stories(
            size,
            5,
            chance_axillary=lambda severe, age: np.where(severe, 0.4, 0.6),
            risk=lambda axillary, severe, age: np.where(severe, 3 * risk, risk),
        )
    )


@pytest.fixture(scope="module")
def compared() -> Comparison:
    found = made()
    return build_comparison(dataset=found.dataset, facts=found.facts, parts=PARTS)


def with_difference(compared: Comparison, **values: Any) -> Comparison:
    """The comparison with another weighted difference of the chosen outcome."""
    assert compared.adjusted is not None
    code = compared.choices.outcome
    rows = tuple(
        replace(row, difference=replace(row.difference, **values)) if row.code == code else row
        for row in compared.adjusted.rows
    )
    return replace(compared, adjusted=replace(compared.adjusted, rows=rows))


def test_it_holds_the_figures_of_the_comparison(compared: Comparison) -> None:
    forest = routes_forest(compared)
    assert forest is not None
    crude, weighted = forest.series

    assert (crude.name, weighted.name) == (CRUDE, WEIGHTED)
    by_label = {row.label: row for row in compared.crude.rows} if compared.crude else {}
    for i, name in enumerate(crude.x):
        row = by_label[str(name)]
        assert (crude.y[i], crude.lower[i]) == (row.difference.value, row.difference.lower)
        assert crude.notes[i].startswith(f"{row.axillary.hits}/")
    for i, name in enumerate(weighted.x):
        found = compared.adjusted_row(by_label[str(name)].code)
        assert (weighted.y[i], weighted.upper[i]) == (found.difference.value, found.difference.upper)


def test_an_outcome_that_never_happened_has_no_row(compared: Comparison) -> None:
    forest = routes_forest(compared)
    assert forest is not None
    never = {row.label for row in compared.crude.rows if not row.axillary.hits and not row.femoral.hits}

    assert never
    assert not never & set(forest.rows)


@pytest.mark.parametrize(
    ("lower", "upper", "said"),
    [
        (0.02, 0.3, MORE),
        (-0.3, -0.02, LESS),
        (-0.1, 0.2, "fits no difference, and 10 points fewer to 20 more"),
        (None, None, "nothing can be said"),
    ],
)
def test_a_direction_is_said_only_if_the_limits_leave_out_none(
    compared: Comparison, lower: float | None, upper: float | None, said: str
) -> None:
    assert said in finding(with_difference(compared, value=0.1, lower=lower, upper=upper))


def test_a_refused_outcome_is_crude_and_says_why(compared: Comparison) -> None:
    assert compared.adjusted is not None
    code = compared.choices.outcome
    none = Contrast(measure="", value=None, lower=None, upper=None)
    rows = tuple(
        replace(row, difference=none, refusal="too few events") if row.code == code else row
        for row in compared.adjusted.rows
    )
    refused = replace(compared, adjusted=replace(compared.adjusted, rows=rows))
    forest = routes_forest(refused)

    assert forest is not None
    assert "crude" in finding(refused)
    assert "could not be adjusted" in finding(refused)
    assert any("too few events" in text for text in refusals(refused))
    label = compared.crude_row(code).label
    assert label in forest.series[0].x
    assert not any(label in series.x for series in forest.series[1:])


def test_the_hedge_names_no_cause(compared: Comparison) -> None:
    assert hedge(compared)[0].startswith(NEVER_CAUSAL)


def test_the_committee_gets_no_hidden_row() -> None:
    found = made(60, risk=0.03)
    seen = compared_routes(found.dataset, found.facts, threshold=5, parts=PARTS)
    assert seen is not None
    assert seen.crude is not None
    hidden = {row.label for row in seen.crude.rows if row.difference.note == HIDDEN}
    forest = routes_forest(seen)

    assert hidden
    assert not hidden & set(forest.rows if forest else ())


def test_some_rows_of_it(compared: Comparison) -> None:
    forest = routes_forest(compared)
    assert forest is not None
    one = forest.of([forest.rows[0]])

    assert one.rows == forest.rows[:1]
    assert all(series.x == forest.rows[:1] for series in one.series)
