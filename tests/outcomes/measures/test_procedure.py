"""Placing the pump: shares, medians, and which runs are asked."""

from __future__ import annotations

import pytest

from outcomes.dataset import codes
from outcomes.report import Report
from registry.choices import FilmVerdict
from tests.outcomes.clinical_rows import measured
from tests.outcomes.rows import AXILLARY, FEMORAL, dataset, day, report

HIGH, ACCEPTABLE, CANNOT_TELL = (
    codes.VERDICTS.index(verdict)
    for verdict in (FilmVerdict.HIGH, FilmVerdict.ACCEPTABLE, FilmVerdict.CANNOT_TELL)
)


@pytest.fixture
def found() -> Report:
    """Three axillary runs of which one is an exchange, one femoral run, and one placed before a transfer."""
    data = dataset(
        [{}, {}, {}, {"arrived": day(1)}],
        [
            {"course": 1, "route": AXILLARY, "removed": day(2)},
            {
                "course": 1,
                "route": AXILLARY,
                "run_no": 2,
                "inserted": day(2),
                "replaces": 1,
                "removed": day(4),
            },
            {"course": 2, "route": AXILLARY, "removed": day(3)},
            {"course": 3, "route": FEMORAL, "removed": day(3)},
            {"course": 4, "route": FEMORAL, "removed": day(3)},
        ],
    )
    procedures = [
        {"first_position": HIGH, "procedure_min": 30, "fluoroscopy_min": 55, "ULTRASOUND": 1, "FLUORO": 1},
        {"first_position": ACCEPTABLE, "procedure_min": 40, "standby_min": 12, "ULTRASOUND": 1},
        {"first_position": CANNOT_TELL, "technical_success": 0, "fluoroscopy_min": 65},
        {"first_position": ACCEPTABLE, "contrast_ml": 20},
        {"first_position": ACCEPTABLE, "contrast_ml": 500},
    ]
    return report(measured(data, procedures=procedures), "2026")


def test_success_has_limits_and_is_of_runs_placed_here(found: Report) -> None:
    success = found.figure("procedure/ALL/success")
    assert (success.numerator, success.denominator, success.counted) == (3, 4, "runs")
    assert success.lower == pytest.approx(0.3006, abs=1e-4)  # Wilson for 3/4
    assert success.upper == pytest.approx(0.9544, abs=1e-4)
    assert found.figure("procedure/FEMORAL/success").denominator == 1


def test_a_verdict_that_cannot_tell_is_missing(found: Report) -> None:
    position = found.figure("procedure/AXILLARY/position")
    assert (position.numerator, position.denominator, position.missing) == (1, 2, 1)


def test_kinds_of_guidance_do_not_exclude_each_other(found: Report) -> None:
    shares = [
        found.figure(f"procedure/AXILLARY/guidance/{code}").numerator for code in ("ULTRASOUND", "FLUORO")
    ]
    assert shares == [2, 1]


def test_medians_are_of_recorded_values(found: Report) -> None:
    time, beam = (found.figure(f"procedure/AXILLARY/{name}") for name in ("time", "fluoroscopy"))
    assert (time.estimate, time.lower, time.upper, time.missing) == (35.0, 32.5, 37.5, 1)
    assert (beam.estimate, beam.scale, beam.decimals) == (6.0, "min", 1)
    assert found.figure("procedure/ALL/contrast").estimate == 20.0  # the pump placed elsewhere is left out


def test_standby_is_asked_of_exchanges_only(found: Report) -> None:
    standby = found.figure("procedure/ALL/standby")
    assert (standby.numerator, standby.denominator, standby.estimate) == (1, 1, 12.0)
    assert standby.cases.numerator[0].pks == (2,)
