"""What goes wrong when a programme counts in spreadsheets: one test for each trap.

The traps are common practice, no source, unless a test names one.
"""

from __future__ import annotations

from datetime import datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from outcomes.dataset.clock import MINUTES_PER_DAY, local_days, minute_of
from registry.choices import DeviceClass, EndReason, ExchangeReason, Outcome, Relation
from registry.choices_events import EventKind
from tests.outcomes.rows import (
    AXILLARY,
    FEMORAL,
    ORIGIN,
    Row,
    courses_with_outcomes,
    dataset,
    day,
    device,
    end_reason,
    exchange_reason,
    kind,
    outcome,
    relation,
    report,
)

CHICAGO = ZoneInfo("America/Chicago")
CROSSOVER: Row = {
    "relation": relation(Relation.CROSSOVER),
    "exchange_reason": exchange_reason(ExchangeReason.PLANNED_ROUTE),
}


def moment(text: str, zone: ZoneInfo = CHICAGO) -> int:
    return minute_of(datetime.fromisoformat(text).replace(tzinfo=zone))


def stay(inserted: str, removed: str) -> float:
    """Elapsed days that the report gives for one run of one course."""
    courses = [{"outcome": outcome(Outcome.WEANED), "outcome_at": moment(removed)}]
    runs = [{"course": 1, "inserted": moment(inserted), "removed": moment(removed)}]
    days = report(dataset(courses, runs, zone=CHICAGO), "2024").figure("dwell.run/ALL/median").estimate
    assert days is not None
    return days


def femoral_then_axillary() -> tuple[list[Row], list[Row]]:
    """One course: femoral from day 0 to 4, axillary from day 4 to 19, then transplant."""
    courses = [{"outcome": outcome(Outcome.TRANSPLANT), "outcome_at": day(19)}]
    runs = [
        {"course": 1, "route": FEMORAL, "removed": day(4), "end_reason": end_reason(EndReason.EXCHANGE)},
        {
            "course": 1,
            "run_no": 2,
            "replaces": 1,
            "inserted": day(4),
            "removed": day(19),
            "end_reason": end_reason(EndReason.TRANSPLANT),
            **CROSSOVER,
        },
    ]
    return courses, runs


def test_dwell_is_elapsed_time_not_midnights_or_calendar_days() -> None:
    """In 01-Mar 23:50, out 03-Mar 00:10: 24.33 h, 2 midnights, 3 calendar days. Dwell is 1.01 days."""
    assert 24 * stay("2024-03-01 23:50", "2024-03-03 00:10") == pytest.approx(24.3333, abs=1e-4)
    days = local_days(np.array([moment("2024-03-01 23:50"), moment("2024-03-03 00:10")]), CHICAGO)
    assert days[1] - days[0] == 2
    assert days[1] - days[0] + 1 == 3


@pytest.mark.parametrize(
    ("inserted", "removed", "hours"),
    [("2024-03-09 12:00", "2024-03-10 12:00", 23), ("2024-11-02 12:00", "2024-11-03 12:00", 25)],
)
def test_noon_to_noon_across_a_clock_change(inserted: str, removed: str, hours: int) -> None:
    assert 24 * stay(inserted, removed) == pytest.approx(hours, abs=1e-9)
    days = local_days(np.array([moment(inserted), moment(removed)]), CHICAGO)
    assert days[1] - days[0] == 1  # the calendar has not lost a day for it


def test_the_hour_that_comes_twice_stays_in_order() -> None:
    before, after = (minute_of(datetime(2024, 11, 3, 1, 30, tzinfo=CHICAGO, fold=fold)) for fold in (0, 1))
    assert after - before == 60
    assert len(set(local_days(np.array([before, after]), CHICAGO).tolist())) == 1


def test_run_dwell_and_course_dwell_are_both_shown() -> None:
    """Femoral 4 days then axillary 15 days: support of 19 days, runs of 4 and 15."""
    found = report(dataset(*femoral_then_axillary()))
    assert found.figure("dwell.run/FEMORAL/median").estimate == 4
    assert found.figure("dwell.run/AXILLARY/median").estimate == 15
    assert found.figure("dwell.course/FEMORAL/median").estimate == 19
    assert found.figure("dwell.course/AXILLARY/n").numerator == 0


