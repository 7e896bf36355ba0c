"""Issuing a report: kept word for word, recomputed to the same, and compared with what is known later."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import pytest
from django.db import DatabaseError, transaction
from django.utils import timezone

from outcomes.issuing import (
    fingerprint,
    issue,
    kept_report,
    late_changes,
    reissue,
    restatements,
    settled_moment,
    verify,
)
from outcomes.issuing.issue import same_figures
from outcomes.period import Period
from outcomes.report.serialise import as_json
from registry import actions
from registry.models import Event, IssuedReport, Run, User
from tests.factories import create_case, create_event, days_ago

# Issued moments and later changes need transactions that really end.
pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def issued(run: Run, physician: User) -> IssuedReport:
    """The running quarter of a hospital with two cases, issued."""
    create_case(centre=run.course.centre, inserted_at=days_ago(4))
    return issue_now(run, physician)


def issue_now(run: Run, by: User) -> IssuedReport:
    centre = run.course.centre
    period = Period.between((run.inserted_at - timedelta(days=1)).date(), timezone.localdate(), centre.zone)
    return issue(centre=centre, period=period, statement="I have read it.", as_of=settled_moment(), by=by)


def test_it_is_kept_word_for_word(issued: IssuedReport) -> None:
    assert as_json(kept_report(issued)) == issued.content


def test_it_comes_out_the_same_from_the_history(issued: IssuedReport) -> None:
    assert as_json(reissue(issued)) == issued.content
    assert verify(issued).holds


def test_it_still_does_after_later_work(issued: IssuedReport, run: Run, physician: User) -> None:
    create_event(course=run.course, run=run, onset_at=days_ago(2))
    run.route = "FEMORAL_L"
    actions.correct(record=run, version=run.version, reason="misread the side", by=physician)

    assert verify(issued).holds


def test_it_cannot_be_changed_or_removed(issued: IssuedReport) -> None:
    with pytest.raises(DatabaseError), transaction.atomic():
        IssuedReport.objects.filter(pk=issued.pk).update(statement="other")
    with pytest.raises(DatabaseError), transaction.atomic():
        issued.delete()


def test_a_text_changed_behind_its_back_is_found(issued: IssuedReport) -> None:
    issued.content = issued.content.replace("Patients", "Persons")

    assert not verify(issued).same_text


def test_another_version_of_the_software_that_finds_the_same_is_no_other_figure(
    issued: IssuedReport, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("outcomes.report.build.software_version", lambda: "99")

    assert reissue(issued).header.software_version == "99"
    assert verify(issued).holds


@pytest.mark.parametrize(("factor", "same"), [(1 + 1e-12, True), (1 + 1e-6, False)])
def test_the_last_digits_of_a_number_may_differ(issued: IssuedReport, factor: float, same: bool) -> None:
    report = reissue(issued)
    nearly = tuple(
        replace(figure, estimate=figure.estimate * factor if figure.estimate else figure.estimate)
        for figure in report.figures
    )

    assert same_figures(issued, replace(report, figures=nearly)) is same


def test_a_figure_more_is_another_report(issued: IssuedReport) -> None:
    report = reissue(issued)

    assert not same_figures(issued, replace(report, figures=report.figures[1:]))


def test_nothing_moves_when_nothing_was_entered(issued: IssuedReport) -> None:
    assert restatements(issued) == ()


def test_longer_follow_up_alone_moves_nothing(issued: IssuedReport, run: Run, physician: User) -> None:
    run.removed_at, run.end_reason = timezone.now(), "WEANED"
    actions.correct(record=run, version=run.version, reason="removal", by=physician)

    assert restatements(issued) == ()


def test_a_late_event_is_a_restatement_with_its_case(issued: IssuedReport, run: Run) -> None:
    event = create_event(course=run.course, run=run, onset_at=days_ago(2))
    moved = {each.figure.key: each for each in restatements(issued)}
    patients = next(
        each
        for key, each in moved.items()
        if key.endswith(f"ALL/{event.kind}/patients") or "/patients" in key
    )

    assert ("events", event.pk) in {case for each in moved.values() for case in each.came}
    assert patients.now
    assert patients.was
    assert (patients.now.numerator or 0) == (patients.was.numerator or 0) + 1


def test_who_changed_what_and_why_is_listed(issued: IssuedReport, run: Run, physician: User) -> None:
    run.route = "FEMORAL_L"
    actions.correct(record=run, version=run.version, reason="misread the side", by=physician)
    changes = late_changes(issued, restatements(issued))

    assert [(late.entity, late.change.reason, late.change.by) for late in changes] == [
        ("run", "misread the side", physician.username)
    ]


def test_a_removed_record_is_a_restatement_too(run: Run, physician: User) -> None:
    event = create_event(course=run.course, run=run, onset_at=days_ago(2))
    signed = issue_now(run, physician)
    actions.delete(record=event, version=event.version, reason="entered twice", by=physician)
    moved = restatements(signed)

    assert ("events", event.pk) in {case for each in moved for case in each.went}
    assert [late.change.kind for late in late_changes(signed, moved)] == ["Removed"]


def test_a_moment_is_settled_only_when_earlier_work_has_ended(run: Run) -> None:
    before = timezone.now()
    settled: datetime = settled_moment()

    assert settled <= timezone.now()
    assert settled > before - timedelta(seconds=5)


def test_the_fingerprint_sees_every_change_and_no_order(run: Run) -> None:
    from outcomes.dataset import load_dataset

    centre = run.course.centre
    moment = timezone.now()
    first = fingerprint(load_dataset(centres=[centre], cut_at=moment))
    create_event(course=run.course, run=run, onset_at=days_ago(2))
    second = fingerprint(load_dataset(centres=[centre], cut_at=moment))
    Event.objects.all().delete()

    assert first != second
    assert fingerprint(load_dataset(centres=[centre], cut_at=moment)) == first
