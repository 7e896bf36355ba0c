"""The menu: each role sees the pages that it may open, and no others."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.contrib.auth.models import AnonymousUser
from django.test import Client, RequestFactory
from django.urls import reverse

from registry.choices import Role
from registry.models import Run, User
from registry.navigation import MENU, menu
from tests.factories import create_user

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("role", Role)
def test_the_menu_holds_what_the_role_may_open(
    role: Role, run: Run, sign_in: Callable[[User], Client]
) -> None:
    client = sign_in(create_user(centre=run.course.centre, role=role))
    context = client.get(reverse("home"), follow=True).context
    offered = {entry["url"] for entry in context["nav"]}
    opened = {url for _, name, _ in MENU if client.get(url := reverse(name)).status_code == 200}
    assert offered == opened != set()
    assert sum(entry["current"] for entry in context["nav"]) == 1


def test_the_anonymous_have_no_menu() -> None:
    request = RequestFactory().get("/")
    assert menu(request) == {}
    request.user = AnonymousUser()
    assert menu(request) == {}


def test_who_is_signed_in_is_said(desk: Client) -> None:
    page = desk.get(reverse("support"))
    assert page.context["viewer"] == {"name": "Cora", "role": "Coordinator", "centre": "Hospital HB"}