def test_events_over_patients_is_not_a_share_of_patients() -> None:
    """14 events in 12 of 42 patients: 28.6 % of patients, and 14 events over device-days."""
    courses, runs = courses_with_outcomes({Outcome.TRANSPLANT: 42})
    owners = [*range(1, 13), 1, 2]
    events = [{"course": n, "kind": kind(EventKind.BLEEDING), "onset": day(1)} for n in owners]
    found = report(dataset(courses, runs, events=events))
    share, often = (found.figure(f"complications/ALL/BLEEDING/{part}") for part in ("patients", "rate"))
    assert (share.numerator, share.denominator, share.unit) == (12, 42, "proportion")
    assert (often.numerator, often.out_of) == (14, "device-days")


def test_failed_axillary_attempt_that_became_femoral_stays_with_axillary_as_intended() -> None:
    courses = [{"outcome": outcome(Outcome.WEANED), "outcome_at": day(5)} for _ in range(3)]
    runs = [
        {"course": 1, "removed": day(5), "route": FEMORAL},
        {"course": 2, "removed": day(5), "route": FEMORAL},
        {"course": 3, "removed": day(5), "route": AXILLARY},
    ]
    attempts = [
        {"patient": 1, "attempted": ORIGIN - 60, "intended": AXILLARY, "followed_by": 1},
        {"patient": 9, "attempted": day(3), "intended": AXILLARY},
    ]
    found = report(dataset(courses, runs, attempts=attempts))
    assert [
        found.figure(f"flow.attempted/AXILLARY/{item}").numerator
        for item in ("placed", "converted", "failed")
    ] == [1, 1, 1]
    assert found.figure("flow.attempted/AXILLARY/placed").denominator == 3
    assert found.figure("flow.attempted/FEMORAL/placed").denominator == 1
    # As used, both femoral pumps are femoral.
    assert found.figure("volume.begun/FEMORAL/courses").numerator == 2


def test_several_failed_attempts_before_one_pump_are_one_case() -> None:
    """Left axillary fails, right axillary fails, femoral works: only the last attempt can name the run."""
    courses = [{"outcome": outcome(Outcome.WEANED), "outcome_at": day(5)}]
    runs = [{"course": 1, "removed": day(5), "route": FEMORAL}]
    attempts = [
        {"patient": 1, "attempted": ORIGIN - 90, "intended": AXILLARY},
        {"patient": 1, "attempted": ORIGIN - 30, "intended": FEMORAL, "followed_by": 1},
    ]
    found = report(dataset(courses, runs, attempts=attempts))
    assert found.figure("flow.considered/ALL/total").numerator == 1
    assert found.figure("flow.attempted/AXILLARY/converted").numerator == 1
    assert found.figure("flow.attempted/ALL/failed").numerator == 0


def test_refused_and_failed_patients_stay_in_the_denominator() -> None:
    courses, runs = courses_with_outcomes({Outcome.WEANED: 3})
    noon = local_days(np.array([day(2)]), ZoneInfo("Europe/Berlin"))[0]
    found = report(
        dataset(
            courses,
            runs,
            candidates=[{"considered_on": noon}, {"considered_on": noon}],
            attempts=[{"patient": 70, "attempted": day(1)}, {"patient": 70, "attempted": day(1.1)}],
        )
    )
    parts = {
        item: found.figure(f"flow.considered/ALL/{item}").numerator
        for item in ("candidates", "failed", "begun", "total")
    }
    assert parts == {"candidates": 2, "failed": 1, "begun": 3, "total": 6}


def test_still_supported_are_kept_and_censored() -> None:
    """Two short runs over, two long ones going on: leaving those out would make the median 2 days."""
    courses, runs = courses_with_outcomes({Outcome.WEANED: 2}, days=2)
    courses += [{}, {}]
    runs += [{"course": 3}, {"course": 4}]
    found = report(dataset(courses, runs))
    assert found.figure("dwell.run/ALL/n").numerator == 4
    assert found.figure("dwell.run/ALL/going-on").numerator == 2
    third = found.figure("dwell.run/ALL/quartile-3")
    assert third.estimate is None
    assert third.note.startswith("not estimable: fewer than 75%")
    still = {line.key: line for line in found.left_out}["courses/supported"]
    assert (still.count, still.treatment) == (2, "kept, censored")


