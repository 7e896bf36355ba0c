"""Signing in: by user name, by people whom the programme has entered, and not by guessing."""

from __future__ import annotations

import pytest
from django.test import RequestFactory
from django.urls import NoReverseMatch, reverse

from registry.adapter import ClosedAdapter
from registry.models import User

PASSWORD = "a long walk along the quay"

pytestmark = pytest.mark.django_db


@pytest.fixture
def user():
    return User.objects.create_user("coordinator", password=PASSWORD)


def sign_in(client, password: str, name: str = "coordinator") -> bool:
    """Whether the form lets us in. Each try comes from another address: only the account counts."""
    sign_in.tries += 1
    address = f"192.0.2.{sign_in.tries}"
    response = client.post(
        reverse("account_login"), {"login": name, "password": password}, REMOTE_ADDR=address
    )
    assert response.status_code in {200, 302}
    return "_auth_user_id" in client.session


sign_in.tries = 0


def test_nobody_signs_up():
    assert not ClosedAdapter().is_open_for_signup(RequestFactory().get("/"))
    with pytest.raises(NoReverseMatch):
        reverse("account_signup")


def test_user_name_and_password_let_in(client, user):
    assert not sign_in(client, "a long walk along the canal")
    assert sign_in(client, PASSWORD)


def test_a_disabled_account_is_out_at_its_next_request(client, user):
    assert sign_in(client, PASSWORD)
    User.objects.update(is_active=False)
    assert client.get(reverse("home")).url.startswith(reverse("account_login"))


def test_another_session_ends_when_the_password_changes(client, user):
    assert sign_in(client, PASSWORD)
    user.set_password("a short walk along the quay")
    user.save()
    assert client.get(reverse("home")).url.startswith(reverse("account_login"))


def test_guessing_one_account_is_stopped_even_for_the_right_password(client, user):
    for number in range(5):
        assert not sign_in(client, f"guess number {number}")
    assert not sign_in(client, PASSWORD)


def test_without_signing_in_every_page_leads_to_the_form(client):
    response = client.get(reverse("support"))
    assert response.url == f"{reverse('account_login')}?next={reverse('support')}"
