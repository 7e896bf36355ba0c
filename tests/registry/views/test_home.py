"""The first page leads each role to its work."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from registry.choices import Role
from registry.models import Centre, User
from tests.factories import create_user

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(("role", "place"), [
    (Role.COORDINATOR, "support"), (Role.PHYSICIAN, "support"), (Role.COMMITTEE, "quarter"),
    (Role.ADMINISTRATOR, "settings"),
])  # fmt: skip
def test_each_role_lands_where_it_works(
    role: Role, place: str, centre: Centre, sign_in: Callable[[User], Client]
) -> None:
    response = sign_in(create_user(centre=centre, role=role)).get("/")
    assert response.headers["Location"] == reverse(place)
