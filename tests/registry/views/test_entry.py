"""The one way of saving, seen from every entry page: it works, it says no, it saves once."""

from __future__ import annotations

import uuid
from collections import Counter
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client

from registry.models import Record, Run, Submission, User
from registry.views.corrections import CORRECTIONS
from tests.entries import PAGES, EntryPage
from tests.pages import again, digest, errors_of, names_in, send, sent_from

pytestmark = pytest.mark.django_db


# One kind of event stands for all where only the way of saving is tested.
@pytest.fixture(params=[name for name in PAGES if not name.startswith("event ") or name == "event kink"])
def entry_page(request: pytest.FixtureRequest) -> EntryPage:
    return PAGES[request.param]


def counts() -> Counter[str]:
    """How many records of each entity there are."""
    return Counter({entity: model._default_manager.count() for entity, (model, _) in CORRECTIONS.items()})


def added(before: Counter[str]) -> dict[str, int]:
    return dict(counts() - before)


@pytest.mark.parametrize("name", PAGES)
def test_it_works_and_posted_again_it_leads_to_the_same_page(name: str, desk: Client, run: Run) -> None:
    entry_page = PAGES[name]
    url, data, before = entry_page.url(run), entry_page.filled(desk, run), counts()
    first = send(desk, url, data)
    assert added(before) == entry_page.adds
    stored = digest()
    assert send(desk, url, data).headers["Location"] == first.headers["Location"]
    assert digest() == stored
    landing = desk.get(first.headers["Location"])
    assert landing.status_code == 200
    assert "recorded" in landing.content.decode()


def test_an_empty_form_is_refused_and_changes_nothing(entry_page: EntryPage, desk: Client, run: Run) -> None:
    before = digest()
    response = desk.post(entry_page.url(run), {})
    assert response.status_code == 422
    assert b'id="error-summary"' in response.content
    assert response.content.count(b"<title>Error: ") == 1
    assert digest() == before


def test_nothing_typed_is_lost(entry_page: EntryPage, desk: Client, run: Run) -> None:
    data = entry_page.filled(desk, run)
    text = next((name for name in data if name.endswith(("_at", "_on"))), "")
    if not text:
        return  # nothing on this page is typed freely
    response = desk.post(entry_page.url(run), {**data, text: "not <b>a</b> time"})
    assert response.status_code == 422
    assert text in errors_of(response)
    assert "not &lt;b&gt;a&lt;/b&gt; time" in response.content.decode()
    shown = sent_from(response)
    lost = {name: value for name, value in data.items() if not same(shown.get(name), value) and name != text}
    assert not lost
    assert shown["submission"] == data["submission"]


def same(shown: Any, typed: Any) -> bool:
    """A page may show what was typed in its own way: a moment in full, one choice as a list of one."""
    if isinstance(typed, list) and len(typed) == 1:
        typed = typed[0]
    return shown == typed or (str(typed)[:2] in ("t-", "y", "t") and bool(shown))


def test_a_form_without_a_key_is_saved_all_the_same(desk: Client, run: Run) -> None:
    page = PAGES["candidate"]
    for key in ("", "no key", "\x00", "９" * 32):
        send(desk, page.url(run), {**page.filled(desk, run), "submission": key})


def test_a_key_of_somebody_else_gives_nothing_away(
    desk: Client, run: Run, physician: User, sign_in: Callable[[User], Client]
) -> None:
    page = PAGES["candidate"]
    data = page.filled(desk, run)
    send(desk, page.url(run), data)
    response = sign_in(physician).post(page.url(run), data)
    assert response.status_code == 422
    assert Submission.objects.count() == 1
    send(sign_in(physician), page.url(run), again(data))


def test_forged_posts_are_refused(entry_page: EntryPage, desk: Client, run: Run) -> None:
    data = entry_page.filled(desk, run)
    forger = Client(enforce_csrf_checks=True)
    forger.cookies = desk.cookies
    before = digest()
    assert forger.post(entry_page.url(run), data).status_code == 403
    assert digest() == before


FORBIDDEN = [
    *("id", "public_id", "version", "centre", "centre_id", "patient", "patient_id", "course", "course_id"),
    *("run_no", "course_no", "event_no", "line_no", "followed_by", "replaces", "replaces_id", "kind"),
]


def test_columns_that_are_no_fields_cannot_be_set(entry_page: EntryPage, desk: Client, run: Run) -> None:
    """Every column of every model is added to the post: none gets through that is not on the page."""
    data = entry_page.filled(desk, run)
    offered = names_in(desk.get(entry_page.url(run)))
    prefixes = {name.partition("-")[0] for name in offered if "-" in name}
    marker = str(uuid.uuid4())
    forged = {f"{prefix}-{name}": marker for prefix in prefixes for name in FORBIDDEN}
    mine = {record.pk for record in Run.objects.all()}
    send(desk, entry_page.url(run), {**{k: v for k, v in forged.items() if k not in offered}, **data})
    for model, _ in CORRECTIONS.values():
        for record in model._default_manager.all():
            assert str(record.public_id) != marker
            assert centre_of(record) == run.course.centre
    assert mine <= {record.pk for record in Run.objects.all()}


def centre_of(record: Record) -> Any:
    """The centre a record belongs to, through its owners."""
    for owner in ("centre", "course", "run"):
        if hasattr(record, f"{owner}_id"):
            found = getattr(record, owner)
            return found if owner == "centre" else centre_of(found)
    raise AssertionError(record)


# Grades proposed while a form is being filled

PROPOSED = [
    ("event bleeding", {"new-haemoglobin_drop_g_dl": "3.5", "new-barc": ""}, "new-barc", "3a"),
    ("event renal", {"new-renal_replacement": "yes", "new-kidney_stage": ""}, "new-kidney_stage", "3"),
    ("implant", {"course-lactate_mmol_l": "6", "course-shock_stage": ""}, "course-shock_stage", "C"),
]


@pytest.mark.parametrize(("name", "typed", "field", "grade"), PROPOSED, ids=[case[0] for case in PROPOSED])
def test_a_grade_is_proposed_as_soon_as_its_fields_are_filled(
    name: str, typed: dict[str, str], field: str, grade: str, desk: Client, run: Run
) -> None:
    centre = run.course.centre
    centre.extended_groups = ["labs", "baseline"]
    centre.save()
    page, before = PAGES[name], digest()
    answer = desk.post(page.url(run), {**typed, "propose": "1"})
    assert answer.status_code == 200
    said = answer.json()[field]
    assert said.startswith("The entered values propose ")
    assert grade in said
    assert desk.post(page.url(run), {"propose": "1"}).json() == {field: ""}
    assert digest() == before


def test_a_page_without_grades_proposes_nothing_and_saves_nothing(
    entry_page: EntryPage, desk: Client, run: Run
) -> None:
    data, before = entry_page.filled(desk, run), digest()
    answer = desk.post(entry_page.url(run), {**data, "propose": "1"}).json()
    assert set(answer) <= {"course-shock_stage"}
    assert digest() == before


def test_only_a_graded_field_has_a_place_for_the_proposal(desk: Client, run: Run) -> None:
    places = {
        name: desk.get(PAGES[name].url(run)).content.count(b"data-proposal")
        for name in ("event bleeding", "event kink", "implant", "day")
    }
    assert places == {"event bleeding": 1, "event kink": 0, "implant": 1, "day": 0}
