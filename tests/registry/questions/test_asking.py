"""Open questions: each kind once, in order of harm, quieted by its answer, in step with the rules."""

from __future__ import annotations

import inspect
import re
from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from registry import actions, rules
from registry.choices import ExchangeReason, Relation
from registry.models import Centre, Course, DailyCheck, Event, FollowUp, Mobilisation, Record, Run, User
from registry.questions import Scope, answered_by, ask_all, counts_by_course
from registry.questions.asking import KINDS
from registry.questions.doubts import CONTRADICTING, SUSPECTS
from registry.questions.events import work_days_after
from registry.rules import course, device, extended, happening
from tests import factories as make

pytestmark = pytest.mark.django_db
GROUPS = [
    "screening",
    "device",
    "listing",
    "haemodynamics",
    "labs",
    "governance",
    "procedure",
    "pressures",
    "film",
]


@pytest.fixture
def scope(centre: Centre) -> Scope:
    """The whole centre with every group that raises a question."""
    centre.extended_groups = GROUPS
    centre.save()
    return Scope(centre, timezone.now())


def codes(scope: Scope) -> set[str]:
    return {question.code for asked in ask_all(scope) for question in asked.questions}


def stored(record: Record, **values: Any) -> None:
    """Write past the forms, as an import or an older version may have."""
    type(record)._default_manager.filter(pk=record.pk).update(**values)


def ended(run: Run, days: float = 3, **values: Any) -> None:
    stored(run, removed_at=make.days_ago(days), end_reason="WEANED", **values)


def outcome(run: Run, days: float) -> None:
    ended(run, days)
    make.create_outcome(course=run.course, outcome="RECOVERED_WEANED", occurred_at=make.days_ago(days))


def later(run: Run, **values: Any) -> Run:
    ended(run, 4)
    relation = {"relation": Relation.SAME_SITE, "replaces": run, "exchange_reason": ExchangeReason.KINK}
    return make.create_run(course=run.course, inserted_at=make.days_ago(4), **{**relation, **values})


def seen(run: Run, **values: Any) -> DailyCheck:
    day = make.days_ago(5 - run.checks.count()).date()
    return make.create_check(run=run, checked_on=day, mobility_best=3, **values)


def bleed(run: Run, **values: Any) -> Event:
    values = {"bleed_site": "ACCESS", "barc": "2", **values}
    return make.create_event(course=run.course, kind="BLEEDING", run=run, **values)


def dead(run: Run, **values: Any) -> FollowUp:
    return make.create_follow_up(course=run.course, status="DEAD", **values)


BREAKERS: dict[str, Callable[[Run], Any]] = {
    "run_open": lambda run: make.create_outcome(course=run.course),
    "course_open": lambda run: ended(run),
    "died_before_alive": lambda run: dead(run, died_on=make.days_ago(400).date()),
    "died_after_seen": lambda run: dead(
        run, seen_on=make.days_ago(3).date(), died_on=make.days_ago(2).date()
    ),
    "born_after_insertion": lambda run: stored(run.patient, birth_year=run.inserted_at.year + 1),
    "screening_missing": lambda run: None,
    "days_missing": lambda run: None,
    "film_unjudged": lambda run: seen(run, cranial_marker_mm=10),
    "verdict_no_action": lambda run: seen(run, film_verdict="HIGH", position_action="NONE"),
    "moved_without_event": lambda run: seen(run, film_verdict="HIGH", position_action="BEDSIDE_ADJUST"),
    "kink_without_event": lambda run: seen(run, kink_seen="IN_BALLOON"),
    "blood_without_event": lambda run: seen(run, blood_in_tubing=True),
    "alarms_without_event": lambda run: seen(run, alarms_24h=11),
    "limb_without_event": lambda run: seen(run, pulse="ABSENT"),
    "pus_without_event": lambda run: seen(run, site=["PURULENCE"]),
    "angiogram_without_event": lambda run: stored(run, check_angiogram="DONE_ABNORMAL"),
    "closure_without_event": lambda run: ended(run, closure="MANUAL", closure_success=False),
    "exchange_unexplained": lambda run: later(run, exchange_reason=ExchangeReason.OTHER),
    "exchange_without_event": lambda run: later(run),
    "lot_missing": lambda run: None,
    "mobility_missing": lambda run: make.create_check(run=run),
    "listing_expiring": lambda run: make.create_listing(
        course=run.course, expires_on=timezone.localdate() + timedelta(days=3)
    ),
    "event_ungraded": lambda run: stored(bleed(run), barc=""),
    "barc_differs": lambda run: bleed(run, haemoglobin_drop_g_dl=4),
    "onset_vague": lambda run: bleed(run, onset_precision="DAY"),
    "event_unreviewed": lambda run: (
        stored(run, inserted_at=make.days_ago(40)), bleed(run, onset_at=make.days_ago(31))
    ),
    "event_unresolved": lambda run: (bleed(run, resolution="ONGOING"), outcome(run, 1)),
    "device_report": lambda run: make.create_event(course=run.course, serious=True),
    "intent_changed": lambda run: (
        stored(run.course, intent="BTR", version=2)
    ),
    "follow_up_30D": lambda run: (stored(run, inserted_at=make.days_ago(40)), outcome(run, 24)),
    "rankin_missing": lambda run: (
        make.create_event(course=run.course, kind="NEURO", neuro_kind="1a", neuro_timing="ON_SUPPORT"),
        make.create_follow_up(course=run.course, point="90D"),
    ),
    "support_unsaid": lambda run: make.create_haemodynamics(course=run.course, on_support=""),
    "creatinine_missing": lambda run: None,
    "basis_missing": lambda run: None,
    "angiogram_missing": lambda run: None,
    "height_cm_unusual": lambda run: stored(run.course, height_cm=215),
}  # fmt: skip


