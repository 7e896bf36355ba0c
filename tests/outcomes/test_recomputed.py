"""Every number of the report, recomputed from the exported tables by a second reading of the definitions.

The demonstration programme is loaded once and cut in the middle of a quarter: patients are on support,
removals and outcomes are still to come, transfers arrive. What the report prints must be found again from the
CSV files alone.
"""

from __future__ import annotations

import json
from datetime import date, datetime
from math import isclose
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command
from django.db import transaction

from outcomes.dataset import load_dataset
from outcomes.period import Period
from outcomes.report import build_report
from outcomes.report.serialise import as_json
from registry.demo.loading import load
from registry.demo.programme import tell
from registry.models import Centre
from tests.outcomes.recomputing import aftermath, counts, measured, times
from tests.outcomes.recomputing.curves import Curve, at_risk
from tests.outcomes.recomputing.rows import Logbook, Recomputation, moment

# Databases are only made for tests that ask for one, and the fixture of the module is not a test.
pytestmark = pytest.mark.django_db

LAST_DAY = date(2024, 11, 20)
CUT = datetime.fromisoformat("2024-08-15T13:47:12+02:00")
PERIODS = ("2023-Q4", "2024-Q1", "2024-Q3", "2022-01..2024-12")
MEASURES = (
    counts.flow,
    counts.volumes,
    counts.complications,
    counts.repositions,
    counts.exchanges,
    counts.films,
    counts.crossovers,
    counts.outcomes,
    counts.left_out,
    times.dwell,
    times.mean_repositions,
    times.mobilisation,
    times.bridge,
    measured.baseline,
    measured.procedure,
    measured.on_support,
    aftermath.after_therapy,
    aftermath.quality,
)
NOT_EXPORTED = "/late"  # when a row was entered stands in the history, which is no table
Printed = dict[str, Any]


@pytest.fixture(scope="module")
def printed(
    django_db_setup: None, django_db_blocker: Any, tmp_path_factory: pytest.TempPathFactory
) -> tuple[Path, dict[str, Printed]]:
    """The exported tables of the demonstration, and the report of each period as the JSON file says it."""
    folder = tmp_path_factory.mktemp("tables")
    with django_db_blocker.unblock(), transaction.atomic():
        load(tell(LAST_DAY, seed=1), seed=1, progress=lambda words: None)
        call_command("export_tables", str(folder), verbosity=0)
        dataset = load_dataset(centres=Centre.objects.all(), cut_at=CUT)
        reports = {
            period: build_report(dataset=dataset, period=Period.parse(period, dataset.zone))
            for period in PERIODS
        }
        written = {period: json.loads(as_json(report)) for period, report in reports.items()}
        transaction.set_rollback(True)
    return folder, written


@pytest.fixture(scope="module")
def logbook(printed: tuple[Path, dict[str, Printed]]) -> Logbook:
    return Logbook(printed[0], CUT)


@pytest.fixture(params=PERIODS, scope="module")
def pair(
    request: pytest.FixtureRequest, printed: tuple[Path, dict[str, Printed]], logbook: Logbook
) -> tuple[Printed, Recomputation]:
    """One period as printed and as recomputed."""
    report = printed[1][request.param]
    book = Recomputation(logbook, moment(report["header"]["start"]), moment(report["header"]["end"]))
    for measure in MEASURES:
        measure(book)
    return report, book


def differs(mine: float | None, theirs: float | None) -> bool:
    if mine is None or theirs is None:
        return mine is not theirs
    return not isclose(mine, theirs, rel_tol=1e-8, abs_tol=1e-10)


def test_every_figure_is_found_again(pair: tuple[Printed, Recomputation]) -> None:
    report, book = pair
    figures = {figure["key"]: figure for figure in report["figures"]}
    assert set(book.figures) == set(figures) - {key for key in figures if key.endswith(NOT_EXPORTED)}
    assert len(figures) > 300
    different = [
        (key, part, mine, figures[key][part])
        for key, figure in book.figures.items()
        for part in ("numerator", "denominator", "estimate", "lower", "upper")
        if differs(mine := getattr(figure, part), figures[key][part])
    ]
    assert different == []


def test_every_curve_is_found_again(pair: tuple[Printed, Recomputation]) -> None:
    report, book = pair
    curves = {curve["key"]: curve for curve in report["curves"]}
    assert set(curves) == {key for key, curve in book.curves.items() if curve.rows}
    assert [key for key in curves if steps_differ(book.curves[key], curves[key])] == []
    assert [key for key in curves if surroundings_differ(book.curves[key], curves[key])] == []


def steps_differ(mine: Curve, theirs: Printed) -> bool:
    columns = ("time", "days"), ("at_risk",) * 2, ("value", "estimate"), ("lower",) * 2, ("upper",) * 2
    return any(
        len(mine.steps) != len(theirs[column])
        or any(
            differs(getattr(step, name), number)
            for step, number in zip(mine.steps, theirs[column], strict=True)
        )
        for name, column in columns
    )


def surroundings_differ(mine: Curve, theirs: Printed) -> bool:
    """Subjects, the table of numbers at risk, and the day until which anybody was followed."""
    risk = [at_risk(mine.rows, day) for day in theirs["risk_days"]]
    return (mine.subjects, risk) != (theirs["subjects"], theirs["risk_counts"]) or differs(
        mine.last, theirs["last_day"]
    )


def test_what_was_left_out_is_found_again(pair: tuple[Printed, Recomputation]) -> None:
    report, book = pair
    assert {line["key"]: line["count"] for line in report["left_out"]} == book.left_out


def test_the_programme_is_not_too_easy(logbook: Logbook) -> None:
    """What the recomputation is for: delayed entry, runs going on, other devices, events that name no run."""
    assert sum(run.removed_at is None for run in logbook.runs) > 1
    assert sum(course.seen_from > course.started_at for course in logbook.courses) > 3
    assert {run.is_pump for run in logbook.runs} == {True, False}
    assert sum(not event.cells["run_no"] for event in logbook.events) > 20
    assert sum(event.cells["review"] == "REFUTED" for event in logbook.events) > 1
