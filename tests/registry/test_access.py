"""Who may open what: every address × every kind of person × every method, in one declared table."""

from __future__ import annotations

import html
import uuid
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import pytest
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from registry.access import EVERYONE, LOGBOOK, READING, REPORTS, SETTINGS, WRITING
from registry.choices import Role
from registry.models import Record, Run, User
from registry.views.corrections import CORRECTIONS
from tests.factories import (
    create_candidate,
    create_case,
    create_check,
    create_event,
    create_failed_attempt,
    create_follow_up,
    create_haemodynamics,
    create_listing,
    create_mobilisation,
    create_outcome,
    create_plan_change,
    create_screening,
    create_user,
)
from tests.pages import digest

pytestmark = pytest.mark.django_db

METHODS = ("GET", "HEAD", "OPTIONS", "POST", "PUT", "PATCH", "DELETE")
NOBODY = str(uuid.UUID(int=7))  # a public identifier that no record bears


@dataclass(frozen=True)
class Address:
    """Who may open an address, by which methods, and what stands in it."""

    roles: frozenset[Role]
    methods: tuple[str, ...] = READING
    of: str = ""  # "course" or "run": whose identifier the address holds
    more: tuple[str, ...] = ()  # what follows the identifier
    query: str = ""

    def url(self, name: str, run: Run) -> str:
        owner = {"course": [run.course.public_id], "run": [run.public_id], "": []}[self.of]
        return reverse(name, args=[*owner, *self.more]) + self.query


ADDRESSES: dict[str, Address] = {
    "home": Address(EVERYONE),
    "quarter": Address(REPORTS),
    "quarter_json": Address(REPORTS),
    "quarter_section": Address(REPORTS, more=("routes",)),
    "quarter_slides": Address(REPORTS, ("GET",)),
    "quarter_packet": Address(REPORTS, ("GET",)),
    "quarter_workbook": Address(REPORTS, ("GET",)),
    "figure_svg": Address(REPORTS, ("GET",), more=("none",), query="?period=2020-Q1"),
    "figure_png": Address(REPORTS, ("GET",), more=("none",), query="?period=2020-Q1"),
    "quarter_table": Address(REPORTS, ("GET",), more=("none",), query="?period=2020-Q1"),
    "figure_cases": Address(LOGBOOK, query="?figure=none"),
    "compare": Address(REPORTS),
    "compare_json": Address(REPORTS),
    "compare_cases": Address(LOGBOOK, query="?figure=none"),
    "compare_section": Address(REPORTS, more=("who",)),
    "issue": Address(frozenset({Role.PHYSICIAN}), WRITING),
    "issued_reports": Address(REPORTS),
    "extract": Address(LOGBOOK, WRITING),
    "workbook_with_runs": Address(LOGBOOK, WRITING),
    "definitions": Address(REPORTS),
    "support": Address(LOGBOOK),
    "round_row": Address(LOGBOOK, ("POST",), of="run"),
    "round_draft": Address(LOGBOOK, ("POST",), of="run"),
    "questions": Address(LOGBOOK),
    "answer_question": Address(LOGBOOK, ("POST",)),
    "completeness": Address(LOGBOOK),
    "new_screening": Address(LOGBOOK, WRITING, of="course"),
    "new_haemodynamics": Address(LOGBOOK, WRITING, of="course"),
    "new_listing": Address(LOGBOOK, WRITING, of="course"),
    "find": Address(LOGBOOK, WRITING),
    "case": Address(LOGBOOK, of="course"),
    "review": Address(LOGBOOK, of="course"),
    "further_device": Address(LOGBOOK, WRITING, of="course"),
    "new_event": Address(LOGBOOK, WRITING, of="course", more=("kink",)),
    "new_mobilisation": Address(LOGBOOK, WRITING, of="course"),
    "new_plan_change": Address(LOGBOOK, WRITING, of="course"),
    "new_outcome": Address(LOGBOOK, WRITING, of="course"),
    "new_follow_up": Address(LOGBOOK, WRITING, of="course"),
    "new_implant": Address(LOGBOOK, WRITING),
    "exchange": Address(LOGBOOK, WRITING, of="run"),
    "remove_device": Address(LOGBOOK, WRITING, of="run"),
    "new_check": Address(LOGBOOK, WRITING, of="run"),
    "candidates": Address(LOGBOOK),
    "new_candidate": Address(LOGBOOK, WRITING),
    "new_failed_attempt": Address(LOGBOOK, WRITING),
    "importing": Address(LOGBOOK, WRITING),
    "tracing": Address(LOGBOOK, WRITING),
    "read_code": Address(LOGBOOK, ("POST",)),
    "settings": Address(SETTINGS, WRITING),
    "confirm_definition": Address(SETTINGS, ("POST",)),
    "new_person": Address(SETTINGS, WRITING),
    "further_reader": Address(SETTINGS, WRITING),
}
# Tested on their own below: an entity or an account stands in them, or anybody may come.
WITH_ENTITY = {"correct": WRITING, "remove": WRITING, "history": READING}
OF_THE_LIBRARY = {
    *("account_login", "account_logout", "account_change_password", "account_reauthenticate"),
    *("mfa_authenticate", "mfa_reauthenticate", "mfa_index", "mfa_activate_totp", "mfa_deactivate_totp"),
    *("mfa_view_recovery_codes", "mfa_generate_recovery_codes"),
}
OF_A_REPORT = {
    "issued_report",
    "restated",
    "issued_slides",
    "issued_packet",
    "issued_workbook",
}  # tests/outcomes/issuing/test_views.py
# Its pages after the first need a sheet on its way in: tests/registry/views/test_importing.py.
OF_AN_IMPORT = {
    "import_sheet",
    "import_columns",
    "import_meanings",
    "import_preview",
    "import_progress",
    "import_abandon",
}
OTHERS = {
    *WITH_ENTITY,
    *OF_THE_LIBRARY,
    *OF_AN_IMPORT,
    *OF_A_REPORT,
    "person",
    "reset_password",
    "take_second_factor",
    "end_further_reader",
}