@pytest.mark.parametrize("code", BREAKERS)
def test_each_question_is_asked(code: str, run: Run, scope: Scope) -> None:
    BREAKERS[code](run)
    assert code in codes(scope)


QUIET = {
    "screening_missing",
    "days_missing",
    "lot_missing",
    "creatinine_missing",
    "basis_missing",
    "angiogram_missing",
}


def test_a_sound_case_raises_only_what_every_bare_case_lacks(run: Run, scope: Scope) -> None:
    assert codes(scope) == QUIET


def test_groups_that_are_off_ask_nothing(run: Run, centre: Centre) -> None:
    assert codes(Scope(centre, timezone.now())) == {"days_missing"}


def test_the_order_is_the_order_of_harm() -> None:
    order = [kind.code for kind in KINDS]
    told = ["run_open", "screening_missing", "days_missing", "verdict_no_action", "exchange_unexplained",
            "lot_missing", "mobility_missing", "listing_expiring", "event_ungraded", "device_report",
            "intent_changed", "follow_up", "support_unsaid", "creatinine_missing",
            "basis_missing"]  # fmt: skip
    assert [code for code in order if code in told] == told


@pytest.mark.parametrize("code", BREAKERS)
def test_an_answer_quiets_its_question_and_no_other(
    code: str, run: Run, scope: Scope, coordinator: User
) -> None:
    BREAKERS[code](run)
    before = codes(scope)
    kind, question = next(
        (asked.kind, question) for asked in ask_all(scope) for question in asked.questions
        if question.code == code
    )  # fmt: skip
    actions.answer_question(
        entity=kind.entity or "course", record_id=question.record_id, code=code, question=question.text,
        reason="chart destroyed", by=coordinator,
    )  # fmt: skip
    assert codes(scope) == before - {code}
    assert answered_by(scope, kind=kind.code, code=code, record_id=str(question.record_id)) is None


def test_every_question_leads_to_a_page(run: Run, scope: Scope, desk: Any) -> None:
    for name in ("run_open", "film_unjudged", "kink_without_event", "support_unsaid", "barc_differs"):
        BREAKERS[name](run)
    for asked in ask_all(scope):
        for question in asked.questions:
            response = desk.get(question.url.partition("#")[0])
            assert response.status_code == 200, question
            if question.field:
                assert f'id="div_id_{question.field}"' in response.content.decode(), question


@pytest.mark.parametrize(("missing", "expected"), [(0, 9), (4, 5)])
def test_days_from_insertion_to_yesterday_are_asked_for(
    missing: int, expected: int, run: Run, scope: Scope
) -> None:
    first = timezone.localtime(run.inserted_at, scope.centre.zone).date()
    for step in range(missing):
        make.create_check(run=run, checked_on=first + timedelta(days=step), mobility_best=1)
    text = next(a for a in ask_all(scope) if a.kind.code == "days_missing").questions[0].text
    assert text.endswith("problem.")
    assert f"and {expected - 3} more" in text
    assert f"{first + timedelta(days=missing):%d-%b-%Y}" in text


