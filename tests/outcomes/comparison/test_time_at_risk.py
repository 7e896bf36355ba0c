"""Shares of events are not read as risks where the groups were watched for unequal times."""

from __future__ import annotations

from dataclasses import replace

import pytest

from outcomes.comparison.build import build_comparison
from outcomes.comparison.summary import robustness, summary
from outcomes.comparison.time_at_risk import TimeAtRisk, time_at_risk
from outcomes.comparison.value import Comparison, Contrast, Sensitivity, SensitivityRow, Share
from tests.outcomes.comparison.simulated import programme, stories


def ratio(lower: float | None, upper: float | None) -> Contrast:
    return Contrast(measure="rate ratio", value=1.5, lower=lower, upper=upper)


def difference(value: float, lower: float, upper: float) -> Contrast:
    return Contrast(measure="risk difference", value=value, lower=lower, upper=upper)


MORE, LESS = difference(0.2, 0.1, 0.3), difference(-0.2, -0.3, -0.1)


@pytest.fixture(scope="module")
def compared() -> Comparison:
    made = programme(
        stories(
            700, 61,
            chance_axillary=lambda severe, age: 0.5 + 0.0 * age,
            risk=lambda axillary, severe, age: 0.3 + 0.0 * age,
        )
    )  # fmt: skip
    return build_comparison(dataset=made.dataset, facts=made.facts, parts=("baseline", "crude", "adjusted"))


def with_days(compared: Comparison, days: float, rate_ratio: Contrast) -> Comparison:
    """The same comparison, had the axillary group been watched for so many days for each femoral one."""
    crude, code = compared.crude, compared.choices.outcome
    assert crude is not None
    sizes = {flow.arm: flow.total.hits or 1 for flow in compared.who.flows}
    scale = days * sizes["AXILLARY"] / sizes["FEMORAL"]
    rates = tuple(
        replace(
            row,
            axillary=replace(row.axillary, total=(row.femoral.total or 1.0) * scale),
            ratio=rate_ratio,
        )
        if row.code == code
        else row
        for row in crude.rates
    )
    return replace(compared, crude=replace(crude, rates=rates))


def said(compared: Comparison, contrast: Contrast) -> str:
    assert compared.adjusted is not None
    rows = tuple(replace(row, difference=contrast) for row in compared.adjusted.rows)
    return " ".join(summary(replace(compared, adjusted=replace(compared.adjusted, rows=rows))))


@pytest.mark.parametrize(("days", "alike"), [(1.0, True), (1.24, True), (1.26, False), (0.7, False)])
def test_times_are_alike_up_to_a_quarter(compared: Comparison, days: float, alike: bool) -> None:
    found = time_at_risk(with_days(compared, days, ratio(0.8, 1.9)), compared.choices.outcome)
    assert found is not None
    assert found.alike is alike
    assert bool(found.sentence) is not alike


def test_unequal_times_take_the_verdict_from_a_share(compared: Comparison) -> None:
    text = said(with_days(compared, 2.4, ratio(0.61, 1.86)), MORE)
    assert "more than chance" not in text
    assert "a share cannot tell more risk from more time" in text
    assert "a crude rate ratio of 1.50 (0.61 to 1.86)" in text
    assert "Something unmeasured" not in text


@pytest.mark.parametrize(
    ("contrast", "rates"), [(MORE, ratio(1.1, 3.0)), (MORE, ratio(1.1, None)), (LESS, ratio(0.2, 0.9))]
)
def test_rates_on_the_same_side_bear_a_share_out(
    compared: Comparison, contrast: Contrast, rates: Contrast
) -> None:
    assert "more than chance alone would explain" in said(with_days(compared, 2.4, rates), contrast)


@pytest.mark.parametrize(("contrast", "rates"), [(LESS, ratio(1.1, 3.0)), (MORE, ratio(0.2, 0.9))])
def test_rates_on_the_other_side_do_not(compared: Comparison, contrast: Contrast, rates: Contrast) -> None:
    assert "more than chance" not in said(with_days(compared, 2.4, rates), contrast)


def test_hidden_rates_leave_the_times_unknown(compared: Comparison) -> None:
    assert compared.crude is not None
    hidden = replace(compared, crude=replace(compared.crude, rates=()))
    assert time_at_risk(hidden, compared.choices.outcome) == TimeAtRisk(None, None)
    text = said(hidden, MORE)
    assert "may have been on support for unequal times" in text
    assert "more than chance" not in text


def test_an_outcome_that_is_a_state_has_no_time_at_risk(compared: Comparison) -> None:
    codes = (
        [row.code for row in compared.crude.rows if row.family != "complication"] if compared.crude else []
    )
    states = [code for code in codes if time_at_risk(compared, code) is None]
    assert states


@pytest.mark.parametrize("of_events", [True, False])
def test_other_ways_to_count_say_that_they_are_shares(of_events: bool) -> None:
    nobody = Share(key="", arm="", hits=None, total=None, value=None)
    rows = tuple(
        SensitivityRow(
            code=label, label=label, why="", axillary=nobody, femoral=nobody, crude=MORE, adjusted=MORE
        )
        for label in ("Usual", "As used")
    )
    found = Sensitivity(rows=rows, wanted=(), now=None, pace=None)
    text = " ".join(robustness(found, "courses", of_events=of_events))
    assert "The limits exclude zero in 1: as used (+20)." in text
    assert ("unequal times on support" in text) is of_events
