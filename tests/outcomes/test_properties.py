"""What must hold in every report, whatever is in the logbook: tried on random ones."""

from __future__ import annotations

import json
import math
from typing import Any

import numpy as np
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from outcomes.dataset import Dataset
from outcomes.measures.scope import Scope
from outcomes.period import Period
from outcomes.report import Figure
from outcomes.report.serialise import as_json
from registry.choices import DeviceClass, ExchangeReason, Outcome, Relation
from tests.outcomes.rows import (
    AXILLARY,
    FEMORAL,
    OTHER,
    Row,
    dataset,
    day,
    device,
    exchange_reason,
    outcome,
    relation,
    report,
)

# Shrinking a whole logbook takes longer than reading the one that failed.
SLOW = settings(max_examples=12, deadline=None, phases=[Phase.reuse, Phase.generate])
FRACTIONS = st.integers(0, 40 * 24).map(lambda hours: hours / 24)
LATER = st.sampled_from(
    [Relation.SAME_SITE, Relation.NEW_SITE, Relation.CROSSOVER, Relation.ESCALATION, Relation.REINSERTION]
)


@st.composite
def logbooks(draw: st.DrawFn) -> Dataset:
    """Courses with up to three runs one after another, open or closed, with events and sessions anywhere."""
    courses: list[Row] = []
    runs: list[Row] = []
    events: list[Row] = []
    sessions: list[Row] = []
    for number in range(1, draw(st.integers(0, 12)) + 1):
        _course(draw, number, courses, runs)
        near = st.integers(-2 * 24, 60 * 24).map(lambda hours: hours / 24)
        for onset in draw(st.lists(near, max_size=4)):
            events.append(
                {
                    "course": number,
                    "kind": draw(st.integers(0, 13)),
                    "onset": day(20 + onset),
                    "review": draw(st.integers(0, 2)),
                }
            )
        for started in draw(st.lists(near, max_size=3)):
            sessions.append(
                {"course": number, "started": day(20 + started), "level": draw(st.integers(0, 10))}
            )
    return dataset(courses, runs, events=events, sessions=sessions)


def _course(draw: st.DrawFn, number: int, courses: list[Row], runs: list[Row]) -> None:
    start = 20 + draw(FRACTIONS)
    course: Row = {"patient": draw(st.integers(1, 8))}
    moment = start
    for place in range(draw(st.integers(0, 3))):
        stays = draw(st.integers(1, 20 * 24)) / 24
        run: Row = {
            "course": number,
            "run_no": place + 1,
            "inserted": day(moment),
            "route": draw(st.sampled_from([AXILLARY, FEMORAL, OTHER])),
            "device": device(
                draw(st.sampled_from([DeviceClass.IABP, DeviceClass.IABP, DeviceClass.VA_ECMO]))
            ),
            "balloon_ml": draw(st.sampled_from([34, 40, 50])),
        }
        if place:
            run |= {
                "relation": relation(draw(LATER)),
                "exchange_reason": exchange_reason(ExchangeReason.KINK),
            }
        moment += stays
        if draw(st.booleans()) or draw(st.booleans()):
            run["removed"] = day(moment)
        runs.append(run)
    if draw(st.booleans()):
        late = draw(st.integers(-24, 24)) / 24
        course |= {"outcome": outcome(draw(st.sampled_from(list(Outcome)))), "outcome_at": day(moment + late)}
    if draw(st.integers(0, 4)) == 0:
        course["arrived"] = day(start + draw(st.integers(0, 48)) / 24)
    courses.append(course)


def _distinct(lists: Any) -> int:
    return sum(len(cases.pks) for cases in lists)


@SLOW
@given(logbooks())
def test_numerators_lie_within_their_denominators(data: Dataset) -> None:
    for figure in report(data).figures:
        if figure.unit == "proportion":
            inside = {(c.record, pk) for c in figure.cases.denominator for pk in c.pks}
            some = {(c.record, pk) for c in figure.cases.numerator for pk in c.pks}
            assert some <= inside, figure.key


