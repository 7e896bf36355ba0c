"""Passwords that only look long."""

from __future__ import annotations

import time

import pytest
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError

from registry.models import User


@pytest.mark.parametrize(
    "password",
    ["passwordpassword", "Password20262026!", "dwellbookdwellbook", "12Dwellbook345678", "aaaabbbbaaaabbbb",
     "Axillary!!!!!!!!!", "monkeymonkeymonkey", "letmeinletmeinletmein", "heart failure 2026",
     "heart-failure-heart-failure", "Axillary-Femoral-2026", "qwertyuiopasdfgh", "20250101-20260101"],
)  # fmt: skip
def test_what_everybody_would_try_is_refused(password: str) -> None:
    with pytest.raises(ValidationError, match="easy to guess"):
        validate_password(password)


@pytest.mark.parametrize(
    "password",
    [
        "a long walk along the quay",
        "möwen über dem kai",
        "x7Qp-2Lm9-vR4t-Zk1",
        "herring umbrella balloon tractor",
        "рыба над тихой водой",
    ],
)
def test_several_words_are_let_through(password: str) -> None:
    validate_password(password)


@pytest.mark.django_db
def test_names_of_the_person_and_the_centre_count_as_known(coordinator: User) -> None:
    coordinator.username, coordinator.first_name = "wendelgard", "Ottokarine"
    centre = coordinator.centre
    assert centre is not None
    centre.name = "Klosterwinkel"
    password = "Wendelgard Ottokarine Klosterwinkel"
    validate_password(password)
    with pytest.raises(ValidationError, match="easy to guess"):
        validate_password(password, coordinator)


def test_a_very_long_password_takes_no_long_time() -> None:
    begun = time.perf_counter()
    validate_password("ein ganz langer Satz über Möwen " * 300)
    assert time.perf_counter() - begun < 2
