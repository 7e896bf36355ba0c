"""What the dataset reads from the logbook's tables, live and as of a moment."""

from __future__ import annotations

from dataclasses import fields
from datetime import date, datetime, timedelta
from typing import Any

import numpy as np
import pytest
from django.db import connection
from django.utils import timezone

from outcomes.dataset import Dataset, codes, load_dataset, public_ids
from outcomes.dataset.clock import ALWAYS, EPOCH, NEVER, minute_of, moment_of
from outcomes.dataset.copying import Column, read_columns
from registry import models
from registry.choices import ExchangeReason, Intent, Outcome, Relation, RouteGroup
from registry.choices_events import EventKind
from tests.outcomes.builder import Logbook, at

TABLES = ("courses", "runs", "events", "sessions", "bedside", "films", "attempts", "candidates")


def same(one: Dataset, other: Dataset) -> bool:
    """Whether two datasets hold the same rows, whatever their data cuts."""
    tables = [(getattr(one, name), getattr(other, name)) for name in TABLES]
    cut_dependent = {"ended"}
    return all(
        np.array_equal(getattr(a, f.name), getattr(b, f.name))
        for a, b in tables
        for f in fields(a)
        if f.name not in cut_dependent
    )


def filled() -> tuple[Logbook, models.Course]:
    """A logbook with a row in every table."""
    book = Logbook()
    course = book.course(transferred_in=True, arrived_at="2026-01-03 08:00")
    femoral = book.run(course, "2026-01-02 09:30", "2026-01-05 10:00", "FEMORAL_R")
    second = book.run(
        course,
        "2026-01-05 10:00",
        "2026-01-20 07:15",
        "SUBCLAVIAN_L",
        relation="ROUTE_CROSSOVER",
        exchange_reason="PLANNED_ROUTE_CHANGE",
        balloon_volume_ml="50",
    )
    book.outcome(course, "2026-01-20 07:15")
    book.event(course, "2026-01-06 12:00", "REPOSITION", run=second)
    book.event(course, "2026-01-21 06:00")
    book.session(course, "2026-01-06 15:00", 7)
    book.check(femoral, "2026-01-04", mobility_best=0, film_verdict="HIGH", position_action="OBSERVE")
    book.check(second, "2026-01-06", mobility_best=4)
    book.check(second, "2026-01-07")
    book.attempt(course.patient, "2026-01-02 08:00", followed_by=femoral)
    book.candidate("2026-01-09")
    return book, course


@pytest.mark.django_db
def test_reads_every_column_as_it_was_entered() -> None:
    book, course = filled()
    data = load_dataset(centres=[book.centre])

    courses, runs = data.courses, data.runs
    assert courses.pk.tolist() == [course.pk]
    assert codes.INTENTS[courses.intent[0]] == Intent.TRANSPLANT
    assert codes.OUTCOMES[courses.outcome[0]] == Outcome.TRANSPLANT
    assert moment_of(courses.outcome_at[0]) == at("2026-01-20 07:15")
    assert moment_of(courses.arrived[0]) == at("2026-01-03 08:00")
    assert [codes.ROUTES[r] for r in runs.route] == [RouteGroup.FEMORAL, RouteGroup.AXILLARY]
    assert [moment_of(m) for m in runs.inserted] == [at("2026-01-02 09:30"), at("2026-01-05 10:00")]
    assert runs.replaces.tolist() == [-1, 0]
    assert codes.RELATIONS[runs.relation[1]] == Relation.CROSSOVER
    assert codes.EXCHANGE_REASONS[runs.exchange_reason[1]] == ExchangeReason.PLANNED_ROUTE
    assert runs.balloon_ml.tolist() == [40, 50]
    assert runs.observed_from[0] == courses.arrived[0]


@pytest.mark.django_db
def test_reads_what_hangs_on_courses_and_runs() -> None:
    book, _ = filled()
    data = load_dataset(centres=[book.centre])

    assert [codes.KINDS[k] for k in data.events.kind] == [EventKind.REPOSITION, EventKind.BLEEDING]
    assert data.events.run.tolist() == [1, 1]  # the second one names none, within 24 h of the removal
    assert data.sessions.level.tolist() == [7]
    assert data.bedside.levels_recorded.tolist() == [1, 1]
    assert data.bedside.rows.tolist() == [1, 2]
    assert data.bedside.out_of_bed_on.tolist() == [NEVER, (date(2026, 1, 6) - EPOCH.date()).days]
    assert data.films.run.tolist() == [0]
    assert data.attempts.run.tolist() == [0]
    assert data.candidates.considered_on.tolist() == [(date(2026, 1, 9) - EPOCH.date()).days]


