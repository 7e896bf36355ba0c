"""The groups that the invented programme switched on hang together, and have the gaps that charts have."""

from __future__ import annotations

from datetime import date, timedelta
from statistics import mean

import pytest

from registry.barcodes import read_label
from registry.choices import AttemptFailure, Closure, Intent, Location, ShockStage
from registry.choices_events import Barc, EventKind
from registry.choices_extended import CheckAngiogram, ListingTier, OnSupport
from registry.demo.case import Case, is_axillary
from registry.demo.labels import gtin
from registry.demo.loading import load, records_of
from registry.demo.programme import Story, tell
from registry.grading import propose_kdigo
from registry.models import Answer, HaemodynamicSet, ListingSpell, Run, Screening
from registry.questions import Scope, ask_all
from registry.rules.extended import LEFT_ARM
from registry.tiers import EXTENDED_GROUPS

TODAY = date(2024, 11, 20)


@pytest.fixture(scope="module")
def story() -> Story:
    return tell(TODAY, seed=1)


@pytest.fixture
def loaded(db: None) -> Story:
    story = tell(TODAY, seed=1)
    load(story, seed=1, progress=lambda words: None)
    return story


def values(story: Story, name: str) -> list:
    return [getattr(case.course, name) for case in story.cases]


# What is there


def test_the_groups_switched_on_are_groups(story):
    assert set(story.centre.extended_groups) <= set(EXTENDED_GROUPS)
    assert len(story.centre.extended_groups) == len(set(story.centre.extended_groups))


def test_every_hard_range_is_kept(story):
    for case in story.cases:
        for record in records_of(case):
            for column in record.described():
                value = getattr(record, column.name)
                if column.hard and value is not None:
                    assert column.hard[0] <= value <= column.hard[1], (record.entity, column.name)


COURSE_COLUMNS = [
    *("diabetes", "peripheral_disease", "prior_stroke", "prior_sternotomy", "smoking"),
    *("creatinine_umol_l", "bilirubin_umol_l", "haemoglobin_g_dl", "platelets_10e9_l", "lactate_mmol_l"),
    "sodium_mmol_l",
]


@pytest.mark.parametrize("name", COURSE_COLUMNS)
def test_a_few_values_of_the_start_are_missing(story, name):
    lost = sum(value is None for value in values(story, name))
    assert 0 < lost < 0.12 * len(story.cases)


RUN_COLUMNS = [
    *("pump_on_at", "puncture_attempts", "sheath_fr", "balloon_length_mm", "procedure_min"),
    *("fluoroscopy_min", "dose_mgy", "contrast_ml"),
]


def test_most_daily_rows_hold_blood_values(story):
    rows = [check.creatinine_umol_l for case in story.cases for check in case.checks]
    assert 0.9 < 1 - rows.count(None) / len(rows) < 0.97


@pytest.mark.parametrize("name", RUN_COLUMNS)
def test_a_few_values_of_the_procedure_are_missing(story, name):
    found = [
        getattr(run, name)
        for case in story.cases
        for run in case.pumps
        if run.location != Location.ELSEWHERE and run.access_method == "PERCUTANEOUS"
    ]
    lost = found.count(None)
    assert 0 < lost < 0.12 * len(found)


# Whether it hangs together


def test_lactate_agrees_with_the_stage_at_the_bedside(story):
    for case in story.cases:
        lactate, stage = case.course.lactate_mmol_l, case.course.shock_stage
        if lactate is not None:
            assert not (stage == ShockStage.B and lactate >= 2)
            assert not (stage != ShockStage.E and lactate >= 8)


def test_creatinine_reaches_the_stage_of_the_injury(story):
    agreed = []
    for case in story.cases:
        rows = {check.checked_on: check.creatinine_umol_l for check in case.checks}
        for event in case.events:
            at_onset = rows.get(case.day(event.onset_at))
            if event.kind == EventKind.RENAL and at_onset and case.course.creatinine_umol_l:
                baseline = float(case.course.creatinine_umol_l)
                found = propose_kdigo(baseline_umol_l=baseline, highest_umol_l=float(at_onset))
                agreed.append(found is not None and found.grade == str(event.kidney_stage))
    assert len(agreed) > 10
    assert sum(agreed) >= 0.9 * len(agreed)  # two injuries of one course may share days


def test_a_transfused_bleed_shows_in_the_units_of_its_day(story):
    seen = 0
    for case in story.cases:
        rows = {check.checked_on: check.red_cell_units for check in case.checks}
        for event in case.events:
            given = rows.get(case.day(event.onset_at))
            if event.barc in (Barc.T3A, Barc.T3B) and given is not None:
                assert given > 0
                seen += 1
    assert seen > 5


def test_both_rows_of_a_day_hold_the_same_blood(story):
    for case in story.cases:
        found = {}
        for check in case.checks:
            values = (check.creatinine_umol_l, check.haemoglobin_g_dl, check.platelets_10e9_l)
            assert found.setdefault(check.checked_on, values) == values


def wedges(story: Story, *, good: bool) -> list[tuple[int, int]]:
    """First and last wedge of courses with both."""
    found = []
    for case in story.cases:
        first = next((s for s in case.sets if s.on_support in (OnSupport.NONE, OnSupport.INOTROPE)), None)
        last = case.sets[-1] if case.sets else None
        ill = case.is_dead or case.escalated
        if first and last and first is not last and ill is not good and first.wedge_mmhg and last.wedge_mmhg:
            found.append((first.wedge_mmhg, last.wedge_mmhg))
    return found


