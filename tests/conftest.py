"""The fixed persons of the tests, and a browser session for each."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client

from registry.choices import Role
from registry.models import Centre, Run, User
from tests.factories import create_case, create_centre, create_user


@pytest.fixture
def centre(db: None) -> Centre:
    """The hospital of everyone but the stranger, on the clocks of Berlin."""
    return create_centre()


@pytest.fixture
def coordinator(centre: Centre) -> User:
    return create_user(centre=centre, username="coordinator", first_name="Cora")


@pytest.fixture
def physician(centre: Centre) -> User:
    return create_user(centre=centre, username="physician", role=Role.PHYSICIAN)


@pytest.fixture
def committee(centre: Centre) -> User:
    return create_user(centre=centre, username="committee", role=Role.COMMITTEE)


@pytest.fixture
def administrator(centre: Centre) -> User:
    return create_user(centre=centre, username="administrator", role=Role.ADMINISTRATOR)


@pytest.fixture
def stranger(db: None) -> User:
    """A coordinator of another hospital."""
    return create_user(centre=create_centre(code="XX", time_zone="Europe/Lisbon"), username="stranger")


@pytest.fixture
def sign_in() -> Callable[[User], Client]:
    """A client with a session of this person."""

    def signed_in(user: User) -> Client:
        client = Client()
        client.force_login(user)
        return client

    return signed_in


@pytest.fixture
def desk(sign_in: Callable[[User], Client], coordinator: User) -> Client:
    """The coordinator at the keyboard: the client of most tests."""
    return sign_in(coordinator)


@pytest.fixture
def run(centre: Centre) -> Run:
    """A patient on a balloon pump through the left axillary artery since nine days."""
    return create_case(centre=centre)