def test_a_day_answered_for_is_asked_again_when_another_day_is_missing(
    run: Run, scope: Scope, coordinator: User
) -> None:
    question = next(a for a in ask_all(scope) if a.kind.code == "days_missing").questions[0]
    actions.answer_question(
        entity="course", record_id=question.record_id, code=question.code, question=question.text,
        reason="other ward", by=coordinator,
    )  # fmt: skip
    assert "days_missing" not in codes(scope)
    assert "days_missing" in codes(Scope(scope.centre, scope.now + timedelta(days=1)))


@pytest.mark.parametrize(("days", "asked"), [
    (22, set()), (24, {"follow_up_30D"}), (77, {"follow_up_30D", "follow_up_90D"}),
    (170, {"follow_up_30D", "follow_up_90D", "follow_up_6M"}),
    (352, {"follow_up_30D", "follow_up_90D", "follow_up_6M", "follow_up_1Y"}),
])  # fmt: skip
def test_follow_up_windows(days: int, asked: set[str], run: Run, scope: Scope) -> None:
    stored(run, inserted_at=make.days_ago(days + 9))
    outcome(run, days)
    assert {code for code in codes(scope) if code.startswith("follow_up")} == asked


def test_the_dead_are_not_followed_up(run: Run, scope: Scope) -> None:
    stored(run, inserted_at=make.days_ago(109))
    outcome(run, 100)
    make.create_follow_up(course=run.course, point="30D", status="DEAD")
    assert not {code for code in codes(scope) if code.startswith("follow_up")}


@pytest.mark.parametrize(("day", "due"), [
    (date(2026, 3, 2), date(2026, 3, 16)),  # a Monday
    (date(2026, 3, 6), date(2026, 3, 20)),  # a Friday
    (date(2026, 3, 7), date(2026, 3, 20)),  # a Saturday counts from the Friday before
])  # fmt: skip
def test_ten_work_days(day: date, due: date) -> None:
    """21 CFR 803.10 counts work days; holidays are left to the reader (calendar arithmetic)."""
    assert work_days_after(day, 10) == due


def test_reminders_can_be_switched_off(run: Run, scope: Scope) -> None:
    BREAKERS["device_report"](run)
    BREAKERS["listing_expiring"](run)
    scope.centre.listing_reminder_days = scope.centre.report_reminder_days = 0
    assert not {"device_report", "listing_expiring"} & codes(scope)


def test_a_reminder_is_never_a_verdict(run: Run, scope: Scope) -> None:
    BREAKERS["listing_expiring"](run)
    text = next(a for a in ask_all(scope) if a.kind.code == "listing_expiring").questions[0].text
    assert "reminder only" in text
    assert "eligib" not in text


def test_other_centres_and_other_courses_are_left_out(run: Run, scope: Scope) -> None:
    other = make.create_case(centre=scope.centre)
    make.create_case(centre=make.create_centre(code="ZZ"))
    alone = Scope(scope.centre, scope.now, (run.course.pk,))
    assert set(counts_by_course(scope)) == {run.course.pk, other.course.pk}
    assert set(counts_by_course(alone)) == {run.course.pk}


def test_the_number_of_queries_does_not_grow(run: Run, scope: Scope) -> None:
    def count() -> int:
        with CaptureQueriesContext(connection) as queries:
            ask_all(scope)
        return len(queries)

    def add() -> None:
        new = make.create_case(centre=scope.centre, location="BEDSIDE", inserted_at=make.days_ago(9))
        stored(new.course, height_cm=215)
        seen(new, kink_seen="IN_BALLOON", temperature_c=40)
        bleed(new)
        make.create_mobilisation(course=new.course, level=8)
        make.create_haemodynamics(course=new.course, systolic_mmhg=90, mean_mmhg=None)
        dead(new, died_on=make.days_ago(400).date())
        stored(new.patient, birth_year=new.inserted_at.year + 1)

    add()
    few = count()
    for _ in range(4):
        add()
    assert count() == few


# The rules in step with the SQL


