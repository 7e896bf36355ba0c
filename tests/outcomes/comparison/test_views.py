"""The pages of the comparison: choices in the address, cases for the programme, counts for the committee."""

from __future__ import annotations

import re
from html.parser import HTMLParser

import pytest

from tests.factories import create_case, create_event, create_outcome, days_ago

pytestmark = pytest.mark.django_db


@pytest.fixture
def logbook(centre):
    """Twelve axillary and eleven femoral courses; six axillary and two femoral bleeds."""
    for number in range(23):
        route = "AXILLARY_L" if number < 12 else "FEMORAL_R"
        run = create_case(centre=centre, route=route, inserted_at=days_ago(40), removed_at=days_ago(20))
        create_outcome(course=run.course, occurred_at=days_ago(20))
        if number < 6 or number in (20, 21):
            create_event(
                course=run.course,
                kind="BLEEDING",
                bleed_site="ACCESS",
                barc="2",
                onset_at=days_ago(39),
                serious=True,
            )
    return centre


class _Ids(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.ids: list[str] = []
        self.inline: list[str] = []

    def handle_starttag(self, tag, attrs):
        found = dict(attrs)
        if found.get("id"):
            self.ids.append(found["id"])
        if "style" in found or any(name.startswith("on") for name in found):
            self.inline.append(tag)
        if tag == "script" and not found.get("src") and found.get("type") != "application/json":
            self.inline.append("script")


def read(response) -> _Ids:
    reader = _Ids()
    reader.feed(response.content.decode())
    return reader


def test_the_page_shows_counts_that_open_to_their_cases(logbook, desk):
    response = desk.get("/compare/?outcome=BLEEDING")
    assert response.status_code == 200
    text = response.content.decode()
    assert "6/12" in text
    assert "2/11" in text
    assert "figure=risk/BLEEDING/AXILLARY" in text.replace("%2F", "/")
    cases = desk.get("/compare/cases/?figure=risk/BLEEDING/AXILLARY")
    assert cases.content.decode().count("<td>yes</td>") == 6


def test_ids_are_there_once_and_nothing_is_inline(logbook, desk):
    found = read(desk.get("/compare/?bands=1"))
    assert [name for name in set(found.ids) if found.ids.count(name) > 1] == []
    assert found.inline == []


def test_longer_sections_have_addresses_of_their_own(logbook, desk):
    page = desk.get("/compare/?sex=M").content.decode()
    links = re.findall(r'href="(/compare/[^"]+)" data-later="#([\w-]+)"', page)
    assert {name for _, name in links} == {"time", "naive", "sensitivity", "over-time"}
    for url, name in links:
        section = desk.get(url.replace("&amp;", "&"))
        assert section.status_code == 200
        assert f'id="{name}"' in section.content.decode()
    assert desk.get("/compare/nothing/").status_code == 404


def test_a_wrong_choice_is_said_and_left_out(logbook, desk):
    response = desk.get("/compare/?period=soon")
    assert response.status_code == 422
    assert "is no period" in response.content.decode()
    assert desk.get("/compare/comparison.json?period=soon").status_code == 422


def test_the_committee_sees_no_small_count_and_no_case(logbook, committee, sign_in):
    client = sign_in(committee)
    text = client.get("/compare/?outcome=BLEEDING").content.decode()
    assert "2/11" not in text
    assert "/compare/cases/" not in text
    assert client.get("/compare/cases/?figure=risk/BLEEDING/AXILLARY").status_code == 403
    plain = client.get("/compare/comparison.json?outcome=BLEEDING").json()
    (row,) = [row for row in plain["crude"]["rows"] if row["code"] == "BLEEDING"]
    assert row["femoral"]["hits"] is None
    # The page of the quarter may show the sum of both routes, so the six would give the two away.
    assert row["axillary"]["hits"] is None
    assert row["difference"]["value"] is None


def test_the_committee_may_use_one_filter_only(logbook, committee, sign_in):
    response = sign_in(committee).get("/compare/?sex=M&stage=C")
    assert response.status_code == 422
    assert "one filter at a time" in response.content.decode()


def test_an_empty_logbook_has_a_page(centre, desk):
    assert desk.get("/compare/").status_code == 200
    assert desk.get("/compare/comparison.json").status_code == 200
    for name in ("who", "alike", "crude", "adjusted", "time", "naive", "sensitivity", "over-time"):
        assert desk.get(f"/compare/{name}/").status_code == 200
    assert desk.get("/compare/cases/?figure=none").status_code == 404
