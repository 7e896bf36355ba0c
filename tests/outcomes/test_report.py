"""The report as a value, as JSON, and from the command line."""

from __future__ import annotations

import json
import subprocess
import sys
from dataclasses import FrozenInstanceError
from datetime import UTC, datetime
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from outcomes.measures.catalogue import MEASURES, definitions_version
from outcomes.period import Period
from outcomes.report import build_report
from outcomes.report.serialise import as_json
from registry.choices import Outcome
from tests.outcomes.builder import Logbook
from tests.outcomes.rows import courses_with_outcomes, dataset, day, report

KEYS = {"form", "header", "measures", "figures", "curves", "left_out"}


def test_every_measure_is_defined_in_full_and_once() -> None:
    assert len({measure.id for measure in MEASURES}) == len(MEASURES)
    for measure in MEASURES:
        texts = (
            measure.who_counts,
            measure.what_counts,
            measure.time_zero,
            measure.censoring,
            measure.source,
        )
        assert all(texts), measure.id
        assert measure.definition.endswith("."), measure.id


def test_every_figure_belongs_to_a_measure() -> None:
    found = report(dataset(*courses_with_outcomes({Outcome.WEANED: 5})))
    assert {figure.measure for figure in found.figures} <= {measure.id for measure in MEASURES}
    assert all(figure.key.startswith(figure.measure + "/" + figure.group) for figure in found.figures)


def test_header_says_whose_when_and_by_which_definitions() -> None:
    header = report(dataset(*courses_with_outcomes({Outcome.WEANED: 1}))).header
    assert (header.centres, header.time_zone, header.period) == (("Test",), "Europe/Berlin", "2026-Q1")
    assert header.data_cut == datetime(2026, 7, 1, tzinfo=UTC)
    assert header.definitions_version == definitions_version()
    assert not header.open_at_cut
    assert report(dataset([], []), "2026").header.open_at_cut


def test_report_and_figures_are_frozen() -> None:
    found = report(dataset(*courses_with_outcomes({Outcome.WEANED: 1})))
    with pytest.raises(FrozenInstanceError):
        found.figures = ()  # type: ignore[misc]
    with pytest.raises(FrozenInstanceError):
        found.figures[0].numerator = 7  # type: ignore[misc]


def test_cases_of_a_figure_and_of_what_was_left_out() -> None:
    courses, runs = courses_with_outcomes({Outcome.TRANSPLANT: 1, Outcome.DIED: 2})
    courses.append({})
    runs.append({"course": 4})
    found = report(dataset(courses, runs))
    cases = found.cases("outcomes/ALL/DIED_ON_SUPPORT")
    assert [c.record for c in cases.numerator] == ["courses"]
    assert cases.numerator[0].pks == (2, 3)
    assert cases.denominator[0].pks == (1, 2, 3, 4)
    assert found.cases("courses/supported").numerator[0].pks == (4,)
    with pytest.raises(KeyError):
        found.cases("no such figure")


def test_level_widens_the_limits() -> None:
    data = dataset(*courses_with_outcomes({Outcome.TRANSPLANT: 6, Outcome.DIED: 4}))
    period = Period.parse("2026-Q1", data.zone)
    at_95, at_99 = (
        build_report(dataset=data, period=period, level=level).figure("outcomes/ALL/DIED_ON_SUPPORT")
        for level in (0.95, 0.99)
    )
    assert at_99.lower < at_95.lower < at_95.estimate < at_95.upper < at_99.upper  # type: ignore[operator]


def test_refuses_another_moment_than_that_of_the_dataset() -> None:
    data = dataset([], [])
    with pytest.raises(ValueError, match="as_of"):
        build_report(
            dataset=data, period=Period.parse("2026", data.zone), as_of=datetime(2026, 1, 1, tzinfo=UTC)
        )


def test_json_names_no_record() -> None:
    """Keys of records are the way to a patient, so they stay in the registry."""
    courses, runs = courses_with_outcomes({Outcome.DIED: 3})
    for number, course in enumerate(courses, start=1):
        course["patient"] = 987_000_000 + number
    events = [{"pk": 987_654_321, "course": 1, "onset": day(40)}]
    text = as_json(report(dataset(courses, runs, events=events)))
    written = json.loads(text)
    assert set(written) == KEYS
    assert "98700000" not in text
    assert "987654321" not in text
    assert set(written["figures"][0]) == {
        "key", "measure", "label", "group", "unit", "counted", "numerator", "out_of", "denominator",
        "estimate", "lower", "upper", "at_day", "method", "note", "scale", "decimals", "missing",
    }  # fmt: skip


@pytest.mark.django_db
def test_command_writes_the_report(tmp_path: Path) -> None:
    book = Logbook()
    course = book.course()
    book.run(course, "2026-01-10 12:00", "2026-01-14 12:00")
    file = tmp_path / "report.json"
    call_command("report", period="2026-Q1", json=file, centre=book.centre.code)
    written = json.loads(file.read_text(encoding="utf-8"))
    assert written["header"]["centres"] == [book.centre.name]
    runs = next(f for f in written["figures"] if f["key"] == "volume.begun/ALL/runs")
    assert runs["numerator"] == 1
    call_command("report", period="2026-Q1", json=file, centre=book.centre.code, as_of="2025-12-31T09:00")
    assert json.loads(file.read_text(encoding="utf-8"))["header"]["data_cut"] == "2025-12-31T08:00:00+00:00"


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("options", "complaint"),
    [
        ({"period": "soon"}, "no period"),
        ({"centre": "NOWHERE"}, "no such centre"),
        ({"as_of": "yesterday"}, "no moment"),
        ({"as_of": "2026-13-01T00:00"}, "no moment"),
    ],
)
def test_command_says_what_is_wrong(tmp_path: Path, options: dict[str, str], complaint: str) -> None:
    Logbook()
    with pytest.raises(CommandError, match=complaint):
        call_command("report", **{"period": "2026", "json": tmp_path / "x", **options})


def test_importing_the_report_imports_no_charts() -> None:
    code = (
        "import django, sys; django.setup(); import outcomes.report, outcomes.dataset;"
        "print([name for name in ('plotly', 'pandas', 'scipy.stats', 'statsmodels') if name in sys.modules])"
    )
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert found.stdout.strip() == "[]"