def test_pressures_fall_on_support_and_hardly_in_those_who_did_badly(story):
    well, badly = wedges(story, good=True), wedges(story, good=False)
    assert mean(last - first for first, last in well) < -4
    assert abs(mean(last - first for first, last in badly)) < 3


def test_pressures_were_taken_in_order_and_on_a_pump(story):
    for case in story.cases:
        times = [measured.measured_at for measured in case.sets]
        assert times == sorted(set(times))
        for measured in case.sets:
            lying = any(r.inserted_at < measured.measured_at < case.end_of(r) for r in case.pumps)
            before = measured.measured_at < case.start
            assert lying or before or measured.measured_at < case.end_of(case.pumps[-1])
            assert (measured.on_support in (OnSupport.NONE, OnSupport.INOTROPE)) is before or (
                measured.on_support == ""
            )


def test_a_drug_once_weaned_stays_so(story):
    for case in story.cases:
        on_pump = [s.on_support for s in case.sets if s.on_support in (OnSupport.PUMP, OnSupport.BOTH)]
        assert on_pump == sorted(on_pump)  # BOTH before IABP, as the codes sort too


def test_a_graft_fed_by_the_left_arm_keeps_the_pump_out_of_it(story):
    for case in story.cases:
        if case.screening and case.screening.mammary_graft_left:
            assert not any(run.route in LEFT_ARM for run in case.runs)
    assert any(case.screening and case.screening.mammary_graft_left for case in story.cases)


def test_a_vessel_that_was_too_small_measured_small(story):
    small = [
        case.screening.axillary_lumen_mm
        for case in story.cases
        if case.screening and any(a.failure == AttemptFailure.VESSEL_SMALL for a in case.attempts)
    ]
    assert all(lumen is None or lumen < 6 for lumen in small)


def test_an_abnormal_contrast_check_has_its_injury(story):
    for case in story.cases:
        for run in case.pumps:
            if run.check_angiogram == CheckAngiogram.ABNORMAL:
                assert any(event.run is run and event.kind == EventKind.VASCULAR for event in case.events)


def test_axillary_procedures_take_longer_and_get_shorter(story):
    def minutes(axillary: bool, cases: list[Case]) -> float:
        return mean(
            run.procedure_min
            for case in cases
            for run in case.pumps
            if is_axillary(run) is axillary and run.procedure_min and run.access_method == "PERCUTANEOUS"
        )

    half = len(story.cases) // 2
    ordered = sorted(story.cases, key=lambda case: case.start)
    assert minutes(True, story.cases) > minutes(False, story.cases)
    assert minutes(True, ordered[:half]) > minutes(True, ordered[half:])


def test_compression_only_where_a_hand_pressed(story):
    for case in story.cases:
        for run in case.pumps:
            if run.compression_min is not None:
                assert run.closure in (Closure.MANUAL, Closure.UPSIZE)


# Labels


def test_every_label_is_read_as_what_stands_beside_it(story):
    labelled = [run for case in story.cases for run in case.pumps if run.udi_raw]
    assert len(labelled) > 100
    for run in labelled:
        label = read_label(run.udi_raw)
        assert (label.identifier, label.lot, label.serial) == (run.udi_di, run.lot, run.serial)
        assert label.expires_on == run.expires_on


def test_product_numbers_are_those_kept_for_demonstrations():
    # Weights 3 and 1 in turn from the left: 9 + 3 * 5 + 2 + 4 = 30, which needs no more to a multiple of ten.
    assert gtin("40") == "09520000000400"


# Waiting list


def test_tiers_follow_each_other_and_expire_after_two_weeks(story):
    for case in story.cases:
        days = [spell.began_on for spell in case.spells]
        assert days == sorted(set(days))
        assert all(day < TODAY for day in days)
        for spell in case.spells:
            if spell.tier in (ListingTier.TWO, ListingTier.THREE):
                assert spell.expires_on == spell.began_on + timedelta(days=14)


def test_only_those_bound_for_a_transplant_are_listed(story):
    for case in story.cases:
        if case.spells:
            bound = Intent.TRANSPLANT in (case.course.intent, case.plan)
            assert bound or case.outcome.outcome == "TRANSPLANT"


# In the database


def test_it_is_dated_as_if_people_had_written_along_the_way(loaded):
    for model, moment in ((HaemodynamicSet, "measured_at"), (Screening, None), (ListingSpell, None)):
        rows = list(model.history.rel.related_model.objects.filter(pgh_label="insert"))
        assert len(rows) == model.objects.count() > 100
        assert all(row.pgh_created_at <= loaded.now for row in rows)
        if moment:
            assert all(row.pgh_created_at > getattr(row, moment) for row in rows)
    removals = Run.history.rel.related_model.objects.filter(pgh_label="insert")
    assert not removals.exclude(compression_min=None, catheter_intact=None, duplex_after="").exists()
    assert Run.objects.exclude(compression_min=None).exists()


def test_old_gaps_are_answered_and_recent_ones_are_still_open(loaded):
    open_now = {asked.kind.code: asked.questions for asked in ask_all(Scope(loaded.centre, loaded.now))}
    old = loaded.now - timedelta(days=300)
    begun = {case.course.pk: case.start for case in loaded.cases}
    for code in ("lot_missing", "creatinine_missing", "mobility_missing"):
        assert all(begun[question.course_id] > old for question in open_now.get(code, []))
    assert {"days_missing", "lot_missing", "listing_expiring", "screening_missing"} <= set(open_now)
    assert Answer.objects.filter(code="creatinine_missing").exists()
