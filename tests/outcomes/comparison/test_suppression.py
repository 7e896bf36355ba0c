"""Small counts stay hidden, and nobody can work them out."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from outcomes.comparison.suppression import both_safe, hidden_parts, is_small

THRESHOLD = 5


@pytest.mark.parametrize(("count", "small"), [(0, False), (1, True), (4, True), (5, False), (None, False)])
def test_zero_and_the_threshold_may_be_shown(count, small):
    assert is_small(count, THRESHOLD) is small


def test_a_share_hides_what_would_give_the_rest_away():
    assert not both_safe(3, 50, THRESHOLD)
    assert not both_safe(47, 50, THRESHOLD)
    assert both_safe(50, 50, THRESHOLD)
    assert both_safe(0, 50, THRESHOLD)
    assert both_safe(20, 50, THRESHOLD)


@given(st.lists(st.integers(0, 30), min_size=2, max_size=6))
def test_no_hidden_part_of_a_sum_is_pinned(counts):
    hidden = hidden_parts(counts, THRESHOLD)
    assert all(hidden[k] for k, count in enumerate(counts) if is_small(count, THRESHOLD))
    total = sum(count for count, away in zip(counts, hidden, strict=True) if away)
    if any(hidden) and sum(counts) >= THRESHOLD:
        # Given the total of what is hidden, each may be anything from 0 to it.
        assert sum(hidden) >= 2
        assert total >= THRESHOLD


def test_nothing_is_hidden_without_need():
    assert hidden_parts([10, 20, 0], THRESHOLD) == [False, False, False]
    assert hidden_parts([3, 20, 9], THRESHOLD) == [True, False, True]
