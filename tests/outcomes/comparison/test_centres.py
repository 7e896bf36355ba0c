"""Centres beside each other: who may ask for which, what opens, what the committee may see of them."""

from __future__ import annotations

import json

import numpy as np
import pytest

from outcomes.comparison.choices import Choices
from outcomes.comparison.reading import load
from registry.choices import Role
from tests.factories import create_case, create_centre, create_event, create_user, days_ago

pytestmark = pytest.mark.django_db


def fill(centre, axillary: int, femoral: int, bleeds: int):
    """Courses of both routes, of which so many axillary ones bled."""
    for number in range(axillary + femoral):
        route = "AXILLARY_L" if number < axillary else "FEMORAL_R"
        run = create_case(centre=centre, route=route, inserted_at=days_ago(140), removed_at=days_ago(120))
        if number < bleeds:
            create_event(
                course=run.course, kind="BLEEDING", bleed_site="ACCESS", barc="2",
                onset_at=days_ago(139), serious=True,
            )  # fmt: skip


@pytest.fixture
def other(centre):
    fill(centre, 12, 11, 6)
    other = create_centre(code="OC", name="Other Hospital")
    fill(other, 11, 13, 2)
    return other


@pytest.fixture
def both(other, centre):
    return f"{centre.code},{other.code}"


def numbers(response) -> dict:
    found = json.loads(response.content)
    return {flow["arm"]: flow["total"]["hits"] for flow in found["who"]["flows"]}


def test_nobody_reads_another_centre_that_has_not_let_them(desk, other, both):
    for asked in (other.code, both, "NOWHERE"):
        assert desk.get(f"/compare/comparison.json?centre={asked}").status_code == 422
        response = desk.get(f"/compare/?centre={asked}")
        assert response.status_code == 422
        assert "may not read one of these centres" in response.content.decode()
        assert "Other Hospital" not in response.content.decode()
    assert 'name="centre"' not in desk.get("/compare/").content.decode()


def test_a_further_centre_is_read_alone_or_beside_the_own(desk, coordinator, other, both):
    coordinator.further_centres.add(other)
    assert numbers(desk.get("/compare/comparison.json")) == {"AXILLARY": 12, "FEMORAL": 11}
    assert numbers(desk.get(f"/compare/comparison.json?centre={other.code}")) == {
        "AXILLARY": 11,
        "FEMORAL": 13,
    }
    assert numbers(desk.get(f"/compare/comparison.json?centre={both}")) == {"AXILLARY": 23, "FEMORAL": 24}
    page = desk.get(f"/compare/?centre={both}").content.decode()
    assert f'<option value="{both}" selected>All</option>' in page
    assert "Cases of further centres stay closed" in page


def test_cases_of_another_centre_stay_closed(desk, coordinator, other, both):
    coordinator.further_centres.add(other)
    asked = "figure=risk/BLEEDING/AXILLARY"
    assert desk.get(f"/compare/cases/?centre={other.code}&{asked}").status_code == 404
    assert "compare/cases" not in desk.get(f"/compare/?centre={other.code}").content.decode()
    page = desk.get(f"/compare/cases/?centre={both}&{asked}").content.decode()
    assert "12 courses, 6 of them counted" in page
    assert "stay closed" in page
    assert "OC-" not in page


def test_the_centre_is_adjusted_for_and_makes_strata(desk, coordinator, other, both):
    coordinator.further_centres.add(other)
    found = json.loads(desk.get(f"/compare/comparison.json?centre={both}&outcome=BLEEDING").content)
    assert "at Other Hospital" in found["adjusted"]["overlap"]["terms"]
    assert found["over_time"]["learning"]["refusal"] == "each centre learns by itself: choose one of them"


def test_the_committee_sees_a_pooled_count_only_where_each_centre_shows_its_own(sign_in, centre, other, both):
    """Six bleeds here, two there: eight together would give the two away."""
    reader = create_user(centre=centre, role=Role.COMMITTEE, username="further")
    reader.further_centres.add(other)
    client = sign_in(reader)
    hidden = shares(client, both, "BLEEDING")
    assert hidden["AXILLARY"] is None
    assert shares(client, centre.code, "BLEEDING")["AXILLARY"] == 6
    assert shares(client, other.code, "BLEEDING")["AXILLARY"] is None
    assert shares(client, both, "DIED") == {"AXILLARY": 0, "FEMORAL": 0}


def test_the_committee_reads_under_the_strictest_threshold_of_its_centres(sign_in, centre, other):
    reader = create_user(centre=centre, role=Role.COMMITTEE, username="further")
    reader.further_centres.add(other)
    type(other).objects.filter(pk=other.pk).update(smallest_cell=8)
    assert shares(sign_in(reader), centre.code, "BLEEDING")["AXILLARY"] is None


def test_the_committee_gets_no_sum_of_centres_that_keep_different_time(sign_in, centre, other, both):
    reader = create_user(centre=centre, role=Role.COMMITTEE, username="further")
    reader.further_centres.add(other)
    type(other).objects.filter(pk=other.pk).update(time_zone="Europe/Lisbon")
    client = sign_in(reader)
    assert client.get(f"/compare/comparison.json?centre={both}").status_code == 422
    response = client.get(f"/compare/?centre={both}")
    assert response.status_code == 422
    assert "keep different time" in response.content.decode()


def shares(client, centre: str, outcome: str) -> dict:
    response = client.get(f"/compare/comparison.json?centre={centre}")
    assert response.status_code == 200
    rows = json.loads(response.content)["crude"]["rows"]
    (row,) = (row for row in rows if row["code"] == outcome)
    return {"AXILLARY": row["axillary"]["hits"], "FEMORAL": row["femoral"]["hits"]}


def test_the_facts_name_the_centres_in_the_order_of_their_codes(centre, other):
    _, facts = load(centres=[centre, other])
    assert facts.centres == {centre.pk: centre.name, other.pk: other.name}
    assert np.unique(load(centres=[centre])[0].courses.centre).tolist() == [centre.pk]
    assert Choices(centre="A,B").centre_codes == ("A", "B")
