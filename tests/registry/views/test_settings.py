"""The administrator's pages: the programme and its people."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from registry.models import Centre, User
from tests.factories import create_user
from tests.pages import digest, fill

pytestmark = pytest.mark.django_db


@pytest.fixture
def admin(sign_in: Callable[[User], Client], administrator: User) -> Client:
    return sign_in(administrator)


def test_settings_are_saved_with_who_changed_them(admin: Client, centre: Centre) -> None:
    url = reverse("settings")
    response = admin.post(url, fill(admin, url, gap_rule_hours="12", extended_groups=["film"]))
    assert response.status_code == 302
    centre.refresh_from_db()
    assert (centre.gap_rule_hours, centre.extended_groups, centre.version) == (12, ["film"], 2)
    last = centre.history.order_by("pgh_id").last()  # type: ignore[attr-defined]
    assert last.pgh_context["name"] == "administrator"


def test_two_administrators_see_both_entries_and_nothing_is_lost(admin: Client, centre: Centre) -> None:
    url = reverse("settings")
    mine = fill(admin, url, gap_rule_hours="12", extended_groups=["film"])
    theirs = fill(admin, url, gap_rule_hours="36", smallest_cell="7")
    assert admin.post(url, theirs).status_code == 302
    response = admin.post(url, mine)
    assert response.status_code == 422
    assert 'id="conflict"' in response.content.decode()
    shown = response.context["form"].conflicts
    assert {"label": "Gap rule", "typed": "12 h", "saved": "36 h"} in shown
    centre.refresh_from_db()
    assert (centre.gap_rule_hours, centre.smallest_cell, centre.version) == (36, 7, 2)
    again = {**mine, "version": response.context["form"].data["version"]}
    assert admin.post(url, again).status_code == 302
    centre.refresh_from_db()
    assert (centre.gap_rule_hours, centre.smallest_cell, centre.extended_groups) == (12, 5, ["film"])


@pytest.mark.parametrize("version", ["", "99", "x"])
def test_settings_without_the_version_that_was_seen_are_not_saved(version: str, admin: Client) -> None:
    url = reverse("settings")
    before = digest()
    assert admin.post(url, fill(admin, url, gap_rule_hours="12", version=version)).status_code == 422
    assert digest() == before


def test_settings_that_cannot_be_are_refused_and_said(admin: Client) -> None:
    url = reverse("settings")
    before = digest()
    response = admin.post(url, fill(admin, url, time_zone="Mars/Olympus"))
    assert response.status_code == 422
    assert "is not a known time zone" in response.content.decode()
    assert digest() == before


def test_a_new_person_gets_a_first_password_shown_once(admin: Client, centre: Centre) -> None:
    url = reverse("new_person")
    response = admin.post(url, fill(admin, url, username="newcomer", role="PHYSICIAN"))
    person = User.objects.get(username="newcomer")
    password = response.context["password"]
    assert password in response.content.decode()
    assert person.check_password(password)
    assert len(password) >= 15
    assert person.one_time_password_at is not None
    assert (person.centre, person.role, person.is_staff, person.is_superuser) == (
        centre,
        "PHYSICIAN",
        False,
        False,
    )


def test_a_forgotten_password_is_replaced_by_one_for_one_time(
    admin: Client, desk: Client, coordinator: User, administrator: User, caplog: pytest.LogCaptureFixture
) -> None:
    assert desk.get(reverse("support")).status_code == 200
    assert b"Give a one-time password" in admin.get(reverse("person", args=[coordinator.pk])).content
    with caplog.at_level("INFO", "registry.actions"):
        response = admin.post(reverse("reset_password", args=[coordinator.pk]))
    password = response.context["password"]
    assert password in response.content.decode()
    coordinator.refresh_from_db()
    assert coordinator.check_password(password)
    assert desk.get(reverse("support")).url.startswith(reverse("account_login"))  # type: ignore[attr-defined]
    assert f"account {coordinator.pk} given by account {administrator.pk}" in caplog.text
    assert password not in caplog.text


def test_a_password_is_reset_for_others_of_the_centre_only(
    admin: Client, desk: Client, administrator: User, stranger: User
) -> None:
    assert desk.post(reverse("reset_password", args=[administrator.pk])).status_code == 403
    assert admin.post(reverse("reset_password", args=[stranger.pk])).status_code == 404
    own = admin.post(reverse("reset_password", args=[administrator.pk]))
    assert own.status_code == 302
    administrator.refresh_from_db()
    assert administrator.one_time_password_at is None


def test_rights_cannot_be_smuggled_in(admin: Client, stranger: User) -> None:
    url = reverse("new_person")
    forged = {"is_superuser": "on", "is_staff": "on", "centre": str(stranger.centre_id), "password": "x" * 20}
    admin.post(url, {**fill(admin, url, username="newcomer", role="PHYSICIAN"), **forged})
    person = User.objects.get(username="newcomer")
    assert not any([person.is_superuser, person.is_staff, person.check_password("x" * 20)])
    assert person.centre_id != stranger.centre_id


def test_an_account_switched_off_is_out_at_its_next_request(
    admin: Client, desk: Client, coordinator: User
) -> None:
    url = reverse("person", args=[coordinator.pk])
    assert desk.get(reverse("support")).status_code == 200
    assert admin.post(url, fill(admin, url, is_active=None)).status_code == 302
    assert desk.get(reverse("support")).status_code == 302


def test_a_role_taken_away_is_gone_at_the_next_request(
    admin: Client, desk: Client, coordinator: User
) -> None:
    url = reverse("person", args=[coordinator.pk])
    admin.post(url, fill(admin, url, role="COMMITTEE"))
    assert desk.get(reverse("support")).status_code == 403


@pytest.mark.parametrize("change", [{"role": "COORDINATOR"}, {"is_active": None}])
def test_administrators_cannot_lock_themselves_out(
    change: dict[str, str | None], admin: Client, administrator: User
) -> None:
    url = reverse("person", args=[administrator.pk])
    response = admin.post(url, fill(admin, url, **change))
    assert response.status_code == 422
    assert "You cannot take the administrator’s rights from yourself." in response.content.decode()
    administrator.refresh_from_db()
    assert (administrator.role, administrator.is_active) == ("ADMINISTRATOR", True)


def test_the_people_of_another_centre_are_not_listed(admin: Client, stranger: User, centre: Centre) -> None:
    create_user(centre=centre, username="colleague")
    page = admin.get(reverse("settings")).content.decode()
    assert "colleague" in page
    assert "stranger" not in page


def test_the_centre_that_is_read_lets_somebody_of_another_compare(
    admin: Client, centre: Centre, stranger: User
) -> None:
    url = reverse("further_reader")
    assert admin.post(url, {"username": "STRANGER "}).status_code == 302
    assert [found.pk for found in stranger.compared_centres] == [stranger.centre_id, centre.pk]
    assert "stranger" in admin.get(reverse("settings")).content.decode()
    assert admin.post(reverse("end_further_reader", args=[stranger.pk])).status_code == 302
    assert stranger.compared_centres == [stranger.centre]
    assert admin.post(reverse("end_further_reader", args=[stranger.pk])).status_code == 404


@pytest.mark.parametrize("name", ["nobody", "coordinator", ""])
def test_only_people_of_another_centre_are_let_compare(name: str, admin: Client, coordinator: User) -> None:
    before = digest()
    assert admin.post(reverse("further_reader"), {"username": name}).status_code == 422
    assert digest() == before
