"""Crude figures against statsmodels and by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from statsmodels.stats.proportion import confint_proportions_2indep, proportion_confint

from outcomes.comparison.build import build_comparison
from outcomes.comparison.crude import multiplicity
from outcomes.comparison.shares import hidden_share
from outcomes.comparison.value import Comparison
from tests.outcomes.comparison.simulated import programme, stories


@pytest.fixture(scope="module")
def comparison() -> Comparison:
    made = programme(
        stories(
            120, 21,
            chance_axillary=lambda severe, age: np.full(severe.shape, 0.4),
            risk=lambda axillary, severe, age: np.where(axillary, 0.35, 0.2),
        )
    )  # fmt: skip
    return build_comparison(dataset=made.dataset, facts=made.facts)


def test_difference_and_shares_are_those_of_statsmodels(comparison):
    row = comparison.crude_row("SERIOUS")
    a, f = row.axillary, row.femoral
    assert (a.lower, a.upper) == pytest.approx(
        proportion_confint(a.hits, a.total, method="wilson"), abs=1e-12
    )
    low, high = confint_proportions_2indep(a.hits, a.total, f.hits, f.total, method="newcomb", compare="diff")
    assert (row.difference.lower, row.difference.upper) == pytest.approx((low, high), abs=1e-10)
    assert row.ratio.value == pytest.approx((a.hits / a.total) / (f.hits / f.total))


def test_early_and_later_rates_add_up_to_the_whole_stay(comparison):
    whole, early, later = (
        next(r for r in comparison.crude.rates if r.code == "SERIOUS" and r.stretch == stretch)
        for stretch in ("Whole stay", "Days 0 to 2", "From day 3 on")
    )
    assert whole.axillary.hits == early.axillary.hits + later.axillary.hits
    assert whole.femoral.total == pytest.approx(early.femoral.total + later.femoral.total)
    assert later.axillary.hits == 0  # every simulated event comes on the second day
    assert early.ratio.value == pytest.approx(early.axillary.value / early.femoral.value)


def test_every_count_opens_to_as_many_cases_as_it_says(comparison):
    shares = comparison.shares
    assert len(shares) > 200
    for share in shares.values():
        if share.hits is not None and share.cases.numerator:
            found = {key for lists in share.cases.numerator for key in lists.pks}
            assert len(found) == share.hits, share.key


def test_many_looks_are_owned_up_to(comparison):
    """One kind alone needs no correction; of two that happened, the one that is hidden is not spoken of."""
    assert comparison.crude.multiplicity.startswith("One kind of complication is compared")
    row = next(row for row in comparison.crude.rows if row.family == "complication" and row.axillary.hits)
    other, hidden = (
        replace(row, label="Other"),
        replace(row, label="Hidden", axillary=hidden_share(row.axillary)),
    )
    said = multiplicity([row, other, hidden])
    assert said.startswith("2 kinds of complication")
    assert "Holm" in said
    assert "hidden" not in said


def test_swapping_nothing_but_the_order_of_rows_changes_nothing():
    found = stories(
        80, 22,
        chance_axillary=lambda severe, age: np.full(severe.shape, 0.5),
        risk=lambda axillary, severe, age: np.full(severe.shape, 0.3),
    )  # fmt: skip
    first, second = programme(found), programme(found)
    one, two = (
        build_comparison(dataset=made.dataset, facts=made.facts, parts=("crude", "adjusted"))
        for made in (first, second)
    )
    assert one.crude == two.crude
    assert one.adjusted == two.adjusted
