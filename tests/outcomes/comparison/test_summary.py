"""The plain words on top follow fixed rules and never claim a cause."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from outcomes.comparison.build import build_comparison
from outcomes.comparison.summary import NEVER_CAUSAL, summary
from outcomes.comparison.value import Comparison, Contrast, Restriction
from tests.outcomes.comparison.simulated import programme, stories

PARTS = ("baseline", "crude", "adjusted")
CAUSAL = re.compile(
    r"\b(caus\w+|because of|leads? to|led to|prevent\w*|protect\w*|safer|better|worse|due to|effect of|"
    r"results? in|reduc\w+|increas\w+|superior|inferior|recommend\w*)\b",
    re.IGNORECASE,
)


def comparison(effect: float, seed: int = 61, size: int = 700) -> Comparison:
    made = programme(
        stories(
            size, seed,
            chance_axillary=lambda severe, age: np.where(severe, 0.3, 0.7),
            risk=lambda axillary, severe, age: np.where(severe, 0.4, 0.2) + effect * axillary,
        )
    )  # fmt: skip
    return build_comparison(dataset=made.dataset, facts=made.facts, parts=PARTS)


def verdict(row_of: Comparison, contrast: Contrast) -> str:
    adjusted = row_of.adjusted
    rows = tuple(replace(row, difference=contrast) for row in adjusted.rows)
    return " ".join(summary(replace(row_of, adjusted=replace(adjusted, rows=rows))))


@pytest.fixture(scope="module")
def usual() -> Comparison:
    return comparison(0.0)


def limits(lower: float | None, upper: float | None, value: float = 0.1) -> Contrast:
    return Contrast(measure="risk difference", value=value, lower=lower, upper=upper)


def test_limits_on_one_side_of_zero_are_more_than_chance(usual):
    assert "more than chance alone would explain, more often in the axillary" in verdict(
        usual, limits(0.02, 0.2)
    )
    said = verdict(usual, limits(-0.2, -0.02, -0.1))
    assert "more than chance alone would explain, less often in the axillary" in said


def test_limits_around_zero_name_both_ends(usual):
    said = verdict(usual, limits(-0.05, 0.22))
    assert "the data fit no difference, and anything from 5 points fewer to 22 points more" in said


def test_no_limits_say_nothing_about_chance(usual):
    assert "without limits, it says nothing about chance" in verdict(usual, limits(None, None))


def test_without_an_adjusted_figure_the_crude_one_proves_nothing():
    said = " ".join(summary(comparison(0.0, size=30)))
    assert "There is no adjusted figure (too few patients" in said
    assert "cannot be told apart from a difference between the patients" in said


def test_what_could_explain_an_effect_away_is_said_only_when_there_is_one():
    strong = " ".join(summary(comparison(0.35, size=1_200)))
    assert "Something unmeasured, tied to both route and outcome" in strong
    none = " ".join(summary(comparison(0.0, 62)))
    assert "Something unmeasured" not in none


@pytest.mark.parametrize(
    ("totals", "who"),
    [((61, 22), "(61 axillary, 22 femoral; without: emergency)"), ((None, None), "(without: emergency)")],
)
def test_the_weighted_figure_says_of_whom_it_speaks(usual, totals, who):
    left_out = Restriction("emergency", 44, "AXILLARY")
    overlap = replace(usual.adjusted.overlap, restricted=(left_out,), totals=totals)
    said = summary(replace(usual, adjusted=replace(usual.adjusted, overlap=overlap)))
    assert f"among those who could have had either route {who}" in " ".join(said)


@pytest.mark.parametrize("effect", [-0.15, 0.0, 0.35])
def test_no_sentence_claims_a_cause(effect):
    said = " ".join(summary(comparison(effect)))
    assert said.endswith(NEVER_CAUSAL)
    assert not CAUSAL.search(said), CAUSAL.search(said)
