"""Patients at the start: medians, shares of those recorded, what is missing, how unlike the routes are."""

from __future__ import annotations

import math

import pytest

from outcomes.dataset import codes
from outcomes.report import Figure, Report
from registry.choices import Aetiology, Sex, ShockStage
from tests.outcomes.clinical_rows import measured
from tests.outcomes.rows import AXILLARY, FEMORAL, dataset, day, report

MALE, WOMAN = (codes.SEXES.index(sex) for sex in (Sex.MALE, Sex.FEMALE))
LACTATE = (12, 20, 31, -1, 40)  # tenths of mmol/L


@pytest.fixture
def found() -> Report:
    """Three axillary and two femoral courses begun in 2026."""
    data = dataset(
        [{"stage": codes.STAGES.index(stage)} for stage in (ShockStage.B, *[ShockStage.C] * 3, ShockStage.D)],
        [
            {"course": n, "route": route, "removed": day(n)}
            for n, route in enumerate((AXILLARY, AXILLARY, AXILLARY, FEMORAL, FEMORAL), 1)
        ],
    )
    people = zip((MALE, WOMAN, WOMAN, MALE, MALE), (1950, 1960, 1980, 1956, 1966), LACTATE, strict=True)
    conditions = [
        {
            "sex": sex, "birth_year": born, "lactate_mmol_l": lactate, "height_cm": 1800, "weight_kg": 810,
            "aetiology": codes.AETIOLOGIES.index(Aetiology.UNKNOWN if born == 1950 else Aetiology.ISCHAEMIC),
        }
        for sex, born, lactate in people
    ]  # fmt: skip
    return report(measured(data, conditions=conditions), "2026")


def estimates(figure: Figure) -> tuple[float | None, ...]:
    return figure.estimate, figure.lower, figure.upper


def test_a_median_stands_with_its_quartiles(found: Report) -> None:
    """Ages of the axillary courses are 76, 66 and 46; ranks 1.5, 2 and 2.5 are the quartiles of three."""
    age = found.figure("baseline/AXILLARY/age")
    assert estimates(age) == (66.0, 56.0, 71.0)
    assert (age.numerator, age.denominator, age.missing) == (3, 3, 0)
    assert estimates(found.figure("baseline/ALL/bmi")) == pytest.approx((25.0, 25.0, 25.0))


def test_those_without_a_value_are_missing_and_not_zero(found: Report) -> None:
    lactate = found.figure("baseline/FEMORAL/lactate")
    assert estimates(lactate) == (4.0, 4.0, 4.0)
    assert (lactate.numerator, lactate.denominator, lactate.missing) == (1, 2, 1)
    sodium = found.figure("baseline/ALL/sodium")
    assert (sodium.estimate, sodium.numerator, sodium.missing) == (None, 0, 5)
    assert "recorded in none" in sodium.note


def test_a_share_is_of_those_recorded(found: Report) -> None:
    women = found.figure("baseline/AXILLARY/female")
    assert (women.numerator, women.denominator, women.estimate, women.lower) == (2, 3, 2 / 3, None)
    ischaemic = found.figure("baseline/ALL/aetiology/ISCHAEMIC")
    assert (ischaemic.numerator, ischaemic.denominator, ischaemic.missing) == (4, 4, 1)


def test_levels_that_do_not_occur_are_no_lines(found: Report) -> None:
    levels = {f.key.split("/")[3] for f in found.figures_of("baseline", "ALL") if "/stage/" in f.key}
    assert levels == {"B", "C", "D"}


def test_the_difference_is_in_pooled_standard_deviations(found: Report) -> None:
    """Women 2/3 against 0/2: (2/3) / sqrt((2/9 + 0) / 2) = 2. Ages 62.67 (SD 15.28) against 65 (SD 7.07)."""
    assert found.figure("baseline/ALL/female/difference").estimate == pytest.approx(2.0)
    pooled = math.sqrt((15.275252**2 + 7.071068**2) / 2)
    age = found.figure("baseline/ALL/age/difference")
    assert age.estimate == pytest.approx((188 / 3 - 65) / pooled, rel=1e-6)
    assert "pooled" in age.method


def test_a_route_without_a_value_gives_no_difference(found: Report) -> None:
    assert found.figure("baseline/ALL/sodium/difference").note.startswith("not estimable")


def test_figures_open_to_their_cases(found: Report) -> None:
    women = found.figure("baseline/ALL/female").cases
    assert [lists.pks for lists in (*women.numerator, *women.denominator)] == [(2, 3), (1, 2, 3, 4, 5)]
    lactate = found.figure("baseline/ALL/lactate").cases
    assert lactate.numerator[0].pks == (1, 2, 3, 5)
    apart = found.figure("baseline/ALL/lactate/difference").cases
    assert apart.numerator[0].pks == (1, 2, 3, 5)
