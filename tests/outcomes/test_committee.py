"""What the committee sees of a quarter: nothing small, and nothing from which something small follows."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from hypothesis import given, settings
from hypothesis import strategies as st

from outcomes.committee import for_committee
from outcomes.measures.catalogue import MEASURES
from outcomes.measures.values import ALL_ROUTES, Figure
from outcomes.period import Period
from outcomes.report import Header, Report
from registry.models import User
from tests.factories import create_case, days_ago

THRESHOLD = 5
HEADER = Header(
    centres=("A",), time_zone="Europe/Berlin", period="2026-Q3", start=datetime(2026, 7, 1, tzinfo=UTC),
    end=datetime(2026, 10, 1, tzinfo=UTC), data_cut=datetime(2026, 10, 2, tzinfo=UTC), as_of=None, level=0.95,
    software_version="0", definitions_version="0", open_at_cut=False,
)  # fmt: skip
GROUPS = ("AXILLARY", "FEMORAL", ALL_ROUTES)
ITEMS = ("TRANSPLANT", "DURABLE_VAD", "DIED_ON_SUPPORT")


def partition(counts: dict[str, list[int]]) -> Report:
    """A measure by route whose items add up along both edges."""
    figures = []
    both = [sum(pair) for pair in zip(counts["AXILLARY"], counts["FEMORAL"], strict=True)]
    for group, values in {**counts, ALL_ROUTES: both}.items():
        for item, hits in zip(ITEMS, values, strict=True):
            total = sum(values)
            figures.append(
                Figure(
                    key=f"exchanges/{group}/{item}", measure="exchanges", label=item, group=group,
                    unit="proportion", counted="courses", numerator=hits, out_of="courses", denominator=total,
                    estimate=hits / total if total else None,
                )
            )  # fmt: skip
    return Report(header=HEADER, measures=MEASURES, figures=tuple(figures), curves=(), left_out=())


def shown(report: Report) -> dict[tuple[str, str], float | None]:
    return {
        (f.group, f.key.rpartition("/")[2]): f.numerator
        for f in for_committee(report, threshold=THRESHOLD).figures
    }


COUNTS = st.lists(st.integers(0, 30), min_size=3, max_size=3)


@settings(max_examples=300, deadline=None)
@given(axillary=COUNTS, femoral=COUNTS)
def test_no_small_count_is_shown_or_follows_from_a_sum(axillary: list[int], femoral: list[int]) -> None:
    seen = shown(partition({"AXILLARY": axillary, "FEMORAL": femoral}))

    assert all(n is None or n == 0 or n >= THRESHOLD for n in seen.values())
    for item in ITEMS:
        hidden = [group for group in GROUPS if seen[group, item] is None]
        assert len(hidden) != 1, "the third follows from the other two"
    for group in GROUPS:
        hidden = [item for item in ITEMS if seen[group, item] is None]
        assert len(hidden) in (0, len(ITEMS)), "the last follows from the total"


def test_large_counts_stay() -> None:
    seen = shown(partition({"AXILLARY": [10, 8, 6], "FEMORAL": [9, 12, 7]}))

    assert None not in seen.values()


def test_a_route_with_few_takes_the_other_route_along_and_leaves_the_total() -> None:
    seen = shown(partition({"AXILLARY": [10, 2, 6], "FEMORAL": [9, 12, 7]}))

    assert {group for (group, _), n in seen.items() if n is None} == {"AXILLARY", "FEMORAL"}


def test_few_without_the_event_are_few_too() -> None:
    report = partition({"AXILLARY": [20, 0, 0], "FEMORAL": [20, 3, 0]})

    assert shown(report)["FEMORAL", "TRANSPLANT"] is None


@pytest.mark.parametrize("measure", ["complications", "mobilisation.course", "outcomes", "after.survival"])
def test_what_the_comparison_counts_is_not_shown_by_quarter(measure: str) -> None:
    figure = replace(
        partition({"AXILLARY": [50, 60, 70], "FEMORAL": [90, 80, 70]}).figures[0], measure=measure
    )
    seen = for_committee(
        Report(header=HEADER, measures=MEASURES, figures=(figure,), curves=(), left_out=()),
        threshold=THRESHOLD,
    )
    assert seen.figures[0].numerator is None


def medians(axillary: tuple[int, int], femoral: tuple[int, int]) -> Report:
    """Ages of so many known of so many, by route and in all, with the difference of the routes."""
    both = (axillary[0] + femoral[0], axillary[1] + femoral[1])
    figures = [
        Figure(
            key=f"baseline/{group}/age{part}", measure="baseline", label="Age, y", group=group, unit=unit,
            counted="courses", numerator=known, out_of="courses", denominator=of, estimate=60.0, lower=50.0,
            upper=70.0, missing=None if part else of - known,
        )
        for group, part, unit, (known, of) in (
            ("AXILLARY", "", "median", axillary),
            ("FEMORAL", "", "median", femoral),
            (ALL_ROUTES, "", "median", both),
            (ALL_ROUTES, "/difference", "standard deviations", both),
        )
    ]  # fmt: skip
    return Report(header=HEADER, measures=MEASURES, figures=tuple(figures), curves=(), left_out=())


@pytest.mark.parametrize(
    ("axillary", "femoral", "seen"),
    [
        ((20, 20), (9, 9), [True, True, True, True]),
        ((20, 20), (4, 4), [False, False, True, False]),  # the difference would give the few away
        ((20, 20), (10, 12), [False, False, False, False]),  # two without a value are few as well
        ((2, 2), (2, 2), [False, False, False, False]),
    ],
)
def test_medians_of_few_and_differences_with_them_are_hidden(
    axillary: tuple[int, int], femoral: tuple[int, int], seen: list[bool]
) -> None:
    shown_figures = for_committee(medians(axillary, femoral), threshold=THRESHOLD).figures
    assert [figure.estimate is not None for figure in shown_figures] == seen
    assert all(figure.missing is None for figure in shown_figures if figure.estimate is None)


def test_readings_and_curves_are_left_away() -> None:
    report = partition({"AXILLARY": [10, 8, 6], "FEMORAL": [9, 12, 7]})
    reading = replace(report.figures[0], key="dwell.run/ALL/removed/day-30", measure="dwell.run", at_day=30.0)
    seen = for_committee(replace(report, figures=(reading,)), threshold=THRESHOLD)

    assert seen.figures[0].estimate is None
    assert "not shown" in seen.figures[0].note
    assert seen.curves == ()


@pytest.mark.django_db
def test_the_page_says_so_and_gives_no_small_count(
    committee: User, sign_in: Callable[[User], Client]
) -> None:
    client = sign_in(committee)
    run = create_case(centre=committee.centre, inserted_at=days_ago(120))
    label = f"{run.inserted_at.year}-Q{(run.inserted_at.month + 2) // 3}"
    page = client.get(reverse("quarter"), {"period": label})

    assert "small count, hidden" in page.content.decode()
    assert all(f.numerator in (None, 0) for f in page.context["report"].figures if f.unit == "proportion")
    assert '"numerator": 1,' not in client.get(reverse("quarter_json"), {"period": label}).content.decode()


@pytest.mark.django_db
@pytest.mark.parametrize("text", ["2026", "2026-07", "2026-01..2026-06", "running"])
def test_periods_that_overlap_quarters_or_go_on_are_not_for_the_committee(
    text: str, committee: User, sign_in: Callable[[User], Client]
) -> None:
    if text == "running":
        text = Period.quarter_of(timezone.localdate(), committee.centre.zone).label
    page = sign_in(committee).get(reverse("quarter"), {"period": text})

    assert page.status_code == 422
    assert "whole quarters that are over" in page.content.decode()
