"""Every choice stands in the address; what makes no sense is left out and said."""

from __future__ import annotations

from urllib.parse import parse_qsl
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from outcomes.comparison.choices import ASKED, Choices, read_choices

ZONE = ZoneInfo("Europe/Berlin")
MADE = st.fixed_dictionaries(
    {
        name: st.sampled_from([code for code, _ in options])
        for name, options in ASKED.items()
        if name != "bands"
    }
).map(lambda chosen: Choices(**chosen))


@given(MADE)
def test_an_address_gives_back_the_choices_it_was_made_from(choices):
    assert read_choices(dict(parse_qsl(choices.query)), ZONE) == (choices, {})


def test_the_usual_choices_need_no_address():
    assert Choices().query == ""
    assert Choices().filters == {}


@pytest.mark.parametrize(
    ("asked", "name"),
    [({"stage": "Z"}, "stage"), ({"period": "soon"}, "period"), ({"outcome": "x\x00"}, "outcome")],
)
def test_a_choice_that_is_none_is_left_out_and_said(asked, name):
    choices, problems = read_choices(asked, ZONE)
    assert choices == Choices()
    assert set(problems) == {name}


def test_filters_are_said_in_words():
    assert Choices(period="2025", stage="D").narrowed == ("begun in 2025", "shock stage D: deteriorating")
    assert Choices(intent="BTT").narrowed == ("intent: bridge to transplant",)