def test_nobody_is_axillary_before_the_axillary_pump_is_in() -> None:
    """Two femoral courses: one dies on day 2, one lives to cross over on day 4 and is transplanted on day
    19. Counted as ever axillary from day 0, the axillary route would show no death in 1 of 1 and 19 days;
    its device never saw the first 4. (Immortal time: Suissa S, Am J Epidemiol 2008;167:492-499,
    doi:10.1093/aje/kwm324.)
    """
    courses, runs = femoral_then_axillary()
    courses.append({"outcome": outcome(Outcome.DIED), "outcome_at": day(2)})
    runs.append({"course": 2, "route": FEMORAL, "removed": day(2), "end_reason": end_reason(EndReason.DEATH)})
    found = report(dataset(courses, runs))
    assert found.figure("outcomes/AXILLARY/TRANSPLANT").denominator == 0
    assert found.figure("outcomes/FEMORAL/TRANSPLANT").denominator == 2
    assert found.figure("bridge/FEMORAL/died/day-7").estimate == 0.5
    assert found.figure("volume.in_place/AXILLARY/device-days").numerator == 15
    assert found.figure("volume.in_place/FEMORAL/device-days").numerator == 4 + 2
    assert found.figure("crossovers/FEMORAL/courses").numerator == 1
    assert found.figure("crossovers/ALL/FEMORAL-AXILLARY").numerator == 1


def test_first_walk_on_each_clock() -> None:
    """Unwalked for 4 femoral days, walking on day 5: day 5 on the course's clock, day 1 on the axillary
    one, and on the femoral one the change of route came first.
    """
    courses, runs = femoral_then_axillary()
    walks = [{"course": 1, "started": day(5), "level": 8}]
    found = report(dataset(courses, runs, sessions=walks))
    assert found.figure("mobilisation.course/FEMORAL/walk/day-7").estimate == 1
    assert found.figure("mobilisation.course/FEMORAL/walk/day-3").estimate == 0
    assert found.figure("mobilisation.course/AXILLARY/walk/day-7").denominator == 0
    assert found.figure("mobilisation.route/AXILLARY/walk/day-1").estimate == 1
    assert found.figure("mobilisation.route/FEMORAL/walk/day-7").estimate == 0


def test_day_number_is_a_difference_of_calendar_days() -> None:
    """Implanted at 23:00 and walking at 07:00 is day 1, though a third of a day has passed."""
    inserted = day(0) + 11 * 60
    courses = [{"outcome": outcome(Outcome.WEANED), "outcome_at": day(9)}]
    runs = [{"course": 1, "inserted": inserted, "removed": day(9)}]
    walks = [{"course": 1, "started": inserted + 8 * 60, "level": 7}]
    found = report(dataset(courses, runs, sessions=walks))
    assert found.curve("mobilisation.course/ALL/walk").days == (1.0,)


def test_competing_events_are_not_censored() -> None:
    """Of 4 courses 2 die on day 3 and 2 are transplanted on day 10. Censoring deaths would promise a
    transplant to all (1 - Kaplan-Meier = 1); the share transplanted is one half.
    """
    courses, runs = courses_with_outcomes({Outcome.DIED: 2}, days=3)
    more, later = courses_with_outcomes({Outcome.TRANSPLANT: 2}, days=10)
    runs += [{**run, "course": run["course"] + 2} for run in later]
    found = report(dataset(courses + more, runs))
    assert found.figure("bridge/ALL/transplant/day-14").estimate == 0.5
    assert found.figure("bridge/ALL/died/day-14").estimate == 0.5
    assert found.figure("bridge/ALL/supported/day-14").estimate == 0


def test_death_before_the_first_walk_competes() -> None:
    """One walks on day 1, one dies on day 2 without walking: half walked, not all of those who could."""
    courses, runs = courses_with_outcomes({Outcome.TRANSPLANT: 1}, days=10)
    courses.append({"outcome": outcome(Outcome.DIED), "outcome_at": day(2)})
    runs.append({"course": 2, "removed": day(2), "end_reason": end_reason(EndReason.DEATH)})
    found = report(dataset(courses, runs, sessions=[{"course": 1, "started": day(1), "level": 7}]))
    assert found.figure("mobilisation.course/ALL/walk/day-7").estimate == 0.5


def test_composite_counts_a_patient_once() -> None:
    courses, runs = courses_with_outcomes({Outcome.WEANED: 10})
    kinds = (EventKind.BLEEDING, EventKind.VASCULAR, EventKind.ACCESS_SITE)
    events = [{"course": 1, "kind": kind(code), "onset": day(1)} for code in kinds]
    found = report(dataset(courses, runs, events=events))
    assert found.figure("complications/ALL/ANY/patients").numerator == 1
    assert found.figure("complications/ALL/ANY/rate").numerator == 3


