"""How figures are put into words."""

from __future__ import annotations

import pytest

from outcomes.measures.values import Figure
from outcomes.wording import lower_first, number, show


def figure(**values: object) -> Figure:
    given: dict[str, object] = {
        "key": "m/ALL/x", "measure": "m", "label": "X", "group": "ALL", "unit": "proportion",
        "counted": "patients", "numerator": 0, "out_of": "patients", "denominator": 20,
        "estimate": 0.0, "lower": 0.0, "upper": 0.161, "method": "Wilson",
    }  # fmt: skip
    return Figure(**(given | values))  # type: ignore[arg-type]


def test_a_zero_is_never_alone() -> None:
    shown = show(figure())

    assert (shown.value, shown.of, shown.limits) == ("0%", "0/20", "0 to 16%")


def test_percentages_get_a_decimal_from_one_hundred_on() -> None:
    below = show(figure(numerator=12, denominator=99, estimate=12 / 99, lower=0.07, upper=0.2))
    above = show(figure(numerator=12, denominator=100, estimate=0.12, lower=0.07, upper=0.198))

    assert (below.value, above.value, above.limits) == ("12%", "12.0%", "7.0 to 19.8%")


def test_not_estimable_keeps_its_reason_and_has_no_number() -> None:
    shown = show(figure(estimate=None, lower=None, upper=None, denominator=0, note="not estimable: nobody"))

    assert (shown.value, shown.limits, shown.reason) == ("", "", "nobody")


def test_a_rate_names_its_days() -> None:
    rate = figure(
        unit="per 1,000 device-days", numerator=22, out_of="device-days", denominator=3062.9,
        estimate=7.1827, lower=4.50, upper=10.87,
    )  # fmt: skip
    shown = show(rate)

    assert (shown.value, shown.of, shown.limits) == ("7.2", "22 in 3,063 days", "4.5 to 10.9")


def test_an_open_limit_is_said() -> None:
    shown = show(figure(unit="days", estimate=9.8, lower=3.1, upper=None))

    assert shown.limits == "3.1 to not reached"


def test_a_count_is_its_own_value() -> None:
    shown = show(figure(unit="count", numerator=1234, denominator=None, estimate=None))

    assert (shown.value, shown.of, shown.limits) == ("1,234", "", "")


@pytest.mark.parametrize(("value", "text"), [(-0.04, "0.0"), (-0.06, "−0.1"), (1234.5, "1,234.5")])
def test_no_minus_before_a_zero(value: float, text: str) -> None:
    assert number(value, 1) == text


def test_a_median_stands_with_its_quartiles_and_those_it_rests_on() -> None:
    age = figure(
        unit="median", numerator=18, estimate=61.4, lower=52.0, upper=70.6, missing=2, decimals=0, scale="y"
    )
    shown = show(age)

    assert (shown.value, shown.of, shown.limits) == ("61 (52 to 71)", "n 18/20", "")


def test_a_share_says_how_many_have_no_value() -> None:
    given = {"numerator": 4, "denominator": 16, "estimate": 0.25, "lower": None, "upper": None}

    assert show(figure(**given, missing=4)).of == "4/16, 4 missing"
    assert show(figure(**given, missing=0)).of == "4/16"


def test_a_change_says_its_pairs_and_limits() -> None:
    given = {"unit": "mean difference", "numerator": 12, "missing": 8, "decimals": 1}
    shown = show(figure(**given, estimate=-5.66, lower=-7.01, upper=-4.3))

    assert (shown.value, shown.of, shown.limits) == ("−5.7", "n 12", "−7.0 to −4.3")


@pytest.mark.parametrize(
    ("label", "said"),
    [
        ("Renal replacement", "renal replacement"),
        ("LV end-diastolic diameter", "LV end-diastolic diameter"),
        ("D: deteriorating", "D: deteriorating"),
        ("Re-intubation", "re-intubation"),
        ("B12", "B12"),
        ("", ""),
    ],
)
def test_only_the_first_letter_of_a_word_is_lowered(label: str, said: str) -> None:
    assert lower_first(label) == said
