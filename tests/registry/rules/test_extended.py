"""Rules of the extended groups, each broken once, and the grades that differ from what the values propose."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from registry import actions, rules
from registry.models import Course, Event, HaemodynamicSet, ListingSpell, Record, Run, Screening
from registry.rules import extended
from tests import factories as make

pytestmark = pytest.mark.django_db
Build = Callable[[Run], Record]


def changed(run: Run, **values: Any) -> Run:
    for name, value in values.items():
        setattr(run, name, value)
    return run


def with_pocket(run: Run) -> Run:
    run.course.pacing_device = "LEFT"
    run.course.centre.extended_groups = ["procedure"]
    return run


def screened(run: Run, **values: Any) -> Screening:
    return Screening(course=run.course, **values)


def measured(run: Run, **values: Any) -> HaemodynamicSet:
    return HaemodynamicSet(course=run.course, measured_at=make.days_ago(3), **values)


def grafted(run: Run) -> Run:
    make.create_screening(course=run.course, mammary_graft_left=True)
    return Run.objects.get(pk=run.pk)


def mixed_formulae(run: Run) -> HaemodynamicSet:
    make.create_haemodynamics(course=run.course)
    return measured(run, surface_formula="DUBOIS")


CASES: list[tuple[str, bool, Build]] = [
    ("pocket_relation_missing", False, with_pocket),
    ("puncture_medial", False, lambda run: changed(run, puncture_pocket="MEDIAL")),
    ("puncture_inside_cage", False, lambda run: changed(run, puncture_outside_cage=False)),
    ("fixation_incomplete", False, lambda run: changed(run, securement=["SUTURE_SHEATH", "SUTURE_HUB"])),
    ("fixation_incomplete", False, lambda run: changed(run, securement=["SUTURE_HUB", "LOOP_SLACK"])),
    ("graft_on_this_side", False, grafted),
    ("graft_on_this_side", False, lambda run: screened(run, mammary_graft_left=True)),
    ("aorta_diseased", False, lambda run: screened(run, arch="DISSECTION")),
    ("imaging_contradicts", True, lambda run: screened(run, imaging=["CT_ANGIO", "NONE"])),
    ("imaging_none", False, lambda run: screened(run, imaging=["NONE"])),
    ("consent_undocumented", False, lambda run: screened(run, procedure_consent="N")),
    ("surface_formula_mixed", True, mixed_formulae),
    ("mean_not_measured", False,
     lambda run: measured(run, on_support="IABP", systolic_mmhg=90, diastolic_mmhg=50)),
    ("output_method_missing", False, lambda run: measured(run, output_l_min=4)),
    ("diastolic_mmhg_above_systolic_mmhg", True,
     lambda run: measured(run, systolic_mmhg=80, diastolic_mmhg=80)),
    ("listing_ends_before_start", True,
     lambda run: ListingSpell(course=run.course, tier="2", began_on=make.days_ago(1).date(),
                              expires_on=make.days_ago(2).date())),
]  # fmt: skip


@pytest.mark.parametrize(("code", "blocks", "build"), CASES)
def test_each_rule_sees_what_breaks_it(code: str, blocks: bool, build: Build, run: Run) -> None:
    found = {problem.code: problem.blocks for problem in rules.check(build(run))}
    assert found.get(code) is blocks


def test_every_rule_is_broken_above() -> None:
    source = Path(extended.__file__).read_text(encoding="utf-8")
    stated = set(re.findall(r'(?:refuse|ask)\(\s*"(\w+)"', source))
    assert stated == {code for code, _, _ in CASES if "_above_" not in code}


SOUND: list[Build] = [
    lambda run: changed(run, securement=["SUTURE_SHEATH", "SUTURE_HUB", "LOOP_SLACK"]),
    lambda run: changed(run, route="FEMORAL_L", securement=["ADHESIVE_DEVICE"]),
    lambda run: changed(with_pocket(run), puncture_pocket="LATERAL"),
    lambda run: changed(with_pocket(run), route="AXILLARY_R"),
    lambda run: screened(run, imaging=["CT_ANGIO"], procedure_consent="Y"),
    lambda run: measured(run, on_support="NONE", systolic_mmhg=90, diastolic_mmhg=50),
]


@pytest.mark.parametrize("build", SOUND)
def test_a_sound_record_is_let_through(build: Build, run: Run) -> None:
    assert rules.check(build(run)) == []


def bleed(run: Run, **values: Any) -> Event:
    event = Event(course=run.course, run=run, kind="BLEEDING", onset_at=make.days_ago(2), bleed_site="ACCESS")
    for name, value in values.items():
        setattr(event, name, value)
    return event


def test_another_grade_than_the_proposed_one_asks_and_both_are_kept(run: Run) -> None:
    event = bleed(run, barc="2", haemoglobin_drop_g_dl=4)
    (problem,) = rules.check(event)
    assert (problem.code, problem.blocks) == ("barc_differs", False)
    assert "because haemoglobin fell by 4.0 g/dL" in problem.text
    saved = make.create_event(
        course=run.course, kind="BLEEDING", run=run, bleed_site="ACCESS", barc="2", haemoglobin_drop_g_dl=4
    )
    assert (saved.barc, saved.proposed_barc) == ("2", "3a")
    assert saved.beside_grade.startswith("the entered values proposed 3a; major by ISTH")


def test_the_proposed_grade_asks_nothing(run: Run) -> None:
    assert rules.check(bleed(run, barc="3a", haemoglobin_drop_g_dl=4)) == []


def test_the_limb_is_graded_from_the_row_of_the_day(run: Run) -> None:
    make.create_check(run=run, checked_on=make.days_ago(2).date(), limb_neuro="MOTOR", pulse="ABSENT")
    saved = make.create_event(
        course=run.course, kind="LIMB", run=run, limb="ARM_L", rutherford="I", onset_at=make.days_ago(2)
    )
    assert saved.proposed_rutherford == "IIb"


def test_the_kidney_is_graded_from_the_daily_creatinine(run: Run) -> None:
    Course.objects.filter(pk=run.course.pk).update(creatinine_umol_l=100)
    for days, value in ((3, 150), (2, 320)):
        make.create_check(run=run, checked_on=make.days_ago(days).date(), creatinine_umol_l=value)
    run.course.refresh_from_db()
    saved = make.create_event(course=run.course, kind="RENAL", kidney_stage=3, onset_at=make.days_ago(3))
    assert saved.proposed_kidney_stage == 3


@pytest.mark.parametrize(("chosen", "asks"), [("B", True), ("C", False), ("D", False), ("E", False)])
def test_a_shock_stage_milder_than_the_least_one_asks(chosen: str, asks: bool, run: Run) -> None:
    course = run.course
    course.shock_stage, course.lactate_mmol_l = chosen, 3
    assert ("shock_stage_differs" in {problem.code for problem in rules.check(course)}) is asks


def test_a_corrected_record_carries_a_new_proposal(run: Run, coordinator: Any) -> None:
    saved = make.create_event(
        course=run.course, kind="BLEEDING", run=run, bleed_site="ACCESS", barc="2", actions=["DRUG"]
    )
    saved.haemoglobin_drop_g_dl = 5
    actions.correct(record=saved, version=1, reason="read again", by=coordinator)
    saved.refresh_from_db()
    assert saved.proposed_barc == "3b"
