"""Derived values against worked examples."""

from __future__ import annotations

from decimal import Decimal

import pytest

from registry import derived
from registry.models import Course, HaemodynamicSet, Run
from tests.factories import create_haemodynamics


@pytest.mark.parametrize(("height", "weight", "expected"), [(180, 80, 2.0000), (175, 70, 1.8447)])
def test_mosteller(height: float, weight: float, expected: float) -> None:
    """Worked by hand from Mosteller RD, N Engl J Med 1987;317:1098, doi:10.1056/NEJM198710223171717."""
    assert derived.mosteller_m2(height, weight) == pytest.approx(expected, abs=5e-5)


def test_du_bois() -> None:
    """Du Bois D, Du Bois EF, Arch Intern Med 1916;17:863–871; some web pages print 1.9979, which is wrong."""
    assert derived.du_bois_m2(180, 80) == pytest.approx(1.9964, abs=5e-5)


def test_the_formula_can_decide_on_which_side_of_a_limit_an_index_falls() -> None:
    """Output 3.93 L/min, 183 cm, 95 kg: 1.788 by one formula, 1.808 by the other (arithmetic)."""
    assert 3.93 / derived.mosteller_m2(183, 95) == pytest.approx(1.788, abs=5e-4)
    assert 3.93 / derived.du_bois_m2(183, 95) == pytest.approx(1.808, abs=5e-4)


def test_pressures_and_resistances() -> None:
    """Arithmetic of the formulae; 1.03 W for 93.33 mmHg and 5.0 L/min is also printed in teaching texts."""
    assert derived.mean_pressure(120, 80) == pytest.approx(93.33, abs=5e-3)
    assert derived.mean_pressure(50, 25) == pytest.approx(33.33, abs=5e-3)
    assert derived.cardiac_power_w(derived.mean_pressure(120, 80), 5.0) == pytest.approx(1.035, abs=5e-4)
    assert derived.cardiac_power_w(60, 3.6) == pytest.approx(0.479, abs=5e-4)
    assert derived.pulsatility(50, 25, 15) == pytest.approx(1.667, abs=5e-4)
    assert derived.pulsatility(40, 20, 10) == 2.0
    assert derived.systemic_resistance(65, 15, 3.6) == pytest.approx(1111.1, abs=0.05)
    assert derived.pulmonary_resistance(33, 25, 3.6) == pytest.approx(2.22, abs=5e-3)


@pytest.mark.parametrize("right_atrial", [0, -2])
def test_pulsatility_needs_a_right_atrial_pressure_above_zero(right_atrial: int) -> None:
    assert derived.pulsatility(40, 20, right_atrial) is None


FULL = {
    "systolic_mmhg": 120, "diastolic_mmhg": 80, "right_atrial_mmhg": 15, "pulmonary_systolic_mmhg": 50,
    "pulmonary_diastolic_mmhg": 25, "wedge_mmhg": 25, "output_l_min": Decimal("5.0"),
}  # fmt: skip


def shown(measured: HaemodynamicSet) -> dict[str, tuple[str, str]]:
    return {value.label: (value.value, value.formula) for value in derived.indices(measured)}


def unsaved(**values: object) -> HaemodynamicSet:
    return HaemodynamicSet(course=Course(height_cm=Decimal(180), weight_kg=Decimal(80)), **{**FULL, **values})


def test_every_index_names_its_formula() -> None:
    found = shown(unsaved(on_support="NONE"))
    assert found["Cardiac index"] == ("2.50", "output / body surface (Mosteller)")
    assert found["Mean pressure"] == ("93", "(systolic + 2 diastolic) / 3")
    assert found["Cardiac power"][0] == "1.03"
    assert found["Pulsatility index"][0] == "1.67"
    assert found["Right atrial to wedge"][0] == "0.60"
    assert all(formula for _, formula in found.values())


@pytest.mark.parametrize("on_support", ["IABP", "BOTH", ""])
def test_no_mean_by_formula_on_counterpulsation_or_when_unsaid(on_support: str) -> None:
    found = shown(unsaved(on_support=on_support))
    assert not {"Mean pressure", "Cardiac power", "Systemic resistance"} & set(found)
    assert shown(unsaved(on_support=on_support, mean_mmhg=70))["Mean pressure"] == ("70", "measured")


def test_nothing_is_computed_from_nothing(run: Run) -> None:
    measured = create_haemodynamics(course=run.course, mean_mmhg=None)
    assert set(shown(measured)) == {"Body surface"}
