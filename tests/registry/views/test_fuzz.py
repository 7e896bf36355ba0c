"""Anything at all in any field and any query: the answer is a page, never an error of the server.

More examples: DWELLBOOK_FUZZ=2000 pytest tests/registry/views/test_fuzz.py
"""

from __future__ import annotations

import os
from collections.abc import Callable
from typing import Any
from urllib.parse import quote_plus

import pytest
from django.db import transaction
from django.test import Client
from django.urls import reverse
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from registry.models import Run, User
from registry.tiers import EXTENDED_GROUPS
from registry.views.corrections import CORRECTIONS
from tests.entries import PAGES
from tests.pages import names_in, sent_from
from tests.registry.test_access import every_record

pytestmark = pytest.mark.django_db

EXAMPLES = int(os.environ.get("DWELLBOOK_FUZZ", "5"))
NASTY = [
    "", " ", "\x00", "a\x00b", "\ud800", "\udfff\ud800", "\u202e", "\ufeff", "\u2028", "\r\n", "’",
    "😀" * 40, "é" * 21, "0", "-0", "-1", "1e999999", "1E-999999", "0E9999999", "NaN", "sNaN",
    "Infinity", "-inf", "1_000", "٣", "½",
    "9" * 19, "9" * 400, "9" * 5000, "0." + "0" * 400 + "1", "1,5", "1.000,5", "0x10", "2147483648",
    "9223372036854775808", "-9223372036854775809",
    "n", "t", "y", "t 1430", "t-999 2359", "t 2400", "9999-12-31T23:59:59-12:00",
    "31 Dec 9999 2359", "01-Jan-0001 00:00",
    "29 Feb 2025 1200", "30 Mar 2025 0230", "26 Oct 2025 0230", "4 4 99999 0800", "2025-03-04T14:30+14:00",
    "None", "null", "True", "on", "yes", "[]", "{}", "__all__", "../../etc/passwd",
    "' OR 1=1 --", "<script>", "{{ 7 }}",
    "{% now %}", "%s%n", "${7}", "=1+1", "x" * 100_000, "IABP", "KINK", "BTT", "1:1", "1900-01-01",
]  # fmt: skip
text = st.one_of(st.sampled_from(NASTY), st.text(max_size=30), st.integers().map(str), st.dates().map(str))
quick = settings(
    max_examples=EXAMPLES,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)


def encoded(data: dict[str, Any]) -> bytes:
    """A form body as bytes, so that lone surrogates get through as a hostile client would send them."""
    pairs = [
        (name, value)
        for name, values in data.items()
        for value in (values if isinstance(values, list) else [values])
    ]
    return "&".join(
        f"{quote_plus(name)}={quote_plus(value.encode('utf-8', 'surrogatepass'))}" for name, value in pairs
    ).encode()


def post(client: Client, url: str, data: dict[str, Any]) -> Any:
    """Post and take the saving back, so that every example meets the same records."""
    with transaction.atomic():
        response = client.generic("POST", url, encoded(data), "application/x-www-form-urlencoded")
        assert response.status_code in (200, 302, 422), response.status_code
        if response.status_code == 302:
            assert client.get(response.headers["Location"]).status_code in (200, 302)
        transaction.set_rollback(True)
    return response


def attack(client: Client, url: str, typed: dict[str, Any]) -> None:
    page = client.get(url)
    assert page.status_code == 200
    sound = {name: value for name, value in {**sent_from(page), **typed}.items() if value is not None}
    names = sorted(names_in(page) - {"submission"})

    @quick
    @given(st.dictionaries(st.sampled_from(names), text, min_size=1, max_size=4))
    def anything(entries: dict[str, str]) -> None:
        response = post(client, url, {**sound, **entries})
        if response.status_code == 422:  # answer the questions with anything, too
            asked = [name for name in names_in(response) if "reason_" in name]
            post(client, url, {**sound, **entries, **dict.fromkeys(asked, next(iter(entries.values())))})

    anything()