def test_reposition_is_neither_complication_nor_exchange() -> None:
    courses, runs = courses_with_outcomes({Outcome.WEANED: 2})
    events = [{"course": 1, "kind": kind(EventKind.REPOSITION), "onset": day(1), "named_run": 1}]
    found = report(dataset(courses, runs, events=events))
    assert found.figure("repositions/ALL/REPOSITION/patients").numerator == 1
    assert found.figure("complications/ALL/ANY/patients").numerator == 0
    assert found.figure("exchanges/ALL/patients").numerator == 0
    assert found.figure("repositions.mean/ALL/day-7").estimate == 0.5


def test_a_blank_level_is_not_level_0() -> None:
    """Three courses: levels written as 0, rows without a level, no rows at all."""
    courses, runs = courses_with_outcomes({Outcome.WEANED: 3})
    days = [{"run": 1, "level": 0}] * 4 + [{"run": 2}] * 4
    found = report(dataset(courses, runs, days=days))
    unrecorded = found.figure("mobilisation.course/ALL/unrecorded")
    assert (unrecorded.numerator, unrecorded.denominator) == (2, 3)


def test_zero_events_show_an_upper_limit() -> None:
    """0/20: Wilson's upper 95 % limit is 16.11 % (scipy.stats.binomtest(0,
    20).proportion_ci(method="wilson")).
    """
    courses, runs = courses_with_outcomes({Outcome.WEANED: 20})
    found = report(dataset(courses, runs))
    none = found.figure("complications/ALL/NEURO/patients")
    assert (none.estimate, none.lower) == (0, 0)
    assert 100 * none.upper == pytest.approx(16.11, abs=0.005)
    rate = found.figure("complications/ALL/NEURO/rate")
    assert rate.upper == pytest.approx(1000 * 3.6889 / rate.denominator, rel=1e-4)  # -ln(0.025) over the days
    early = found.figure("bridge/ALL/died/day-7")
    assert (early.estimate, 100 * early.upper) == (0, pytest.approx(16.11, abs=0.005))


def test_event_up_to_24_h_after_removal_counts_and_a_later_one_stands_apart() -> None:
    courses, runs = courses_with_outcomes({Outcome.WEANED: 2}, days=5)
    bleed = kind(EventKind.BLEEDING)
    events = [
        {"course": 1, "kind": bleed, "onset": day(6)},
        {"course": 2, "kind": bleed, "onset": day(6) + 1},
        {"course": 2, "kind": bleed, "onset": day(9), "named_run": 2},
    ]
    found = report(dataset(courses, runs, events=events))
    assert found.figure("complications/ALL/BLEEDING/rate").numerator == 1
    assert found.figure("complications.late/ALL/BLEEDING").numerator == 2
    late = {line.key: line for line in found.left_out}["events/late"]
    assert (late.count, late.treatment, late.cases.pks) == (2, "counted apart", (2, 3))


def test_event_at_the_minute_of_an_exchange_belongs_to_the_new_device() -> None:
    courses, runs = femoral_then_axillary()
    events = [{"course": 1, "kind": kind(EventKind.LIMB), "onset": day(4) - k} for k in (0, 1)]
    data = dataset(courses, runs, events=events)
    assert data.runs.route[data.events.run].tolist() == [FEMORAL, AXILLARY]


def test_event_on_a_pump_left_in_beside_a_greater_device_belongs_to_the_pump() -> None:
    courses = [{}]
    runs = [
        {"course": 1},
        {
            "course": 1,
            "run_no": 2,
            "inserted": day(2),
            "device": device(DeviceClass.VA_ECMO),
            "route": FEMORAL,
            "relation": relation(Relation.ESCALATION),
        },
    ]
    data = dataset(courses, runs, events=[{"course": 1, "onset": day(3)}])
    assert data.events.run.tolist() == [0]
    assert report(data).figure("bridge/AXILLARY/escalated/day-7").estimate == 1


def test_transfer_in_counts_from_arrival() -> None:
    """Implanted on day 0 elsewhere, here from day 3 to day 10: 7 device-days, none before day 3."""
    courses, runs = courses_with_outcomes({Outcome.TRANSPLANT: 1}, days=10)
    courses[0]["arrived"] = day(3)
    found = report(dataset(courses, runs))
    assert found.figure("volume.in_place/ALL/device-days").numerator == 7
    assert found.curve("dwell.run/ALL").risk_counts[:3] == (0, 1, 0)
    assert found.figure("dwell.run/ALL/median").estimate == 10


