"""A small programme with something in every table and chart, and one with nothing."""

from __future__ import annotations

import numpy as np
import pytest

from outcomes.comparison.build import build_comparison
from outcomes.comparison.reading import load
from outcomes.comparison.units import Programme
from outcomes.comparison.value import Comparison
from outcomes.exports.material import Material, gather
from outcomes.period import Period
from outcomes.routes import compared_routes
from tests.outcomes.builder import Logbook
from tests.outcomes.comparison.simulated import programme, stories

PERIOD = "2026-Q3"


def fill(book: Logbook) -> Logbook:
    """Three quarters with both routes, an exchange, a crossover, events, sessions, a failed attempt."""
    old = book.course()
    run = book.run(old, "2026-01-10 10:00", "2026-01-25 10:00")
    book.event(old, "2026-01-12 10:00", "BLEEDING", run=run, serious=True)
    book.outcome(old, "2026-01-25 10:00")
    older = book.course()
    book.run(older, "2026-04-03 10:00", "2026-04-09 10:00", route="FEMORAL_R")
    book.outcome(older, "2026-04-09 10:00", "DURABLE_VAD")
    first = book.course()
    run = book.run(first, "2026-07-02 10:00", "2026-07-12 10:00")
    book.event(first, "2026-07-05 11:00", "BLEEDING", run=run, serious=True, barc="3a", bleed_site="ACCESS")
    book.event(
        first,
        "2026-07-06 11:00",
        "REPOSITION",
        run=run,
        trigger="FILM",
        moved="ADVANCED",
        place="BEDSIDE_BLIND",
    )
    book.run(first, "2026-07-12 10:30", "2026-07-20 10:00")
    book.session(first, "2026-07-03 10:00", 7)
    book.outcome(first, "2026-07-20 10:00")
    second = book.course()
    run = book.run(second, "2026-08-01 09:00")
    book.event(
        second,
        "2026-08-20 09:00",
        "KINK_MALFUNCTION",
        run=run,
        failure="KINK",
        kink_site="IN_BALLOON",
        severity="MAJOR",
    )
    book.session(second, "2026-08-04 10:00", 4)
    third = book.course()
    book.run(third, "2026-08-03 09:00", "2026-08-07 09:00", route="FEMORAL_L")
    book.run(
        third,
        "2026-08-07 09:20",
        "2026-08-22 09:20",
        relation="ROUTE_CROSSOVER",
        exchange_reason="PLANNED_ROUTE_CHANGE",
    )
    fourth = book.course()
    run = book.run(fourth, "2026-09-01 09:00", "2026-09-06 09:00", route="FEMORAL_L")
    book.event(fourth, "2026-09-03 09:00", "LIMB", run=run, serious=True)
    book.outcome(fourth, "2026-09-06 09:00", "DIED_ON_SUPPORT")
    book.attempt(book.patient(), "2026-08-08 10:00")
    book.candidate("2026-08-10")
    return book


def material_of(book: Logbook, period: str = PERIOD, *, smallest_cell: int | None = None) -> Material:
    """What the files of a period would hold."""
    dataset, facts = load(centres=[book.centre])
    wanted = Period.parse(period, dataset.zone)
    return gather(dataset=dataset, facts=facts, period=wanted, smallest_cell=smallest_cell)


@pytest.fixture
def book(db: None) -> Logbook:
    return fill(Logbook())


@pytest.fixture
def material(book: Logbook) -> Material:
    return material_of(book)


@pytest.fixture
def nothing(db: None) -> Material:
    """A quarter in which nothing happened."""
    return material_of(Logbook())


def invented(size: int, risk: float) -> Programme:
    """A programme of many courses, straight as tables."""
    return programme(
        stories(
            size,
            3,
            chance_axillary=lambda severe, age: np.where(severe, 0.4, 0.6),
            risk=lambda axillary, severe, age: np.where(severe, 3 * risk, risk),
        )
    )


@pytest.fixture(scope="session")
def compared() -> Comparison:
    """A comparison with every part, large enough to be adjusted."""
    made = invented(400, 0.1)
    return build_comparison(dataset=made.dataset, facts=made.facts)


@pytest.fixture(scope="session")
def few() -> Comparison:
    """A comparison of few courses as the quality committee sees it."""
    made = invented(60, 0.03)
    found = compared_routes(made.dataset, made.facts, threshold=5)
    assert found is not None
    return found