@pytest.fixture
def everything(run: Run) -> Run:
    """A centre that has switched on every group of variables."""
    run.course.centre.extended_groups = list(EXTENDED_GROUPS)
    run.course.centre.save()
    return run


# The kinds of event share their fields and differ in a few; these three cover all sorts of columns.
KINDS = {"event kink", "event bleeding", "event renal"}


@pytest.mark.parametrize("name", [name for name in PAGES if not name.startswith("event ") or name in KINDS])
def test_anything_in_an_entry(name: str, desk: Client, everything: Run) -> None:
    attack(desk, PAGES[name].url(everything), PAGES[name].typed)


@pytest.mark.parametrize("entity", CORRECTIONS)
def test_anything_in_a_correction(entity: str, desk: Client, everything: Run) -> None:
    record = every_record(everything)[entity]
    attack(
        desk, reverse("correct", args=[entity, record.public_id]), {"record-change_reason": "misread, sorry"}
    )


def test_anything_in_the_settings(
    administrator: User, everything: Run, sign_in: Callable[[User], Client]
) -> None:
    client = sign_in(administrator)
    attack(client, reverse("settings"), {})
    attack(client, reverse("new_person"), {"username": "somebody", "role": "COMMITTEE"})
    attack(client, reverse("person", args=[administrator.pk]), {})


def test_anything_as_the_reason_of_a_removal(desk: Client, everything: Run) -> None:
    session = every_record(everything)["mobilisation"]
    attack(desk, reverse("remove", args=["mobilisation", session.public_id]), {"change_reason": "by mistake"})


def test_anything_in_a_search(desk: Client, everything: Run) -> None:
    attack(desk, reverse("find"), {"q": "1"})


QUERIES = [("find", "page"), ("find", "patient"), ("candidates", "page"), ("new_implant", "study_no")]


@pytest.mark.parametrize(("name", "parameter"), QUERIES)
def test_anything_in_a_query(name: str, parameter: str, desk: Client, everything: Run) -> None:
    @settings(quick, max_examples=2 * EXAMPLES)
    @given(text)
    def anything(value: str) -> None:
        query = encoded({parameter: value}).decode()
        assert desk.get(f"{reverse(name)}?{query}").status_code in (200, 404)

    anything()


@pytest.mark.parametrize("value", NASTY)
def test_anything_in_an_address(value: str, desk: Client) -> None:
    part = quote_plus(value.encode("utf-8", "surrogatepass"))[:3000]
    for path in (
        f"/cases/{part}/",
        f"/records/{part}/{part}/history/",
        f"/settings/people/{part}/",
        f"/{part}",
    ):
        assert desk.get(path).status_code in (200, 301, 302, 403, 404)


BODIES = [
    (b"\xff\xfe\x00", "application/x-www-form-urlencoded"),
    (b"{}", "application/json"),
    (b"--x\r\nbroken", "multipart/form-data; boundary=x"),
    (b"", "multipart/form-data"),
    (b'--x\r\nContent-Disposition: form-data; name="patient-study_no"; filename="a"\r\n\r\nx\r\n--x--\r\n',
     "multipart/form-data; boundary=x"),
    (b"&".join(b"a%d=1" % i for i in range(1500)), "application/x-www-form-urlencoded"),
    (b"patient-study_no=" + b"x" * 3_000_000, "application/x-www-form-urlencoded"),
    (b"x=1", "nonsense"),
    ("patient-study_no=ü".encode("utf-16"), "application/x-www-form-urlencoded; charset=utf-16"),
]  # fmt: skip


@pytest.mark.parametrize(("body", "content_type"), BODIES)
def test_any_body_is_answered(body: bytes, content_type: str, desk: Client) -> None:
    response = desk.generic("POST", reverse("new_implant"), body, content_type)
    assert response.status_code in (400, 413, 415, 422)
