"""Who belongs to which arm: failed attempts, changes of route, exchanges and transfers in."""

from __future__ import annotations

import numpy as np
import pytest

from outcomes.comparison.answers import exposure
from outcomes.comparison.build import build_comparison
from outcomes.comparison.choices import Choices
from outcomes.comparison.reading import Facts
from outcomes.comparison.units import Programme, units_of
from outcomes.dataset import Dataset
from outcomes.dataset.clinical import TENTHS, WHOLE, YES_NO
from outcomes.dataset.clock import NEVER
from registry.choices import EndReason, Outcome, Relation
from tests.outcomes import rows
from tests.outcomes.rows import AXILLARY, FEMORAL, OTHER, day

EXCHANGE = {"end_reason": rows.end_reason(EndReason.EXCHANGE)}
CROSSOVER = {"run_no": 2, "relation": rows.relation(Relation.CROSSOVER)}
DIED = {"outcome": rows.outcome(Outcome.DIED)}


def facts_of(data: Dataset) -> Facts:
    unknown = np.full(data.courses.size, -1)
    return Facts(
        course={
            **dict.fromkeys((*YES_NO, *TENTHS, *WHOLE, "aetiology", "presentation"), unknown),
            "sex": np.zeros(data.courses.size, dtype=np.int64),
            "birth_year": np.full(data.courses.size, 1970),
            "admitted": np.full(data.courses.size, NEVER),
            "transferred": np.zeros(data.courses.size, dtype=np.int64),
        },
        run=dict.fromkeys(("access", "urgency"), np.zeros(data.runs.size, dtype=np.int64)),
        attempt=dict.fromkeys(("access", "urgency"), np.ones(data.attempts.pk.size, dtype=np.int64)),
    )


@pytest.fixture
def logbook() -> Programme:
    """Four courses: femoral then axillary; axillary; failed axillary that became femoral; another route."""
    data = rows.dataset(
        [
            {"outcome": rows.outcome(Outcome.TRANSPLANT), "outcome_at": day(19)},
            {**DIED, "outcome_at": day(5)},
            {**DIED, "outcome_at": day(6)},
            {**DIED, "outcome_at": day(6)},
        ],
        [
            {"course": 1, "route": FEMORAL, "removed": day(4), **EXCHANGE},
            {
                "course": 1,
                "route": AXILLARY,
                "inserted": day(4),
                "removed": day(19),
                "replaces": 1,
                **CROSSOVER,
            },
            {"course": 2, "route": AXILLARY, "removed": day(5)},
            {"course": 3, "route": FEMORAL, "removed": day(6)},
            {"course": 4, "route": OTHER, "removed": day(6)},
        ],
        events=[
            {"course": 1, "onset": day(1), "serious": 1, "kind": 3},
            {"course": 1, "onset": day(9), "serious": 1, "kind": 3},
        ],
        attempts=[{"patient": 3, "attempted": day(-0.1), "intended": AXILLARY}],
    )
    return Programme(data, facts_of(data))


def arms(made: Programme, view: str) -> list[tuple[int, bool]]:
    units = units_of(made, view)
    return list(zip((units.course + 1).tolist(), units.axillary.tolist(), strict=True))


def test_a_failed_attempt_counts_under_the_route_tried_first(logbook):
    assert arms(logbook, "intended") == [(1, False), (2, True), (3, True)]


def test_by_first_route_it_counts_under_the_pump_that_went_in(logbook):
    assert arms(logbook, "first") == [(1, False), (2, True), (3, False)]


def test_as_used_a_course_that_changed_route_has_two_spells(logbook):
    assert arms(logbook, "used") == [(1, False), (1, True), (2, True), (3, False)]


def test_nobody_is_axillary_from_day_0_because_an_axillary_pump_came_later(logbook):
    units = units_of(logbook, "used")
    early, later = exposure(logbook, units)
    assert (early + later).tolist() == pytest.approx([4.0, 15.0, 5.0, 6.0])
    assert early.tolist() == pytest.approx([3.0, 3.0, 3.0, 3.0])
    intended = units_of(logbook, "intended")
    assert sum(exposure(logbook, intended)).tolist() == pytest.approx([19.0, 5.0, 6.0])


def test_events_belong_to_the_route_in_place(logbook):
    found = build_comparison(
        dataset=logbook.dataset, facts=logbook.facts, choices=Choices(view="used"), parts=("crude",)
    )
    row = found.crude_row("SERIOUS")
    assert (row.axillary.hits, row.axillary.total) == (1, 2)
    assert (row.femoral.hits, row.femoral.total) == (1, 2)


def test_the_last_spell_alone_has_the_outcome_of_the_course(logbook):
    found = build_comparison(
        dataset=logbook.dataset, facts=logbook.facts, choices=Choices(view="used"), parts=("crude",)
    )
    row = found.crude_row("DIED")
    assert (row.axillary.hits, row.axillary.total) == (1, 2)
    assert (row.femoral.hits, row.femoral.total) == (1, 1)


def test_the_diagram_adds_up_in_every_column(logbook):
    who = build_comparison(dataset=logbook.dataset, facts=logbook.facts, parts=()).who
    by_stage = {
        stage: sum(move.count.hits for move in who.moves if move.stage == stage) for stage in (0, 1, 2)
    }
    assert by_stage == {0: 3, 1: 3, 2: 3}
    crossed = [
        move for move in who.moves if (move.stage, move.source, move.target) == (1, "Femoral", "Axillary")
    ]
    assert [move.count.hits for move in crossed] == [1]
    axillary, femoral = who.flows
    assert [share.hits for _, share in axillary.paths] == [1, 0, 1]
    assert [share.hits for _, share in femoral.paths] == [0, 1, 0]
    assert who.other_route.hits == 1


def test_filters_take_access_from_the_procedure_tried_first(logbook):
    asked = Choices(access="OPEN_CUTDOWN")  # the failed attempt was open, all pumps percutaneous
    who = build_comparison(dataset=logbook.dataset, facts=logbook.facts, choices=asked, parts=()).who
    assert [flow.total.hits for flow in who.flows] == [1, 0]


def test_an_empty_logbook_compares_nothing():
    data = rows.dataset([], [])
    found = build_comparison(dataset=data, facts=facts_of(data))
    assert [flow.total.hits for flow in found.who.flows] == [0, 0]
    assert found.crude_row("SERIOUS").difference.value is None
    assert found.adjusted_row("SERIOUS").refusal.startswith("too few patients")
    assert found.over_time.learning.refusal
