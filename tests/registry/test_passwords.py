"""Passwords that only look long."""

from __future__ import annotations

import pytest
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError


@pytest.mark.parametrize(
    "password",
    ["passwordpassword", "Password20262026!", "dwellbookdwellbook", "12Dwellbook345678", "aaaabbbbaaaabbbb",
     "Axillary!!!!!!!!!", "monkeymonkeymonkey", "letmeinletmeinletmein"],
)  # fmt: skip
def test_a_common_word_made_longer_is_refused(password: str) -> None:
    with pytest.raises(ValidationError, match="made longer"):
        validate_password(password)


@pytest.mark.parametrize(
    "password",
    [
        "a long walk along the quay",
        "möwen über dem kai",
        "x7Qp-2Lm9-vR4t-Zk1",
        "balloon herring duck",
    ],
)
def test_several_words_are_let_through(password: str) -> None:
    validate_password(password)
