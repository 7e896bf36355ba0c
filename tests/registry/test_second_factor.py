"""The second step of signing in."""

from __future__ import annotations

import threading
import time

import pytest
from allauth.mfa.models import Authenticator
from allauth.mfa.recovery_codes.internal.auth import RecoveryCodes
from allauth.mfa.totp.internal.auth import TOTP, format_hotp_value, generate_totp_secret, hotp_value
from django.db import connection
from django.test import Client
from django.urls import reverse

from registry import actions, adapter

PASSWORD = "a long walk along the quay"
SECRET = generate_totp_secret()

pytestmark = pytest.mark.django_db


def code(secret: str = SECRET, *, ago: int = 0) -> str:
    return format_hotp_value(hotp_value(secret, int(time.time()) // 30 - ago))


@pytest.fixture
def person(coordinator):
    coordinator.set_password(PASSWORD)
    coordinator.save()
    return coordinator


@pytest.fixture
def app(person, rf):
    return TOTP.activate(person, SECRET)


def give_password(client):
    return client.post(reverse("account_login"), {"login": "coordinator", "password": PASSWORD})


def give_code(client, typed: str) -> bool:
    """Whether the code lets in."""
    client.post(reverse("mfa_authenticate"), {"code": typed})
    return "_auth_user_id" in client.session


def test_where_it_is_not_required_a_password_lets_in(client, person):
    assert give_password(client).url == reverse("home")
    assert client.get(reverse("mfa_index")).status_code == 200


def test_where_it_is_required_nothing_but_the_set_up_opens(client, person, settings):
    settings.SECOND_FACTOR_REQUIRED = True
    give_password(client)
    set_up = reverse("mfa_activate_totp")
    for name in ("home", "support", "mfa_index", "mfa_generate_recovery_codes", "account_change_password"):
        assert client.get(reverse(name)).url == set_up
    page = client.get(set_up)  # who has just signed in is not asked again
    secret = page.context["form"].secret
    text = page.content.decode()
    assert "".join(page.context["form"].key_parts) == secret
    assert f"<span>{secret[:4]}</span><span>{secret[4:8]}</span>" in text
    assert 'autocomplete="one-time-code"' in text
    assert "site-nav" not in text
    assert 'inputmode="numeric"' in text
    assert client.post(set_up, {"code": "000000x"}).status_code == 200
    done = client.post(set_up, {"code": code(secret)}, follow=True)
    assert "They are shown this once." in done.content.decode()
    assert "were shown once" in client.get(reverse("mfa_view_recovery_codes")).content.decode()
    assert client.get(reverse("support")).status_code == 200
    assert "Remove the app" not in client.get(reverse("mfa_index")).content.decode()
    client.post(reverse("mfa_deactivate_totp"))
    assert person.authenticator_set.filter(type="totp").exists()


def test_a_code_lets_in_once(client, person, app, client_two):
    assert give_password(client).url == reverse("mfa_authenticate")
    assert "_auth_user_id" not in client.session
    assert not give_code(client, code(ago=1))
    typed = code()
    assert give_code(client, typed)
    give_password(client_two)
    assert not give_code(client_two, typed)


def set_up(client) -> str:
    """Set an app up and return the code that did it."""
    url = reverse("mfa_activate_totp")
    typed = code(client.get(url).context["form"].secret)
    assert client.post(url, {"code": typed}).status_code == 302
    return typed


def test_the_code_of_the_set_up_does_not_sign_in(client, client_two, person):
    give_password(client)
    typed = set_up(client)
    assert give_password(client_two).url == reverse("mfa_authenticate")
    assert not give_code(client_two, typed)


def test_a_set_up_ends_the_persons_other_sign_ins(
    client, client_two, person, sign_in, physician, django_capture_on_commit_callbacks
):
    other = sign_in(physician)
    for window in (client, client_two):
        give_password(window)
    with django_capture_on_commit_callbacks(execute=True):
        set_up(client)
    support = reverse("support")
    assert [window.get(support).status_code for window in (client, client_two, other)] == [200, 302, 200]


@pytest.mark.parametrize(("minutes", "asked"), [(4, False), (6, True)])
def test_who_signed_in_minutes_ago_shows_again_who_it_is(minutes, asked, client, person, monkeypatch):
    give_password(client)
    later = time.time() + minutes * 60
    monkeypatch.setattr(adapter.time, "time", lambda: later)
    response = client.get(reverse("mfa_activate_totp"))
    assert (response.status_code == 302) == asked


def test_a_password_alone_does_not_change_a_second_factor(sign_in, person, app):
    window = sign_in(person)  # long ago: no sign-in is noted
    asked = window.get(reverse("mfa_deactivate_totp")).url
    assert asked.startswith(reverse("mfa_reauthenticate"))
    assert window.get(reverse("account_reauthenticate")).url.startswith(reverse("mfa_reauthenticate"))
    assert window.post(asked, {"code": code()}).url == reverse("mfa_deactivate_totp")
    assert window.get(reverse("mfa_deactivate_totp")).status_code == 200


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("kind", ["app", "recovery"])
def test_a_code_typed_twice_at_once_lets_in_once(kind, person, app):
    spare = RecoveryCodes.activate(person).generate_codes()[0]
    windows, let_in, start = [Client(), Client()], [], threading.Barrier(2)
    for window in windows:
        give_password(window)
    typed = code() if kind == "app" else spare

    def work(window: Client) -> None:
        start.wait(timeout=30)
        let_in.append(give_code(window, typed))
        connection.close()

    threads = [threading.Thread(target=work, args=[window]) for window in windows]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    assert sorted(let_in) == [False, True]


@pytest.fixture
def client_two():
    return Client()


def test_a_recovery_code_lets_in_once(client, client_two, person, app):
    spare = RecoveryCodes.activate(person).generate_codes()[0]
    give_password(client)
    assert give_code(client, spare)
    give_password(client_two)
    assert not give_code(client_two, spare)


def test_wrong_codes_are_counted_across_right_passwords(client, person, app):
    for _ in range(5):
        give_password(client)
        assert not give_code(client, "12345")
    give_password(client)
    assert not give_code(client, code())


def test_secrets_are_sealed(person, app):
    RecoveryCodes.activate(person)
    kept = str(list(Authenticator.objects.values_list("data", flat=True)))
    assert SECRET not in kept
    assert kept.count("gAAAA") == 2


def test_a_one_time_password_does_not_skip_it(client, person, app, administrator):
    given = actions.give_one_time_password(person=person, by=administrator)
    response = client.post(reverse("account_login"), {"login": "coordinator", "password": given})
    assert response.url == reverse("mfa_authenticate")


def test_the_administrator_takes_away_a_lost_one(
    client, sign_in, person, app, administrator, stranger, caplog
):
    open_session = sign_in(person)
    url = reverse("take_second_factor", args=[person.pk])
    desk = sign_in(administrator)
    assert open_session.post(url, {"reason": "lost"}).status_code == 403
    assert desk.post(reverse("take_second_factor", args=[stranger.pk]), {"reason": "lost"}).status_code == 404
    desk.post(url, {"reason": ""})
    assert person.authenticator_set.exists()
    with caplog.at_level("INFO"):
        desk.post(url, {"reason": "lost"})
    assert not person.authenticator_set.exists()
    assert f"account {person.pk} taken away by account {administrator.pk}: lost" in caplog.text
    assert open_session.get(reverse("support")).status_code == 302


def test_the_log_tells_without_secrets(client, person, app, caplog):
    with caplog.at_level("INFO"):
        client.post(reverse("account_login"), {"login": "coordinator", "password": "wrong guess"})
        give_password(client)
        give_code(client, "123456x")
        typed = code()
        give_code(client, typed)
    for line in ("Wrong password for", "Wrong code for", "signed in", "Second factor (totp) used"):
        assert line in caplog.text
    assert not any(word in caplog.text for word in (PASSWORD, "wrong guess", typed, SECRET))