def addresses(resolver: URLResolver | None = None) -> Iterator[URLPattern]:
    """Every address the site answers."""
    for entry in (resolver or get_resolver()).url_patterns:
        if isinstance(entry, URLResolver):
            yield from addresses(entry)
        else:
            yield entry


def test_every_address_is_declared_here() -> None:
    assert {entry.name for entry in addresses()} == {*ADDRESSES, *OTHERS}


def test_every_view_of_ours_says_who_may_open_it() -> None:
    ours = [entry for entry in addresses() if entry.name not in OF_THE_LIBRARY]
    silent = [entry.name for entry in ours if not hasattr(entry.callback, "allowed_roles")]
    assert not silent


@pytest.fixture
def people(
    sign_in: Callable[[User], Client],
    coordinator: User,
    physician: User,
    committee: User,
    administrator: User,
    stranger: User,
) -> dict[str, Client]:
    """A client for every kind of person, by what the table calls them."""
    return {
        **{user.role: sign_in(user) for user in (coordinator, physician, committee, administrator)},
        "stranger": sign_in(stranger),
        "without a centre": sign_in(create_user(centre=None)),
        "without a role": sign_in(create_user(centre=coordinator.centre, role="")),
        "switched off": sign_in(create_user(centre=coordinator.centre, is_active=False)),
        "anonymous": Client(),
    }


CSP = ("default-src 'none'", "script-src 'self'", "style-src 'self'", "object-src 'none'", "base-uri 'none'")


def assert_headers(response: Any) -> None:
    policy = response.headers["Content-Security-Policy"]
    assert all(rule in policy for rule in CSP)
    assert "unsafe" not in policy
    assert "no-store" in response.headers["Cache-Control"]
    assert response.headers["X-Content-Type-Options"] == "nosniff"
    assert response.headers["X-Frame-Options"] == "DENY"
    assert response.headers["Referrer-Policy"] == "same-origin"
    assert response.headers["Cross-Origin-Opener-Policy"] == "same-origin"


def answer(client: Client, method: str, url: str) -> int:
    response = client.generic(method, url)
    assert_headers(response)
    return response.status_code


