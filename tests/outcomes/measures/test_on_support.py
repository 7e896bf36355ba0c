"""Values before and on the pump: which set counts, pairs only, and the difference by hand."""

from __future__ import annotations

from typing import Any

import pytest

from outcomes.report import Report
from tests.outcomes.clinical_rows import measured
from tests.outcomes.rows import AXILLARY, FEMORAL, dataset, day, report

HOUR = 1 / 24


def at(course: int, days: float, *, on_pump: int = 1, **values: int) -> dict[str, Any]:
    """A set of the course at this place, so many days from its insertion at day 0."""
    return {"course": course - 1, "measured": day(days), "on_pump": on_pump, **values}


def compared(pressures: list[dict[str, Any]], **more: Any) -> Report:
    data = dataset(
        [{}, {}, {}],
        [{"course": n, "route": AXILLARY if n < 3 else FEMORAL, "removed": day(20)} for n in (1, 2, 3)],
    )
    order = sorted(pressures, key=lambda row: (row["course"], row["measured"]))
    return report(measured(data, pressures=order, **more), "2026")


PAIRED = [
    at(1, -0.5, on_pump=0, wedge=30), at(1, 2, wedge=22), at(1, 10, wedge=20),
    at(2, -1, on_pump=0, wedge=26), at(2, 1, wedge=20),
    at(3, -2, on_pump=0, wedge=24),
]  # fmt: skip


def test_the_difference_is_of_pairs() -> None:
    """30 to 22 and 26 to 20: -8 and -6, mean -7, t(1) 12.7062 times sqrt(2) / sqrt(2)."""
    found = compared(PAIRED)
    change = found.figure("support.early/ALL/wedge/change")
    assert (change.numerator, change.denominator, change.missing) == (2, 3, 1)
    assert (change.estimate, change.lower, change.upper) == pytest.approx((-7.0, -19.7062, 5.7062), abs=1e-4)
    assert found.figure("support.early/ALL/wedge/before").estimate == 28.0
    assert found.figure("support.early/ALL/wedge/after").estimate == 21.0
    assert found.figure("support.last/ALL/wedge/after").estimate == 20.0
    assert found.figure("support.early/FEMORAL/wedge/change").note == "not estimable: no pair of values"
    assert change.cases.numerator[0].pks == (1, 2)
    assert change.cases.denominator[0].pks == (1, 2, 3)


@pytest.mark.parametrize(
    ("days", "on_pump", "counts"),
    [(1, 1, True), (3, 1, True), (1 - HOUR, 1, False), (3 + HOUR, 1, False), (2, 0, False)],
)
def test_24_to_72_hours_on_the_pump(days: float, on_pump: int, counts: bool) -> None:
    found = compared([at(1, 0, on_pump=0, wedge=30), at(1, days, on_pump=on_pump, wedge=20)])
    assert found.figure("support.early/ALL/wedge/change").numerator == int(counts)


@pytest.mark.parametrize(
    ("days", "on_pump", "counts"), [(-7, 0, True), (0, 0, True), (-7 - HOUR, 0, False), (-1, 1, False)]
)
def test_before_is_off_the_pump_and_within_a_week(days: float, on_pump: int, counts: bool) -> None:
    found = compared([at(1, days, on_pump=on_pump, wedge=30), at(1, 2, wedge=20)])
    assert found.figure("support.early/ALL/wedge/change").numerator == int(counts)


def test_the_last_set_that_holds_the_value_counts() -> None:
    found = compared(
        [
            at(1, -2, on_pump=0, wedge=35), at(1, -1, on_pump=0, wedge=30),
            at(1, -0.1, on_pump=0, heart_rate=90),
            at(1, 1.5, wedge=24), at(1, 2.5, wedge=21), at(1, 2.8, heart_rate=80),
        ]
    )  # fmt: skip
    assert found.figure("support.early/ALL/wedge/change").estimate == -9.0
    assert found.figure("support.early/ALL/heart_rate/change").estimate == -10.0


def test_units_and_derived_values() -> None:
    """Thirds of mmHg, right atrial from -5, output in tenths; index 3.6/1.8 and 4.5/1.8 at 162 cm, 72 kg."""
    values = {"arterial_thirds": 200, "right_atrial": 3, "output_tenths": 36}
    found = compared(
        [at(1, -1, on_pump=0, **values), at(1, 2, arterial_thirds=230, right_atrial=13, output_tenths=45)],
        conditions=[{"height_cm": 1620, "weight_kg": 720}],
    )
    assert found.figure("support.early/ALL/arterial/change").estimate == pytest.approx(10.0)
    assert found.figure("support.early/ALL/right_atrial/before").estimate == -2.0
    assert found.figure("support.early/ALL/index/before").estimate == pytest.approx(2.0)
    assert found.figure("support.early/ALL/index/change").estimate == pytest.approx(0.5)


def test_laboratory_values_come_from_the_start_and_the_daily_rows() -> None:
    found = compared(
        [],
        conditions=[{"lactate_mmol_l": 40}, {"lactate_mmol_l": 30}, {"lactate_mmol_l": 20}],
        laboratory=[
            {"lactate_mmol_l_early": 20, "lactate_mmol_l_last": 10}, {"lactate_mmol_l_last": 15}, {},
        ],
    )  # fmt: skip
    assert found.figure("support.early/ALL/lactate/change").estimate == pytest.approx(-2.0)
    assert found.figure("support.early/ALL/lactate/change").lower is None
    assert found.figure("support.last/ALL/lactate/change").estimate == pytest.approx(-2.25)