SOFT: dict[type[Record], list[dict[str, Any]]] = {
    Run: [
        {"location": "BEDSIDE"}, {"guidance": ["LANDMARK"]}, {"guidance": []}, {"catheter_fr": 9},
        {"balloon_volume_ml": "25"}, {"expires_on": date(2020, 1, 1)}, {"puncture_pocket": "MEDIAL"},
        {"puncture_outside_cage": False}, {"securement": ["SUTURE_HUB"]}, {"needle_angle_deg": 20},
    ],
    Course: [{"shock_stage": "A"}, {"weight_kg": 30}, {"lvef_pct": 80}],
    DailyCheck: [{"temperature_c": 40}, {"cranial_marker_mm": 90}, {"red_cell_units": 4}],
    Event: [{"failure": "MEMBRANE_RUPTURE", "device_kept": False}],
    Mobilisation: [{"distance_m": 900}, {"level": 9}],
}  # fmt: skip


def a_record(model: type[Record], run: Run) -> Record:
    if model is Run:
        return run
    if model is Course:
        return run.course
    builders: dict[type[Record], Callable[[], Record]] = {
        DailyCheck: lambda: make.create_check(run=run), Event: lambda: make.create_event(course=run.course),
        Mobilisation: lambda: make.create_mobilisation(course=run.course),
    }  # fmt: skip
    return builders[model]()


@pytest.mark.parametrize("route", ["AXILLARY_L", "FEMORAL_R"])
@pytest.mark.parametrize(
    ("model", "values"), [(model, values) for model, listed in SOFT.items() for values in listed]
)
def test_the_database_picks_whatever_a_rule_asks_about(
    model: type[Record], values: dict[str, Any], route: str, run: Run, scope: Scope
) -> None:
    stored(run, route=route)
    record = a_record(model, run)
    stored(record, **values)
    fresh = model._default_manager.get(pk=record.pk)
    suspects = next(one for one in SUSPECTS if one.model is model)
    picked = list(suspects.rows(scope))
    asked = [problem for problem in rules.check(fresh) if not problem.blocks]
    assert not asked or fresh in picked
    stored_asked = rules.check_stored(next(iter(picked))) if picked else []
    assert {p.code for p in stored_asked} >= {p.code for p in asked}


def test_every_soft_rule_is_looked_for() -> None:
    """Rules that only ask, by their codes in the sources, are conditions of a suspect."""
    source = "".join(map(inspect.getsource, (rules, course, device, extended, happening)))
    known = set(re.findall(r'\bask\(\s*"(\w+)"', source))
    looked_for = {code for suspects in SUSPECTS for code in suspects.conditions}
    only_on_entry = {
        "patient_is_child", "outcome_before_removal", "attempt_same_route",
    }  # fmt: skip
    assert known - looked_for - only_on_entry == set()


def test_every_contradiction_is_looked_for() -> None:
    looked_for = {code for suspects in CONTRADICTING for code in suspects.conditions}
    assert looked_for == rules.CONTRADICTIONS


DEATHS: dict[str, Callable[[Run], Any]] = {
    "while on support": lambda run: None,
    "before the outcome": lambda run: make.create_outcome(course=run.course, occurred_at=make.days_ago(2)),
    "before leaving alive": lambda run: make.create_outcome(
        course=run.course, occurred_at=make.days_ago(5), discharged_on=make.days_ago(2).date(),
        discharge_status="ALIVE",
    ),
    "on leaving dead": lambda run: make.create_outcome(
        course=run.course, occurred_at=make.days_ago(5), discharged_on=make.days_ago(2).date(),
        discharge_status="DEAD",
    ),
    "seen alive later": lambda run: make.create_follow_up(
        course=run.course, point="90D", seen_on=make.days_ago(2).date()
    ),
}  # fmt: skip


@pytest.mark.parametrize("when", DEATHS)
def test_the_database_picks_whatever_death_contradicts(when: str, run: Run, scope: Scope) -> None:
    DEATHS[when](run)
    visit = dead(run, seen_on=make.days_ago(1).date(), died_on=make.days_ago(4).date())
    refused = {problem.code for problem in rules.check(FollowUp.objects.get(pk=visit.pk)) if problem.blocks}
    picked = list(CONTRADICTING[0].rows(scope))
    assert (visit in picked) is bool(refused)
    fits = when in ("while on support", "on leaving dead")
    assert refused == (set() if fits else {"died_before_alive"})


def test_what_contradicts_leads_to_its_field(run: Run, scope: Scope) -> None:
    stored(run.patient, birth_year=run.inserted_at.year + 1)
    dead(run, died_on=make.days_ago(400).date())
    (asked,) = ask_all(scope, only="contradiction")
    assert [question.field for question in asked.questions] == ["record-died_on", "record-birth_year"]
    assert {question.course_id for question in asked.questions} == {run.course.pk}