@pytest.mark.django_db
def test_absent_moments_are_never_or_always() -> None:
    book = Logbook()
    book.run(book.course(), "2026-02-01 10:00")
    data = load_dataset(centres=[book.centre])
    assert (data.runs.removed[0], data.courses.outcome_at[0], data.courses.arrived[0]) == (
        NEVER,
        NEVER,
        ALWAYS,
    )
    assert data.runs.ended[0] == data.cut
    assert not data.runs.unclosed[0]


@pytest.mark.django_db
def test_reads_only_the_centres_asked_for() -> None:
    one, other = filled()[0], filled()[0]
    assert load_dataset(centres=[one.centre]).runs.size == 2
    assert load_dataset(centres=[one.centre, other.centre]).runs.size == 4
    assert load_dataset(centres=[]).runs.size == 0


@pytest.mark.django_db
def test_several_time_zones_count_days_in_utc() -> None:
    berlin, lisbon = Logbook(), Logbook("Europe/Lisbon")
    assert load_dataset(centres=[berlin.centre, lisbon.centre]).zone.key == "UTC"
    assert load_dataset(centres=[lisbon.centre]).zone.key == "Europe/Lisbon"


@pytest.mark.django_db
def test_an_empty_logbook_gives_a_report_without_estimates() -> None:
    found = Logbook().report()
    assert found.curves == ()
    assert all(figure.estimate is None for figure in found.figures)
    assert all(figure.note for figure in found.figures if figure.unit == "proportion")


@pytest.mark.django_db
def test_public_ids_are_looked_up_by_kind() -> None:
    book, course = filled()
    data = load_dataset(centres=[book.centre])
    assert public_ids("courses", data.courses.pk) == {course.pk: course.public_id}
    assert public_ids("events", np.array([0])) == {}


@pytest.mark.django_db
def test_a_null_in_a_column_is_refused_by_name() -> None:
    with pytest.raises(ValueError, match="column hole holds a null"):
        read_columns({"hole": Column("NULL", "id")}, "generate_series(1, 3)", {})


@pytest.mark.django_db
def test_reads_without_a_query_per_row(django_assert_max_num_queries: Any) -> None:
    book, _ = filled()
    with django_assert_max_num_queries(3):  # the snapshot's two, and whether there are other centres; no COPY
        load_dataset(centres=[book.centre])


def now_in_database() -> datetime:
    """A moment after all that was written so far, by the clock that stamps the history."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT clock_timestamp()")
        moment: datetime = cursor.fetchone()[0]
    return moment


@pytest.mark.django_db(transaction=True)
def test_as_of_now_equals_live() -> None:
    book, _ = filled()
    moment = now_in_database()
    assert same(load_dataset(centres=[book.centre], as_of=moment), load_dataset(centres=[book.centre]))


@pytest.mark.django_db(transaction=True)
def test_as_of_does_not_see_what_came_later() -> None:
    """After a correction, a deletion and a new entry, the earlier moment still gives what was known then."""
    book, course = filled()
    before = load_dataset(centres=[book.centre])
    moment = now_in_database()

    course.runs.filter(run_no=2).update(route="FEMORAL_L", balloon_volume_ml="34")
    course.events.filter(kind="BLEEDING").delete()
    course.outcome.delete()
    book.run(book.course(), "2026-02-01 10:00")

    live = load_dataset(centres=[book.centre])
    assert (live.runs.size, live.events.size, live.courses.outcome[0]) == (3, 1, codes.UNRECORDED)
    assert live.runs.balloon_ml.tolist() == [40, 34, 40]
    then = load_dataset(centres=[book.centre], as_of=moment)
    assert same(then, before)
    assert then.cut_at == moment
    assert same(load_dataset(centres=[book.centre], as_of=now_in_database()), live)


@pytest.mark.django_db(transaction=True)
def test_as_of_before_anything_was_written_is_empty() -> None:
    book, _ = filled()
    data = load_dataset(centres=[book.centre], as_of=timezone.now() - timedelta(days=3650))
    assert [data.courses.size, data.runs.size, data.events.size] == [0, 0, 0]


@pytest.mark.django_db(transaction=True)
def test_nothing_after_the_cut_has_happened() -> None:
    """Entered beforehand, or found in a later correction: a removal after the cut leaves the run in place."""
    book = Logbook()
    course = book.course()
    soon, later = timezone.now() + timedelta(hours=1), timezone.now() + timedelta(hours=2)
    book.run(course, "2026-02-01 10:00")
    course.runs.update(removed_at=soon, end_reason="WEANED")
    models.CourseOutcome.objects.create(course=course, outcome="RECOVERED_WEANED", occurred_at=later)
    data = load_dataset(centres=[book.centre])
    assert (data.runs.removed[0], data.courses.outcome[0]) == (NEVER, codes.UNRECORDED)
    assert data.runs.ended[0] == minute_of(data.cut_at)
