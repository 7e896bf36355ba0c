"""Values that follow from height, weight, pressures and flow. Computed when shown, never stored.

Every function returns None when an input is missing. Pressures in mmHg, output in L/min.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from registry.choices_extended import OnSupport, SurfaceFormula
from registry.models import Course, HaemodynamicSet

WATTS = 451  # from mmHg times L/min to watts
WOOD_TO_DYNES = 80  # from mmHg min/L to dyn s cm⁻⁵


def mosteller_m2(height_cm: float, weight_kg: float) -> float:
    """Body surface in m². Mosteller RD, N Engl J Med 1987;317:1098, doi:10.1056/NEJM198710223171717."""
    return math.sqrt(height_cm * weight_kg / 3600)


def du_bois_m2(height_cm: float, weight_kg: float) -> float:
    """Body surface in m². Du Bois D, Du Bois EF, Arch Intern Med 1916;17:863–871."""
    return float(0.007184 * height_cm**0.725 * weight_kg**0.425)


def mean_pressure(systolic: float, diastolic: float) -> float:
    """Mean pressure by formula, (systolic + 2 diastolic) / 3. Never on counterpulsation."""
    return (systolic + 2 * diastolic) / 3


def cardiac_power_w(mean: float, output: float) -> float:
    """Cardiac power output in W: mean arterial pressure times output / 451. Fincke R et al., J Am Coll
    Cardiol 2004;44:340–348, doi:10.1016/j.jacc.2004.03.060 (from memory)."""
    return mean * output / WATTS


def pulsatility(systolic: float, diastolic: float, right_atrial: float) -> float | None:
    """Pulmonary artery pulsatility index; None when the right atrial pressure is not above zero."""
    return (systolic - diastolic) / right_atrial if right_atrial > 0 else None


def systemic_resistance(mean: float, right_atrial: float, output: float) -> float:
    """Systemic vascular resistance in dyn s cm⁻⁵."""
    return WOOD_TO_DYNES * (mean - right_atrial) / output


def pulmonary_resistance(pulmonary_mean: float, wedge: float, output: float) -> float:
    """Pulmonary vascular resistance in Wood units."""
    return (pulmonary_mean - wedge) / output


@dataclass(frozen=True)
class Derived:
    """One computed value with its formula; ``value`` is rounded for reading, empty when not computable."""

    label: str
    value: str
    unit: str
    formula: str


def surface_m2(course: Course, formula: str) -> float | None:
    """Body surface of a course's patient by the named formula."""
    if not course.height_cm or not course.weight_kg:
        return None
    compute = mosteller_m2 if formula == SurfaceFormula.MOSTELLER else du_bois_m2
    return compute(float(course.height_cm), float(course.weight_kg))


def arterial_mean(measured: HaemodynamicSet) -> tuple[float | None, str]:
    """The mean arterial pressure of a set and where it comes from.

    Computed only when the set says that no balloon pump was working.
    """
    if measured.mean_mmhg is not None:
        return measured.mean_mmhg, "measured"
    off_pump = measured.on_support in (OnSupport.NONE, OnSupport.INOTROPE)
    if off_pump and measured.systolic_mmhg is not None and measured.diastolic_mmhg is not None:
        return mean_pressure(measured.systolic_mmhg, measured.diastolic_mmhg), "(systolic + 2 diastolic) / 3"
    return None, ""


def pulmonary_mean(measured: HaemodynamicSet) -> tuple[float | None, str]:
    """The mean pulmonary pressure of a set and where it comes from; a measured one is preferred."""
    high, low = measured.pulmonary_systolic_mmhg, measured.pulmonary_diastolic_mmhg
    if measured.pulmonary_mean_mmhg is not None:
        return measured.pulmonary_mean_mmhg, "measured"
    if high is None or low is None:
        return None, ""
    return mean_pressure(high, low), "(systolic + 2 diastolic) / 3"


def _shown(label: str, value: float | None, places: int, unit: str, formula: str) -> Derived:
    return Derived(label, "" if value is None else f"{value:.{places}f}", unit, formula)


def indices(measured: HaemodynamicSet) -> list[Derived]:
    """Every index of a set that can be computed, each with its formula named."""
    found = [*_flow(measured), *_right_heart(measured)]
    return [derived for derived in found if derived.value]


def _flow(measured: HaemodynamicSet) -> list[Derived]:
    surface = surface_m2(measured.course, measured.surface_formula)
    output = float(measured.output_l_min) if measured.output_l_min else None
    mean, source = arterial_mean(measured)
    right = measured.right_atrial_mmhg
    named = measured.get_surface_formula_display()
    index = output / surface if output and surface else None
    power = cardiac_power_w(mean, output) if mean is not None and output else None
    resistance = (
        systemic_resistance(mean, right, output)
        if mean is not None and right is not None and output
        else None
    )
    return [
        _shown("Body surface", surface, 2, "m²", named),
        _shown("Cardiac index", index, 2, "L/min/m²", f"output / body surface ({named})"),
        _shown("Mean pressure", mean, 0, "mmHg", source),
        _shown("Cardiac power", power, 2, "W", f"mean pressure ({source}) × output / 451"),
        _shown("Systemic resistance", resistance, 0, "dyn·s/cm⁵", "80 × (mean − right atrial) / output"),
    ]


def _right_heart(measured: HaemodynamicSet) -> list[Derived]:
    right, wedge = measured.right_atrial_mmhg, measured.wedge_mmhg
    high, low = measured.pulmonary_systolic_mmhg, measured.pulmonary_diastolic_mmhg
    output = float(measured.output_l_min) if measured.output_l_min else None
    mean, source = pulmonary_mean(measured)
    index = pulsatility(high, low, right) if None not in (high, low, right) else None
    ratio = right / wedge if right is not None and wedge else None
    resistance = (
        pulmonary_resistance(mean, wedge, output)
        if mean is not None and wedge is not None and output
        else None
    )
    return [
        _shown("Pulmonary mean", mean, 0, "mmHg", source),
        _shown("Pulsatility index", index, 2, "", "(systolic − diastolic) / right atrial"),
        _shown("Right atrial to wedge", ratio, 2, "", "right atrial / wedge"),
        _shown("Pulmonary resistance", resistance, 2, "Wood units", f"(mean ({source}) − wedge) / output"),
    ]