@SLOW
@given(logbooks())
def test_figures_open_to_as_many_cases_as_they_print(data: Dataset) -> None:
    for figure in report(data).figures:
        if figure.cases.numerator and figure.unit != "device-days":
            assert _distinct(figure.cases.numerator) == figure.numerator, figure.key
        if figure.cases.denominator and figure.out_of not in (None, "device-days"):
            assert _distinct(figure.cases.denominator) == figure.denominator, figure.key


@SLOW
@given(logbooks())
def test_estimates_lie_within_their_limits_or_say_why_not(data: Dataset) -> None:
    for figure in report(data).figures:
        if figure.unit not in ("count", "device-days") and figure.estimate is None:
            assert figure.note.startswith("not estimable") or "; not estimable" in figure.note, figure.key
        if figure.estimate is not None:
            low = -math.inf if figure.lower is None else figure.lower
            high = math.inf if figure.upper is None else figure.upper
            assert low - 1e-12 <= figure.estimate <= high + 1e-12, figure.key
            assert figure.unit != "proportion" or 0 <= figure.estimate <= 1


@SLOW
@given(logbooks())
def test_ways_out_and_still_supported_add_up_to_one(data: Dataset) -> None:
    found = report(data)
    bridge = found.figures_of("bridge")
    for group in {f.group for f in bridge}:
        for at_day in {f.at_day for f in bridge}:
            parts = [f.estimate for f in bridge if (f.group, f.at_day) == (group, at_day)]
            if None not in parts:
                assert sum(parts) == pytest.approx(1.0, abs=1e-12)  # type: ignore[arg-type]


@SLOW
@given(logbooks())
def test_outcomes_and_attempts_are_shared_out_completely(data: Dataset) -> None:
    found = report(data)
    for measure in ("outcomes", "flow.attempted"):
        for group in {f.group for f in found.figures_of(measure)}:
            lines = found.figures_of(measure, group)
            assert sum(f.numerator for f in lines) == lines[0].denominator  # type: ignore[misc]


@SLOW
@given(logbooks())
def test_every_standing_event_is_counted_once_or_listed(data: Dataset) -> None:
    scope = Scope(data, Period.parse("2026-Q1", data.zone), 0.95)
    piles = [scope.attributed, scope.late, scope.unplaced, scope.on_other_devices]
    assert np.array_equal(np.sum(piles, axis=0), scope.standing.astype(int))


@SLOW
@given(logbooks())
def test_routes_add_up_to_all_where_a_record_has_one_route(data: Dataset) -> None:
    found = report(data)
    for key in ("volume.begun/{}/courses", "volume.begun/{}/runs", "volume.in_place/{}/device-days"):
        parts = [_value(found, key.format(group)) for group in ("AXILLARY", "FEMORAL", "OTHER")]
        assert sum(parts) == pytest.approx(_value(found, key.format("ALL")))


@SLOW
@given(logbooks())
def test_device_days_of_the_quarters_add_up_to_those_of_the_year(data: Dataset) -> None:
    quarters = [report(data, f"2026-Q{q}") for q in (1, 2, 3, 4)]
    key = "volume.in_place/ALL/device-days"
    assert sum(_value(r, key) for r in quarters) == pytest.approx(_value(report(data, "2026"), key))


@SLOW
@given(logbooks())
def test_keys_are_unique_and_the_json_is_strict(data: Dataset) -> None:
    found = report(data)
    keys = [figure.key for figure in found.figures]
    assert len(keys) == len(set(keys))
    assert len({c.key for c in found.curves}) == len(found.curves)
    written = json.loads(as_json(found))
    assert len(written["figures"]) == len(keys)
    assert as_json(report(data)) == as_json(found)


def _value(found: Any, key: str) -> float:
    try:
        figure: Figure = found.figure(key)
    except KeyError:
        return 0.0
    return figure.numerator or 0.0
