"""The invented programme is plausible, breaks no rule and is loaded once."""

from __future__ import annotations

from collections import Counter
from datetime import date, datetime, timedelta
from statistics import median
from zoneinfo import ZoneInfo

import pytest
from django.contrib.auth import authenticate, password_validation
from django.core.management import CommandError, call_command
from django.db.models import prefetch_related_objects
from django.utils import timezone

from registry import rules
from registry.choices import EndReason, Outcome, PositionAction, Relation, RouteGroup
from registry.choices_events import WALK_LEVEL, EventKind
from registry.demo.case import Case, is_axillary
from registry.demo.loading import load, records_of
from registry.demo.programme import ACCOUNTS, PASSWORD, Story, clock_change_nights, tell
from registry.models import Answer, Centre, Course, DailyCheck, Patient, PatientIdentity, Run, User

TODAY = date(2024, 11, 20)
BERLIN = ZoneInfo("Europe/Berlin")


@pytest.fixture(scope="module")
def story() -> Story:
    return tell(TODAY, seed=1)


@pytest.fixture
def loaded(db: None) -> Story:
    story = tell(TODAY, seed=1)
    load(story, seed=1, progress=lambda words: None)
    return story


def first_pumps(story: Story) -> list[Run]:
    return [case.pumps[0] for case in story.cases]


# Rules


@pytest.mark.parametrize("seed", [1, 7])
def test_no_record_is_blocked_by_a_rule(db, seed):
    story = tell(TODAY, seed=seed)
    load(story, seed=seed, progress=lambda words: None)
    prefetch_related_objects([case.course for case in story.cases], "runs")
    records = [*every_record(story), *story.candidates, *(failed for _, _, failed in story.unplaced)]
    blocked, asked = [], []
    with timezone.override(BERLIN):
        for record in records:
            for problem in rules.check(record):
                (blocked if problem.blocks else asked).append(problem)
    assert blocked == []
    assert len(asked) < len(records) / 100


def every_record(story: Story) -> list:
    return [record for case in story.cases for record in records_of(case)]


def test_what_was_asked_long_ago_has_an_answer_and_something_is_still_open(loaded):
    expired = Answer.objects.get(code="expired_at_insertion")
    run = Run.objects.get(public_id=expired.record_id)
    assert run.expires_on < run.inserted_at.date()
    assert expired.given_by.username == "coordinator"
    assert not Answer.objects.filter(code="lvef_pct_unusual").exists()
    assert Course.objects.filter(lvef_pct=48).exists()


# The same again


def outline(story: Story) -> list[tuple]:
    return [
        (case.patient.study_no, run.run_no, run.route, run.inserted_at, run.removed_at, len(case.events))
        for case in story.cases
        for run in case.runs
    ]


def test_the_same_day_and_seed_tell_the_same_story(story):
    assert outline(tell(TODAY, seed=1)) == outline(story)
    assert outline(tell(TODAY, seed=2)) != outline(story)


def test_nothing_lies_after_the_last_day(story):
    for case in story.cases:
        moments = [run.inserted_at for run in case.runs] + [
            run.removed_at for run in case.runs if run.removed_at
        ]
        moments += [event.onset_at for event in case.events] + [
            session.started_at for session in case.sessions
        ]
        assert max(moments) <= story.now
        assert all(check.checked_on < TODAY for check in case.checks)


# What the programme looks like


def test_the_size(story):
    pumps = sum(len(case.pumps) for case in story.cases)
    assert 150 <= pumps <= 250
    assert sum(case.outcome is None for case in story.cases) in range(5, 8)


def test_the_axillary_share_grows(story):
    shares = []
    for year in range(3):
        start = story.began_at + timedelta(days=365 * year)
        runs = [run for run in first_pumps(story) if start <= run.inserted_at < start + timedelta(days=365)]
        shares.append(sum(map(is_axillary, runs)) / len(runs))
    assert shares[0] < shares[2]
    assert shares[2] > 0.35


def test_routes_were_chosen_for_different_patients(story):
    stages = {group: Counter() for group in RouteGroup}
    for case in story.cases:
        stages[case.pumps[0].route_group][case.course.shock_stage in "DE"] += 1
    ill = {group: count[True] / max(count.total(), 1) for group, count in stages.items()}
    assert ill[RouteGroup.FEMORAL] > 2 * ill[RouteGroup.AXILLARY]


def test_femoral_runs_are_shorter_and_walking_is_later(story):
    def days(axillary: bool) -> float:
        return median(
            case.days_of(run) for case in story.cases for run in case.pumps if is_axillary(run) is axillary
        )

    def walked(axillary: bool) -> float:
        cases = [case for case in story.cases if is_axillary(case.pumps[0]) is axillary]
        return sum(any(s.level >= WALK_LEVEL for s in case.sessions) for case in cases) / len(cases)

    assert days(True) > 1.5 * days(False)
    assert walked(True) > 2 * walked(False)


def crossovers(story: Story) -> list[tuple[Case, Run]]:
    return [(case, run) for case in story.cases for run in case.pumps if run.relation == Relation.CROSSOVER]


def test_patients_who_changed_to_the_arm_had_to_live_until_then(story):
    to_arm = [(case, run) for case, run in crossovers(story) if is_axillary(run)]
    assert len(to_arm) >= 15
    waits = [(run.inserted_at - case.start) / timedelta(days=1) for case, run in to_arm]
    assert min(waits) > 0.5


@pytest.mark.parametrize(
    "relation", [Relation.SAME_SITE, Relation.NEW_SITE, Relation.CROSSOVER, Relation.ESCALATION]
)
def test_every_way_to_change_a_device_occurs(story, relation):
    assert any(run.relation == relation for case in story.cases for run in case.runs)


