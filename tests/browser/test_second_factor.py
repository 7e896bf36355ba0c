"""An authenticator app set up and used at sign-in, as a person sees it."""

from __future__ import annotations

import time

import pytest
from allauth.mfa.totp.internal.auth import format_hotp_value, hotp_value
from django.urls import reverse
from playwright.sync_api import Page, expect

from registry.models import User
from tests.browser.conftest import Open
from tests.browser.test_accessibility import look

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True),
    pytest.mark.filterwarnings("ignore:Session-scoped fixtures defined"),
]
PASSWORD = "a long walk along the quay"


def sign_in_by_password(page: Page) -> None:
    page.get_by_label("Username").fill("coordinator")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()


def test_an_app_is_set_up_and_a_recovery_code_signs_in(
    opened: Open, coordinator: User, settings: object
) -> None:
    settings.SECOND_FACTOR_REQUIRED = True  # type: ignore[attr-defined]
    coordinator.set_password(PASSWORD)
    coordinator.save()
    desk = opened("/")
    sign_in_by_password(desk)
    expect(desk.get_by_role("img", name="QR code")).to_be_visible()
    assert look(desk) == []

    field = desk.get_by_label("Code that the app shows now")
    field.fill("none")
    field.press("Enter")
    expect(desk.locator("#div_id_code")).to_contain_text("This code is wrong")
    key = str(desk.locator(".key-parts").text_content())
    field.fill(format_hotp_value(hotp_value(key, int(time.time()) // 30)))
    field.press("Enter")
    codes = desk.locator(".recovery-codes code").all_text_contents()
    assert len(codes) == 10
    assert look(desk) == []
    desk.emulate_media(media="print")
    expect(desk.get_by_text("coordinator", exact=True).locator("visible=true")).to_have_count(1)
    for hidden in (desk.get_by_role("link", name="go on"), desk.get_by_role("contentinfo")):
        expect(hidden).to_be_hidden()

    other = opened(reverse("account_login"))
    sign_in_by_password(other)
    code = other.get_by_label("Code")
    expect(code).to_be_focused()
    assert (code.get_attribute("autocomplete"), code.get_attribute("inputmode")) == (
        "one-time-code",
        "numeric",
    )
    assert look(other) == []
    code.fill(codes[0])
    code.press("Enter")
    other.wait_for_url(f"**{reverse('support')}")
