"""The letters of the access site."""

from __future__ import annotations

import pytest
from django.core.exceptions import ValidationError

from registry.choices_events import SiteState
from registry.forms.round import LETTERS, LettersField


def test_no_two_findings_share_a_letter() -> None:
    assert len(LETTERS) == len(SiteState)


@pytest.mark.parametrize(("text", "codes"), [
    ("", []), ("c", ["CLEAN"]), ("to", ["OOZE", "TENDER"]), ("O, T", ["OOZE", "TENDER"]), ("oo", ["OOZE"]),
])  # fmt: skip
def test_letters_are_read(text: str, codes: list[str]) -> None:
    field = LettersField(required=False)
    assert field.clean(text) == codes
    assert field.clean(field.prepare_value(codes)) == codes


def test_an_unknown_letter_is_refused_with_the_key() -> None:
    with pytest.raises(ValidationError, match=r"“x” is no finding\. Letters: c clean"):
        LettersField(required=False).clean("cx")
