"""Scanning a label into a run, and finding where the devices of a lot went."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from registry.models import Centre, DeviceSearch, Run, User
from tests.factories import create_case, create_event, create_outcome, days_ago
from tests.pages import again, errors_of, fill, sent_from

pytestmark = pytest.mark.django_db

GTIN = "09521234543213"
NEXT_YEAR = timezone.now().year + 1
CODE = f"]C101{GTIN}17{NEXT_YEAR % 100:02d}0600" + "10lot7\x1d210012"
IMPLANT = {
    "patient__study_no": "HB-0417",
    "patient__birth_year": "1960",
    "patient__sex": "M",
    "run__route": "AXILLARY_L",
    "run__access_method": "PERCUTANEOUS",
    "run__guidance": "ULTRASOUND",
    "run__balloon_volume_ml": "40",
    "run__catheter_fr": "7.5",
    "run__operator_code": "OP-1",
    "run__location": "CATH_LAB",
    "run__urgency": "URGENT",
    "run__technical_success": "yes",
    "course__intent": "BTT",
    "course__shock_stage": "C",
    "course__height_cm": "178",
}


@pytest.fixture
def traced(centre: Centre) -> Centre:
    """A centre that traces devices."""
    centre.extended_groups = ["device"]
    centre.save()
    return centre


@pytest.fixture
def implant(traced: Centre, desk: Client) -> dict[str, Any]:
    """The filled implant form with a scanned code."""
    return fill(desk, reverse("new_implant"), **IMPLANT, run__inserted_at="t 0001", run__device_code=CODE)


def post(desk: Client, data: dict[str, Any]) -> Any:
    return desk.post(reverse("new_implant"), data)


def test_what_the_code_says_is_shown_before_it_is_saved(desk: Client, implant: dict[str, Any]) -> None:
    response = post(desk, implant)
    assert response.status_code == 422
    assert f"Device identifier {GTIN}; lot number lot7; serial number 0012" in response.content.decode()
    assert not Run.objects.exists()


def test_the_second_post_saves_what_was_read(desk: Client, implant: dict[str, Any]) -> None:
    shown = post(desk, implant)
    run_form = shown.context["forms"][1]
    filled = {f"run-{name}": run_form[name].value() for name in ("udi_di", "lot", "serial", "expires_on")}
    assert post(desk, {**again(implant), **filled}).status_code == 302
    run = Run.objects.get()
    assert (run.udi_di, run.lot, run.serial) == (GTIN, "lot7", "0012")
    assert (run.expires_on.year, run.expires_on.month, run.expires_on.day) == (NEXT_YEAR, 6, 30)
    assert run.udi_raw == CODE.replace("\x1d", "␝")


def test_a_typed_lot_that_the_code_contradicts_is_refused(desk: Client, implant: dict[str, Any]) -> None:
    response = post(desk, again(implant, run__lot="LOT8"))
    assert errors_of(response)["run-lot"] == ["The code says lot7. Correct one of them."]


def test_capitals_are_no_contradiction(desk: Client, implant: dict[str, Any]) -> None:
    response = post(desk, again(implant, run__lot="LOT7 "))
    assert "run-lot" not in errors_of(response)


def test_an_unreadable_code_says_why(desk: Client, implant: dict[str, Any]) -> None:
    response = post(desk, again(implant, run__device_code=f"01{GTIN[:-1]}4"))
    assert "check digit" in errors_of(response)["run-device_code"][0]


def test_an_expired_device_is_asked_about(desk: Client, implant: dict[str, Any]) -> None:
    response = post(desk, again(implant, run__device_code=f"(01){GTIN}(17)200131"))
    assert "run-reason_expired_at_insertion" in errors_of(response)


def test_dropped_separators_bring_a_choice(desk: Client, implant: dict[str, Any]) -> None:
    data = again(implant, run__device_code=f"01{GTIN}10AB21CD")
    response = post(desk, data)
    labels = [label for _, label in response.context["forms"][1].fields["device_reading"].choices]
    assert labels == [
        f"Device identifier {GTIN}; lot number AB21CD",
        f"Device identifier {GTIN}; lot number AB; serial number CD",
        "Neither: the parts are typed below",
    ]
    filled = {"run-udi_di": GTIN, "run-lot": "AB", "run-serial": "CD"}
    assert post(desk, {**again(data, run__device_reading="1"), **filled}).status_code == 302
    assert (Run.objects.get().lot, Run.objects.get().serial) == ("AB", "CD")


def test_parts_typed_by_hand_settle_an_unclear_code(desk: Client, implant: dict[str, Any]) -> None:
    data = again(implant, run__device_code=f"01{GTIN}10AB21CD", run__device_reading="by-hand", run__lot="AB")
    assert post(desk, data).status_code == 302
    assert Run.objects.get().lot == "AB"


def test_the_box_is_only_there_for_centres_that_trace(centre: Centre, desk: Client) -> None:
    assert "device_code" not in desk.get(reverse("new_implant")).content.decode()


@pytest.mark.parametrize(
    ("code", "key"), [(CODE, "fields"), (f"01{GTIN}10AB21CD", "readings"), ("hello", "text"), ("", "text")]
)
def test_the_script_asks_the_server(desk: Client, code: str, key: str) -> None:
    answer = desk.post(reverse("read_code"), {"code": code}).json()
    assert answer["text"]
    assert key in answer


def test_a_chosen_reading_comes_with_a_code_that_is_clear(desk: Client) -> None:
    readings = desk.post(reverse("read_code"), {"code": f"01{GTIN}10AB21CD"}).json()["readings"]
    assert [reading["code"] for reading in readings] == [f"(01){GTIN}(10)AB21CD", f"(01){GTIN}(10)AB(21)CD"]


def search(desk: Client, **terms: str) -> Any:
    return desk.post(reverse("tracing"), terms)


def device(centre: Centre, **values: Any) -> Run:
    return create_case(centre=centre, **values)


def test_where_a_lot_went(traced: Centre, desk: Client) -> None:
    now = device(traced, lot="L7")
    past = device(traced, lot=" l7", inserted_at=days_ago(40), removed_at=days_ago(30), end_reason="WEANED")
    create_event(course=past.course, onset_at=days_ago(35))
    create_outcome(course=past.course, outcome="RECOVERED_WEANED", occurred_at=days_ago(30))
    unknown = device(traced, lot="", inserted_at=days_ago(20))
    device(traced, lot="L8")
    response = search(desk, lot="L7 ")
    found = response.context["found"]
    assert [found.in_place, found.past, found.unknown] == [[now], [past], [unknown]]
    page = response.content.decode()
    for words in ("Left axillary", "Weaned", "Recovered and weaned", "Kink or malfunction", "lot unknown"):
        assert words in page


def test_no_part_of_a_label_stands_in_an_address(traced: Centre, desk: Client) -> None:
    device(traced, lot="L7")
    page = desk.get(reverse("tracing"), {"lot": "L7"})
    assert page.context["found"] is None
    assert not DeviceSearch.objects.exists()
    assert '<form class="entry no-print" method="post"' in page.content.decode()
    assert search(desk, **dict.fromkeys(sent_from(page), "") | {"lot": "L7"}).context["found"].in_place


def test_leading_zeros_and_letters_stay(traced: Centre, desk: Client) -> None:
    device(traced, lot="007", serial="O1")
    assert not search(desk, lot="7").context["found"].in_place
    assert not search(desk, serial="01").context["found"].in_place
    assert search(desk, lot="007").context["found"].in_place


def test_a_known_part_that_disagrees_excludes(traced: Centre, desk: Client) -> None:
    other_model = device(traced, udi_di="04150000021126")
    same_model = device(traced, udi_di=GTIN)
    unknown = search(desk, udi_di=GTIN, lot="L7").context["found"].unknown
    assert same_model in unknown
    assert other_model not in unknown


def test_only_devices_in_the_window_are_listed_as_unknown(traced: Centre, desk: Client) -> None:
    device(traced, inserted_at=days_ago(40), removed_at=days_ago(30))
    inside = device(traced, inserted_at=days_ago(29), removed_at=days_ago(20))
    since = (timezone.localdate() - timedelta(days=29)).strftime("%d-%b-%Y")
    assert search(desk, lot="L7", since=since).context["found"].unknown == [inside]


def test_a_scanned_code_searches_by_its_parts(traced: Centre, desk: Client) -> None:
    run = device(traced, udi_di=GTIN, lot="LOT7", serial="0012")
    assert search(desk, device_code=CODE).context["found"].in_place == [run]


def test_a_console_is_searched_too(traced: Centre, desk: Client) -> None:
    run = device(traced, console_code="C-3")
    assert search(desk, console_code="c-3").context["found"].in_place == [run]


def test_every_search_is_noted(traced: Centre, desk: Client, coordinator: User) -> None:
    device(traced, lot="L7")
    search(desk, lot="L7")
    noted = DeviceSearch.objects.get()
    assert (noted.searched_by, noted.sought["lot"]) == (coordinator, "L7")
    assert noted.found == {"in_place": 1, "past": 0, "unknown": 0}


@pytest.mark.parametrize("terms", [{"lot": " "}, {"device_code": "hello"}, {"lot": "L", "since": "soon"}])
def test_an_empty_or_unreadable_search_finds_nothing(
    traced: Centre, desk: Client, terms: dict[str, str]
) -> None:
    response = search(desk, **terms)
    assert response.status_code == 422
    assert response.context["found"] is None
    assert not DeviceSearch.objects.exists()


def test_a_window_that_ends_before_it_begins_is_refused(traced: Centre, desk: Client) -> None:
    assert search(desk, lot="L", since="4 Mar 2025", until="3 Mar 2025").status_code == 422


def test_other_hospitals_are_not_searched(traced: Centre, stranger: User, desk: Client) -> None:
    device(stranger.centre, lot="L7")
    found = search(desk, lot="L7").context["found"]
    assert [found.in_place, found.past, found.unknown] == [[], [], []]