def test_escalation_leaves_the_pump_in_or_takes_it_out(story):
    ends = [
        run.replaces.end_reason == EndReason.ESCALATION
        for case in story.cases
        for run in case.runs
        if run.relation == Relation.ESCALATION
    ]
    assert {True, False} == set(ends)


@pytest.mark.parametrize("outcome", [o for o in Outcome if o != Outcome.TRANSFERRED])
def test_every_outcome_occurs(story, outcome):
    assert any(case.outcome and case.outcome.outcome == outcome for case in story.cases)


@pytest.mark.parametrize("kind", [k for k in EventKind if k != EventKind.OTHER])
def test_every_kind_of_event_occurs(story, kind):
    assert any(event.kind == kind for case in story.cases for event in case.events)


def test_the_odd_cases_are_there(story):
    assert any(case.course.transferred_in for case in story.cases)
    assert any(case.course.course_no == 2 for case in story.cases)
    assert any(attempt.followed_by for case in story.cases for attempt in case.attempts)
    assert all(failed.followed_by is None for _, _, failed in story.unplaced)
    assert len(story.unplaced) >= 3
    assert any(case.plans for case in story.cases)
    assert {line.route for line in story.candidates} == {RouteGroup.AXILLARY, RouteGroup.FEMORAL}


def test_pumps_lie_through_both_clock_changes(story):
    nights = clock_change_nights(BERLIN, story.now - timedelta(days=25))
    assert nights == [date(2023, 10, 29), date(2024, 3, 31)]
    for night in nights:
        moment = datetime(night.year, night.month, night.day, 1, tzinfo=ZoneInfo("UTC"))
        assert any(
            run.inserted_at < moment < case.end_of(run) and is_axillary(run)
            for case in story.cases
            for run in case.pumps
        )


def test_there_is_something_to_chase(story):
    yesterday = TODAY - timedelta(days=1)
    waiting = [case for case in story.cases if case.outcome is None]
    without = [
        case for case in waiting if case.pumps and yesterday not in {c.checked_on for c in case.checks}
    ]
    assert without
    moved = (PositionAction.BEDSIDE, PositionAction.FLUOROSCOPY)
    unexplained = [
        check
        for case in waiting
        for check in case.checks
        if check.position_action in moved
        and not any(
            e.kind == EventKind.REPOSITION and case.day(e.onset_at) == check.checked_on for e in case.events
        )
    ]
    assert unexplained


def test_the_best_level_of_a_day_agrees_with_its_sessions(story):
    for case in story.cases:
        best = {}
        for session in case.sessions:
            day = case.day(session.started_at)
            best[day] = max(best.get(day, 0), session.level)
        for check in case.checks:
            if check.mobility_best is not None and check.checked_on in best:
                assert check.mobility_best == best[check.checked_on]


# Loading


def test_history_is_dated_as_if_people_had_written_along_the_way(loaded):
    history = Run.history.rel.related_model.objects
    run = Run.objects.filter(removed_at__isnull=False).order_by("inserted_at").first()
    first, second = history.filter(pgh_obj_id=run.pk).order_by("pgh_created_at")
    assert (first.pgh_label, first.removed_at) == ("insert", None)
    assert run.inserted_at < first.pgh_created_at < run.inserted_at + timedelta(days=3)
    assert run.removed_at < second.pgh_created_at < run.removed_at + timedelta(days=3)
    assert not history.filter(pgh_created_at__gt=loaded.now).exists()


def test_some_events_were_entered_weeks_late(loaded):
    from registry.models import Event

    rows = Event.history.rel.related_model.objects.filter(pgh_label="insert")
    late = [row for row in rows if row.pgh_created_at - row.onset_at > timedelta(days=10)]
    assert 5 < len(late) < len(rows) / 4


def test_the_accounts_can_sign_in(loaded):
    assert len(PASSWORD) >= 15
    for name, role in ACCOUNTS.items():
        user = User.objects.get(username=name)
        password_validation.validate_password(PASSWORD, user)
        assert user.check_password(PASSWORD)
        assert (user.role, user.centre.code) == (role, "HB")
    assert authenticate(username="coordinator", password="wrong") is None


def test_every_patient_has_a_record_number_that_says_nothing(loaded):
    assert PatientIdentity.objects.count() == Patient.objects.count()
    for identity in PatientIdentity.objects.select_related("patient"):
        assert (
            identity.patient.study_no.removeprefix("HB-")
            not in identity.record_number.removeprefix("DEMO-")[:4]
        )


@pytest.fixture
def development(settings):
    settings.EMBEDDED_SERVER_ALLOWED = True


def test_the_command_loads_once(db, development, capsys):
    call_command("load_demo", today=TODAY.isoformat())
    shown = capsys.readouterr().out
    assert PASSWORD in shown
    assert "daily rows" in shown
    rows = DailyCheck.objects.count()
    call_command("load_demo")
    assert "already loaded" in capsys.readouterr().out
    assert DailyCheck.objects.count() == rows


def test_the_command_refuses_where_patients_are(db, development, run):
    with pytest.raises(CommandError, match="already holds patients"):
        call_command("load_demo")
    assert Centre.objects.count() == 1


def test_the_command_refuses_outside_development(db, settings):
    settings.EMBEDDED_SERVER_ALLOWED = False
    with pytest.raises(CommandError, match="DEBUG"):
        call_command("load_demo")


@pytest.mark.parametrize("today", ["soon", "2999-01-01", "1900-01-01", "x" * 5000])
def test_an_impossible_last_day_is_refused(db, development, today):
    with pytest.raises(CommandError):
        call_command("load_demo", today=today)