def test_transfer_in_whose_pump_left_on_arrival_is_in_no_curve_of_elapsed_time() -> None:
    courses, runs = courses_with_outcomes({Outcome.TRANSPLANT: 1}, days=3)
    courses[0]["arrived"] = day(3)
    found = report(dataset(courses, runs))
    on_support = {c.measure for c in found.curves if not c.measure.startswith("after.")}
    assert on_support == {"mobilisation.course", "mobilisation.route"}  # by whole days
    assert {line.key for line in found.left_out} == {"courses/over-at-arrival"}
    assert found.figure("dwell.run/ALL/median").note == "not estimable: no runs under observation"


def test_removal_that_nobody_wrote_down() -> None:
    """The course has its outcome, the run no removal: censored at the outcome, kept and listed."""
    courses = [{"outcome": outcome(Outcome.DIED), "outcome_at": day(6)}]
    found = report(dataset(courses, [{"course": 1}]))
    line = {line.key: line for line in found.left_out}["runs/no-removal"]
    assert (line.count, line.treatment, line.cases.pks) == (1, "kept, censored", (1,))
    assert found.figure("volume.in_place/ALL/device-days").numerator == 6
    assert found.figure("dwell.run/ALL/median").estimate is None


def test_devices_out_but_no_outcome() -> None:
    found = report(dataset([{}], [{"course": 1, "removed": day(4)}]))
    line = {line.key: line for line in found.left_out}["courses/no-outcome"]
    assert line.treatment == "kept, censored"
    assert found.figure("outcomes/ALL/NONE").numerator == 1
    assert found.figure("bridge/ALL/supported/day-7").estimate == 1


def test_course_begun_with_another_device_is_left_out_and_listed() -> None:
    courses, runs = courses_with_outcomes({Outcome.WEANED: 2})
    runs[0]["device"] = device(DeviceClass.MICROAXIAL)
    found = report(dataset(courses, runs))
    assert found.figure("volume.begun/ALL/analysed").numerator == 1
    assert {line.key: line.count for line in found.left_out}["courses/other-device"] == 1
    assert found.figure("volume.in_place/ALL/runs").numerator == 1


def test_refuted_events_are_left_out_and_listed() -> None:
    courses, runs = courses_with_outcomes({Outcome.WEANED: 2})
    refuted = {"course": 1, "kind": kind(EventKind.NERVE), "onset": day(1), "review": 2}
    found = report(dataset(courses, runs, events=[refuted]))
    assert found.figure("complications/ALL/NERVE/patients").numerator == 0
    assert {line.key: line.count for line in found.left_out}["events/refuted"] == 1


def test_onset_known_to_the_day_is_not_before_the_insertion_of_that_day() -> None:
    midnight = ORIGIN - 12 * 60
    event = {
        "course": 1,
        "named_run": 1,
        "kind": kind(EventKind.ACCESS_SITE),
        "onset": midnight,
        "precision": 2,
    }
    courses, runs = courses_with_outcomes({Outcome.WEANED: 1})
    found = report(dataset(courses, runs, events=[event, {**event, "precision": 0}]))
    assert found.figure("complications/ALL/ACCESS_SITE/rate").numerator == 1
    assert {line.key: line.count for line in found.left_out}["events/no-device"] == 1


def test_quarter_shows_what_was_in_place_although_begun_before() -> None:
    """A run from 20-Mar to 10-Apr: begun in the first quarter, in place in both; its event in April is
    April's.
    """
    courses = [{"outcome": outcome(Outcome.WEANED), "outcome_at": day(99)}]
    runs = [{"course": 1, "inserted": day(78), "removed": day(99)}]
    data = dataset(courses, runs, events=[{"course": 1, "kind": kind(EventKind.RENAL), "onset": day(95)}])
    first, second = report(data, "2026-Q1"), report(data, "2026-Q2")
    key = "complications/ALL/RENAL/patients"
    assert [(r.figure(key).numerator, r.figure(key).denominator) for r in (first, second)] == [(0, 1), (1, 1)]
    assert [r.figure("volume.begun/ALL/courses").numerator for r in (first, second)] == [1, 0]
    days = [r.figure("volume.in_place/ALL/device-days").numerator for r in (first, second)]
    assert sum(days) == pytest.approx(21)
    assert first.figure("dwell.run/ALL/median").estimate == pytest.approx(21)
    assert days[0] == pytest.approx((minute_of(first.header.end) - day(78)) / MINUTES_PER_DAY)