def expected(address: Address, person: str, method: str) -> set[int]:
    """The statuses that the table allows; a page that is open may still find nothing to show."""
    if person in ("anonymous", "switched off"):
        return {302}
    role = Role.COORDINATOR if person == "stranger" else person
    if role not in address.roles:
        return {403}
    if method not in address.methods:
        return {405}
    if person == "stranger" and address.of:
        return {404}
    if method == "POST":
        return {422}
    return {404} if address.query else {302} if address == ADDRESSES["home"] else {200}


@pytest.mark.parametrize("name", ADDRESSES)
def test_each_address_answers_as_declared(name: str, people: dict[str, Client], run: Run) -> None:
    address = ADDRESSES[name]
    url = address.url(name, run)
    before = digest()
    wrong = {
        (person, method): status
        for person, client in people.items()
        for method in METHODS
        if (status := answer(client, method, url)) not in expected(address, person, method)
    }
    assert not wrong
    assert digest() == before


@pytest.mark.parametrize("name", ADDRESSES)
def test_the_anonymous_are_sent_to_sign_in(name: str, run: Run) -> None:
    response = Client().get(ADDRESSES[name].url(name, run))
    assert response.headers["Location"].startswith(reverse("account_login"))


def every_record(run: Run) -> dict[str, Record]:
    """One record of every entity, all of one centre."""
    course = run.course
    return {
        "patient": course.patient,
        "course": course,
        "run": run,
        "failed_attempt": create_failed_attempt(patient=course.patient),
        "candidate": create_candidate(centre=course.centre),
        "daily_check": create_check(run=run),
        "mobilisation": create_mobilisation(course=course),
        "event": create_event(course=course),
        "outcome": create_outcome(course=course),
        "plan_change": create_plan_change(course=course),
        "follow_up": create_follow_up(course=course),
        "screening": create_screening(course=course),
        "haemodynamics": create_haemodynamics(course=course),
        "listing_spell": create_listing(course=course),
    }


@pytest.fixture
def record(request: pytest.FixtureRequest, run: Run) -> Record:
    return every_record(run)[request.param]


def test_one_record_of_every_entity_is_tried(run: Run) -> None:
    assert set(every_record(run)) == set(CORRECTIONS)


@pytest.mark.parametrize("name", WITH_ENTITY)
def test_records_answer_as_declared(name: str, run: Run, people: dict[str, Client]) -> None:
    url = reverse(name, args=["run", run.public_id])
    address = Address(LOGBOOK, WITH_ENTITY[name], of="course")
    before = digest()
    wrong = {
        (person, method): status
        for person, client in people.items()
        for method in METHODS
        if (status := answer(client, method, url)) not in expected(address, person, method)
    }
    assert not wrong
    assert digest() == before


@pytest.mark.parametrize("record", CORRECTIONS, indirect=True)
@pytest.mark.parametrize("name", WITH_ENTITY)
def test_every_record_has_its_pages(name: str, record: Record, desk: Client) -> None:
    before = digest()
    response = desk.get(reverse(name, args=[record.entity, record.public_id]))
    assert response.status_code == 200
    assert str(record) in html.unescape(response.content.decode())
    assert digest() == before


FOREIGN = [
    (name, method)
    for name, address in ADDRESSES.items()
    for method in ("GET", "POST")
    if address.of and method in address.methods
]


def same_answer(client: Client, method: str, url: str, missing: str) -> None:
    """A record elsewhere is answered like one that does not exist, to the last byte."""
    known, unknown = (client.generic(method, address) for address in (url, missing))
    assert known.status_code == unknown.status_code == 404
    assert known.content == unknown.content
    assert set(known.headers) == set(unknown.headers)


@pytest.mark.parametrize(("name", "method"), FOREIGN)
def test_a_foreign_case_looks_like_a_missing_one(
    name: str, method: str, run: Run, stranger: User, sign_in: Callable[[User], Client]
) -> None:
    url = ADDRESSES[name].url(name, run)
    owner = run if ADDRESSES[name].of == "run" else run.course
    same_answer(sign_in(stranger), method, url, url.replace(str(owner.public_id), NOBODY))


