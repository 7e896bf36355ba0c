"""Cases in which the words of a definition decide what is counted."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from outcomes.dataset import codes
from outcomes.estimators.arrays import Ints
from registry.choices import DeviceClass, EndReason, Outcome, Relation
from registry.choices_events import OUT_OF_BED_LEVEL, Barc, EventKind, NeuroKind
from tests.outcomes.rows import (
    FEMORAL,
    Row,
    courses_with_outcomes,
    dataset,
    day,
    device,
    end_reason,
    kind,
    outcome,
    relation,
    report,
)


def escalated(pump_out: float, **event: Any) -> tuple[Ints, Row]:
    """A femoral pump, ECMO beside it from day 2, the pump out a little later; one bleed that names no run."""
    runs = [
        {
            "course": 1,
            "route": FEMORAL,
            "removed": day(pump_out),
            "end_reason": end_reason(EndReason.ESCALATION),
        },
        {
            "course": 1,
            "run_no": 2,
            "inserted": day(2),
            "device": device(DeviceClass.VA_ECMO),
            "route": FEMORAL,
            "relation": relation(Relation.ESCALATION),
        },
    ]
    data = dataset([{}], runs, events=[{"course": 1, "kind": kind(EventKind.BLEEDING), **event}])
    found = report(data)
    return data.events.run, {
        "femoral": found.figure("complications/FEMORAL/BLEEDING/patients").numerator,
        "late": found.figure("complications.late/ALL/ANY").numerator,
        **{line.key: line.count for line in found.left_out if line.key.startswith("events/")},
    }


def test_harm_within_24_h_of_removal_counts_although_another_device_is_in_place() -> None:
    run, counted = escalated(2.1, onset=day(2.5))
    assert (run.tolist(), counted) == ([0], {"femoral": 1, "late": 0})


def test_event_on_the_greater_device_later_is_listed_as_such() -> None:
    run, counted = escalated(2.1, onset=day(5))
    assert (run.tolist(), counted) == ([1], {"femoral": 0, "late": 0, "events/other-device": 1})


def test_who_arrives_on_day_1_is_not_at_risk_on_day_0() -> None:
    """Two placed here, two placed elsewhere and here from the next day; one of the first stands on day 0."""
    courses: list[Row] = [
        {"outcome": outcome(Outcome.WEANED), "outcome_at": day(9), **arrived}
        for arrived in ({}, {}, {"arrived": day(1)}, {"arrived": day(1)})
    ]
    runs = [{"course": n, "removed": day(9)} for n in range(1, 5)]
    sessions = [{"course": 1, "started": day(0.1), "level": int(OUT_OF_BED_LEVEL)}]
    found = report(dataset(courses, runs, sessions=sessions))
    for measure in ("mobilisation.course", "mobilisation.route"):
        curve = next(curve for curve in found.curves if curve.key == f"{measure}/AXILLARY/out-of-bed")
        assert (curve.days, curve.at_risk, curve.estimate[0]) == ((0, 9), (2, 3), 0.5)
        assert curve.risk_counts[:2] == (2, 3)


def test_the_route_clock_counts_spells_not_runs() -> None:
    found = report(dataset([{}], [{"course": 1}]))
    assert found.figure("mobilisation.route/AXILLARY/walk/day-7").out_of == "spells"
    assert found.figure("mobilisation.course/AXILLARY/walk/day-7").out_of == "courses"


def test_a_stay_that_goes_on_is_not_the_shortest() -> None:
    courses, runs = courses_with_outcomes({Outcome.WEANED: 1}, days=5)
    found = report(dataset([*courses, {}], [*runs, {"course": 2, "inserted": day(179)}]), "2026")
    shortest, longest = (found.figure(f"dwell.run/ALL/{item}") for item in ("shortest", "longest"))
    assert (shortest.estimate, longest.estimate) == (5, 5)
    alone = report(dataset([{}], [{"course": 1}]))
    assert [figure.key for figure in alone.figures if figure.key.startswith("dwell.run/ALL/")][-1:] == [
        "dwell.run/ALL/longest"
    ]
    assert alone.figure("dwell.run/ALL/longest").note.startswith("still in place")


def test_a_mean_read_after_the_last_follow_up_still_says_that_patients_are_few() -> None:
    courses, runs = courses_with_outcomes({Outcome.WEANED: 2}, days=5)
    moved = [{"course": 1, "kind": kind(EventKind.REPOSITION), "onset": day(1)}]
    note = report(dataset(courses, runs, events=moved)).figure("repositions.mean/ALL/day-14").note
    assert "nobody was followed that long" in note
    assert "fewer than 20 patients" in note


def test_courses_without_a_level_are_a_share_of_courses_with_limits() -> None:
    figure = report(dataset([{}], [{"course": 1}])).figure("mobilisation.course/ALL/unrecorded")
    assert (figure.estimate, figure.upper, figure.note) == (1, 1, "")
    assert figure.lower is not None


def test_a_course_that_begins_after_the_cut_is_not_a_course_without_a_device() -> None:
    cut = datetime(2026, 2, 1, tzinfo=UTC)
    found = report(dataset([{}, {}, {}], [{"course": 1}, {"course": 2, "inserted": day(40)}], cut_at=cut))
    assert found.figure("volume.begun/ALL/courses").numerator == 1
    listed = {line.key: line.count for line in found.left_out}
    assert listed == {"courses/no-run": 1, "courses/supported": 1}


def test_nobody_dead_is_at_risk_in_the_next_quarter() -> None:
    """Death on support late on the last day of the quarter: the day after is not a day at risk."""
    ended = {"removed": day(89.3), "end_reason": end_reason(EndReason.DEATH)}
    for code, at_risk in ((Outcome.DIED, 0), (Outcome.TRANSPLANT, 1)):
        course = {"outcome": outcome(code), "outcome_at": day(89.3)}
        found = report(dataset([course], [{"course": 1, **ended}]), "2026-Q2")
        assert found.figure("complications/ALL/BLEEDING/patients").denominator == at_risk


def test_pumps_placed_elsewhere_are_no_attempts_of_ours() -> None:
    runs = [{"course": number} for number in (1, 2)]
    found = report(dataset([{}, {"arrived": day(1)}], runs))
    assert found.figure("flow.attempted/ALL/placed").denominator == 1
    assert found.figure("volume.begun/ALL/courses").numerator == 2


def test_graver_events_have_a_line_below_their_kind() -> None:
    """Types: NeuroARC, BARC as cited in the definition."""
    happened = [
        (EventKind.NEURO, NeuroKind.ISCHAEMIC),
        (EventKind.NEURO, NeuroKind.TIA),
        (EventKind.BLEEDING, Barc.T2),
        (EventKind.BLEEDING, Barc.T3A),
        (EventKind.KINK, None),
    ]
    events = [
        {
            "course": number,
            "kind": kind(code),
            "onset": day(1),
            **({"detail": codes.DETAILS.index(detail)} if detail else {}),
        }
        for number, (code, detail) in enumerate(happened, 1)
    ]
    found = report(dataset([{}] * 5, [{"course": number} for number in range(1, 6)], events=events))
    counts = {
        item: found.figure(f"complications/ALL/{item}/patients").numerator
        for item in ("NEURO", "STROKE", "BLEEDING", "BARC_3_5", "HARM", "ANY")
    }
    assert counts == {"NEURO": 2, "STROKE": 1, "BLEEDING": 2, "BARC_3_5": 1, "HARM": 4, "ANY": 5}


def test_a_bridge_after_escalation_is_a_bridge_but_not_by_the_pump_alone() -> None:
    course = {"outcome": outcome(Outcome.TRANSPLANT), "outcome_at": day(9)}
    escalated = {"removed": day(4), "end_reason": end_reason(EndReason.ESCALATION)}
    found = report(dataset([course, course], [{"course": 1, "removed": day(9)}, {"course": 2, **escalated}]))
    assert found.figure("success/ALL/any").numerator == 2
    assert found.figure("success/ALL/unescalated").numerator == 1
