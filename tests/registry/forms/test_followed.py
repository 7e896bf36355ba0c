"""Events of every kind, the daily row, mobilisation, the outcome and what comes after."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client

from registry.choices_events import EventKind
from registry.models import CourseOutcome, Event, FollowUp, Run
from registry.models.event import KIND_FIELDS, REQUIRED_BY_KIND
from tests.entries import EVENTS, PAGES, kind_slug
from tests.factories import create_run, days_ago
from tests.pages import errors_of, names_in, send

pytestmark = pytest.mark.django_db


def page_of(kind: EventKind) -> str:
    return f"event {kind_slug(kind)}"


@pytest.mark.parametrize("kind", EventKind)
def test_a_kind_shows_its_own_fields(kind: EventKind, desk: Client, run: Run) -> None:
    page = PAGES[page_of(kind)]
    names = names_in(desk.get(page.url(run)))
    others = {name for fields in KIND_FIELDS.values() for name in fields} - set(KIND_FIELDS[kind])
    assert {f"new-{name}" for name in KIND_FIELDS[kind]} <= names
    assert not {f"new-{name}" for name in others} & names
    assert not {"new-kind", "new-review"} & names


@pytest.mark.parametrize("kind", REQUIRED_BY_KIND)
def test_a_kind_requires_its_first_fields(kind: EventKind, desk: Client, run: Run) -> None:
    page = PAGES[page_of(EventKind(kind))]
    empty: dict[str, Any] = dict.fromkeys(EVENTS[EventKind(kind)])
    errors = errors_of(desk.post(page.url(run), page.filled(desk, run, **empty)))
    assert set(errors) == {f"new-{name}" for name in REQUIRED_BY_KIND[kind]}


@pytest.mark.parametrize("kind", EventKind)
def test_an_event_is_stored_with_its_kind_and_run(kind: EventKind, desk: Client, run: Run) -> None:
    page = PAGES[page_of(kind)]
    send(desk, page.url(run), page.filled(desk, run))
    event = Event.objects.get()
    assert (event.kind, event.run, event.event_no, event.review) == (kind, run, 1, "REPORTED")
    assert {label for label, _ in event.details} != set() or kind == EventKind.OTHER


def test_of_two_runs_the_one_in_place_is_offered(desk: Client, run: Run) -> None:
    Run.objects.update(removed_at=days_ago(6), end_reason="EXCHANGE")
    second = create_run(course=run.course, inserted_at=days_ago(6))
    page = PAGES["event kink"]
    assert page.filled(desk, run)["new-run"] == str(second.pk)
    send(desk, page.url(run), page.filled(desk, run, **{"new-run": str(run.pk)}))
    assert Event.objects.get().run == run


def test_harm_by_the_device_names_its_run(desk: Client, run: Run) -> None:
    page = PAGES["event access-site"]
    errors = errors_of(desk.post(page.url(run), page.filled(desk, run, **{"new-run": ""})))
    assert errors == {"new-run": ["Choose the run this happened on."]}


def test_today_is_offered_for_the_row_of_a_device_in_place(desk: Client, run: Run) -> None:
    assert PAGES["day"].filled(desk, run, **{"new-checked_on": "t"})["new-checked_on"] == "t"
    shown = desk.get(PAGES["day"].url(run)).context["forms"][0].initial["checked_on"]
    assert shown is not None


@pytest.mark.parametrize(("verdict", "action", "fine"), [
    ("HIGH", None, False), ("CANNOT_TELL", None, False), ("ACCEPTABLE", None, True), ("", None, True),
    ("LOW", "BEDSIDE_ADJUST", True), ("ROTATED_FOLDED", "OBSERVE", True),
])  # fmt: skip
def test_a_verdict_says_what_was_done(
    verdict: str, action: str | None, fine: bool, desk: Client, run: Run
) -> None:
    page = PAGES["day"]
    data = page.filled(desk, run, **{"new-film_verdict": verdict, "new-position_action": action})
    assert desk.post(page.url(run), data).status_code == (302 if fine else 422)


@pytest.mark.parametrize(("outcome", "end_reason"), [
    ("TRANSPLANT", "TRANSPLANT"), ("DURABLE_VAD", "DURABLE_VAD"), ("RECOVERED_WEANED", "WEANED"),
    ("DIED_ON_SUPPORT", "DEATH"), ("WITHDRAWN_PALLIATIVE", "WITHDRAWAL"), ("TRANSFERRED", "TRANSFER_OUT"),
])  # fmt: skip
def test_an_outcome_closes_the_run_in_place(outcome: str, end_reason: str, desk: Client, run: Run) -> None:
    page = PAGES["outcome"]
    send(desk, page.url(run), page.filled(desk, run, **{"new-outcome": outcome}))
    run.refresh_from_db()
    stored = CourseOutcome.objects.get()
    assert (run.removed_at, run.end_reason, run.version) == (stored.occurred_at, end_reason, 2)


def test_an_outcome_is_not_recorded_over_a_device_left_in_place(desk: Client, run: Run) -> None:
    page = PAGES["outcome"]
    errors = errors_of(desk.post(page.url(run), page.filled(desk, run, **{"new-close_runs": None})))
    assert list(errors) == ["new-close_runs"]
    early = page.filled(desk, run, **{"new-occurred_at": "t-9 0000"})
    assert "new-occurred_at" in errors_of(desk.post(page.url(run), early))


def test_with_no_device_in_place_nothing_is_closed(desk: Client, run: Run) -> None:
    send(desk, PAGES["removal"].url(run), PAGES["removal"].filled(desk, run))
    page = PAGES["outcome"]
    assert "new-close_runs" not in names_in(desk.get(page.url(run)))
    weaned = {"new-outcome": "RECOVERED_WEANED", "new-occurred_at": "t-3 0900"}
    send(desk, page.url(run), page.filled(desk, run, **weaned))
    run.refresh_from_db()
    assert run.version == 2


def test_a_date_of_death_is_dropped_for_the_living(desk: Client, run: Run) -> None:
    page = PAGES["follow-up"]
    send(desk, page.url(run), page.filled(desk, run, **{"new-died_on": "y"}))
    assert FollowUp.objects.get().died_on is None