@pytest.mark.parametrize("record", CORRECTIONS, indirect=True)
@pytest.mark.parametrize("name", WITH_ENTITY)
def test_a_foreign_record_looks_like_a_missing_one(
    name: str, record: Record, stranger: User, sign_in: Callable[[User], Client]
) -> None:
    url = reverse(name, args=[record.entity, record.public_id])
    same_answer(sign_in(stranger), "GET", url, url.replace(str(record.public_id), NOBODY))


def test_a_foreign_account_looks_like_a_missing_one(
    administrator: User, stranger: User, sign_in: Callable[[User], Client]
) -> None:
    client = sign_in(administrator)
    missing = reverse("person", args=[10**30])
    assert client.get(reverse("person", args=[administrator.pk])).status_code == 200
    same_answer(client, "GET", reverse("person", args=[stranger.pk]), missing)
    same_answer(client, "POST", reverse("person", args=[stranger.pk]), missing)
    reset, no_reset = (reverse("reset_password", args=[pk]) for pk in (stranger.pk, 10**30))
    same_answer(client, "POST", reset, no_reset)


def test_only_the_administrator_opens_an_account(people: dict[str, Client], coordinator: User) -> None:
    url = reverse("person", args=[coordinator.pk])
    wrong = {
        (person, method): status
        for person, client in people.items()
        for method in METHODS
        if (status := answer(client, method, url))
        not in expected(Address(SETTINGS, WRITING), person if person != "stranger" else "COMMITTEE", method)
    }
    assert not wrong


def test_lists_and_searches_hold_nothing_of_another_centre(
    stranger: User, desk: Client, sign_in: Callable[[User], Client]
) -> None:
    assert stranger.centre is not None
    elsewhere = create_case(centre=stranger.centre)
    create_failed_attempt(patient=elsewhere.patient)
    create_candidate(centre=stranger.centre, note="only theirs")
    number = elsewhere.patient.study_no
    for url in (reverse("support"), reverse("candidates"), reverse("find")):
        assert number not in desk.get(url).content.decode(), url
        assert number in sign_in(stranger).get(reverse("support")).content.decode()
    assert "Nothing found" in desk.post(reverse("find"), {"q": number}).content.decode()


def test_a_run_of_another_course_cannot_be_named_by_an_event(desk: Client, run: Run, stranger: User) -> None:
    assert stranger.centre is not None
    for other in (create_case(centre=stranger.centre), create_case(centre=run.course.centre)):
        data = {"new-run": other.pk, "new-onset_at": "t-2 1200", "new-failure": "GAS_LEAK"}
        response = desk.post(reverse("new_event", args=[run.course.public_id, "kink"]), data)
        assert response.status_code == 422
        assert "new-run" in {f"new-{name}" for name in response.context["forms"][0].errors}


def test_headers_stand_on_every_error(desk: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*args: object, **kwargs: object) -> None:
        raise RuntimeError("nothing works")

    bad_request = desk.post(reverse("new_implant"), {f"n{i}": "1" for i in range(1100)})
    forged = Client(enforce_csrf_checks=True)
    forged.cookies = desk.cookies
    monkeypatch.setattr("registry.views.candidates.render", fail)
    desk.raise_request_exception = False
    answers = {
        400: bad_request,
        403: forged.post(reverse("new_candidate"), {}),
        404: desk.get("/nowhere/"),
        500: desk.get(reverse("candidates")),
    }
    for status, response in answers.items():
        assert response.status_code == status
        assert_headers(response)
        assert b"<h1" in response.content


@pytest.mark.parametrize(
    "path",
    ["/cases/abc/", "/cases/1/", "/runs/..%2f/exchange/", "/settings/people/abc/", "/records/run/1/correct/",
     f"/records/centre/{NOBODY}/correct/", f"/records/identity/{NOBODY}/history/",
     f"/records/user/{NOBODY}/remove/", f"/cases/{NOBODY}/event/nothing/", "/%00", "/cases/%ff%fe/",
     "/settings/people/" + "9" * 5000 + "/"],
)  # fmt: skip
def test_addresses_that_mean_nothing_are_not_found(path: str, desk: Client) -> None:
    assert desk.get(path).status_code in (403, 404)
