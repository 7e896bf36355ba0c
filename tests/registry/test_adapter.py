"""Signing in: by user name, by people whom the programme has entered, and not by guessing."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.test import RequestFactory
from django.urls import NoReverseMatch, reverse
from django.utils import timezone

from registry import actions
from registry.adapter import ClosedAdapter
from registry.models import User

PASSWORD = "a long walk along the quay"

pytestmark = pytest.mark.django_db


@pytest.fixture
def user():
    return User.objects.create_user("coordinator", password=PASSWORD)


def try_in(client, password: str, name: str = "coordinator", address: str = "192.0.2.1"):
    return client.post(reverse("account_login"), {"login": name, "password": password}, REMOTE_ADDR=address)


def sign_in(client, password: str, name: str = "coordinator", address: str = "192.0.2.1") -> bool:
    """Whether the form lets us in."""
    assert try_in(client, password, name, address).status_code in {200, 302}
    return "_auth_user_id" in client.session


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
        name = "Coordinator" if number % 2 else "COORDINATOR"
        assert not sign_in(client, f"guess number {number}", name)
    assert not sign_in(client, PASSWORD)
    assert "Try again in 1 min." in try_in(client, PASSWORD).content.decode()


def test_whoever_is_elsewhere_is_not_shut_out_by_a_guesser(client, user):
    for number in range(8):
        sign_in(client, f"guess number {number}", address="192.0.2.66")
    assert sign_in(client, PASSWORD)


def test_a_name_that_nobody_has_is_answered_alike(client, user):
    for name, address in (("coordinator", "192.0.2.1"), ("nobody", "192.0.2.2")):
        texts = [try_in(client, "guess", name, address).content.decode() for _ in range(6)]
        assert ["Try again in 1 min." in text for text in texts] == [False] * 5 + [True]


def test_reauthentication_is_counted_too(client, user):
    assert sign_in(client, PASSWORD)
    url = reverse("account_reauthenticate")
    pages = [client.post(url, {"password": "guess"}, REMOTE_ADDR="192.0.2.1") for _ in range(6)]
    assert "Too many failed tries" in pages[-1].content.decode()


def test_a_one_time_password_leads_to_one_of_ones_own(client, user, administrator):
    given = actions.give_one_time_password(person=user, by=administrator)
    assert sign_in(client, given)
    change = reverse("account_change_password")
    for name in ("home", "support", "settings"):
        assert client.get(reverse(name)).url == change
    assert client.post(reverse("new_candidate"), {}).url == change
    assert "one-time password" in client.get(change).content.decode()
    kept = client.post(change, {"oldpassword": given, "password1": given, "password2": given})
    assert "This is the password in use." in kept.content.decode()
    new = {"oldpassword": given, "password1": PASSWORD, "password2": PASSWORD}
    assert client.post(change, new).url == reverse("home")
    user.refresh_from_db()
    assert user.one_time_password_at is None
    assert client.get(reverse("home")).status_code == 403  # it has no role, but is not held back


def test_a_one_time_password_that_lay_three_days_is_refused(client, user, administrator):
    given = actions.give_one_time_password(person=user, by=administrator)
    User.objects.filter(pk=user.pk).update(one_time_password_at=timezone.now() - timedelta(hours=73))
    response = try_in(client, given)
    assert "This one-time password has expired." in response.content.decode()
    assert "_auth_user_id" not in client.session
    User.objects.filter(pk=user.pk).update(one_time_password_at=timezone.now() - timedelta(hours=71))
    assert sign_in(client, given)


def test_one_may_sign_out_instead(client, user, administrator):
    sign_in(client, actions.give_one_time_password(person=user, by=administrator))
    assert client.post(reverse("account_logout")).url == reverse("account_login")


def test_without_signing_in_every_page_leads_to_the_form(client):
    response = client.get(reverse("support"))
    assert response.url == f"{reverse('account_login')}?next={reverse('support')}"
