"""Small counts stay hidden, and nobody can work them out: exact bounds, by trying every table that fits."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from outcomes.comparison.suppression import (
    both_safe,
    hidden_levels,
    hidden_parts,
    is_small,
    pinned,
    shown_steps,
)

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
        assert not pinned(0, total, THRESHOLD)


def test_nothing_is_hidden_without_need():
    assert hidden_parts([10, 20, 0], THRESHOLD) == [False, False, False]
    assert hidden_parts([3, 20, 9], THRESHOLD) == [True, False, True]


@given(st.lists(st.tuples(st.integers(0, 12), st.integers(0, 12)), min_size=2, max_size=4))
def test_no_hidden_level_of_a_filter_is_pinned(pairs):
    hits = np.array([min(pair) for pair in pairs])
    sizes = np.array([max(pair) for pair in pairs])
    none = np.zeros(len(pairs), dtype=bool)
    hidden = hidden_levels(hits, sizes, none, THRESHOLD)
    if hidden.all():
        return  # then the total is hidden as well, or nothing small is left to find
    # Every table that fits what is shown: hits of shown levels, all sizes, and the sum of the hits.
    places = np.flatnonzero(hidden)
    total = int(hits[hidden].sum())
    fitting = [
        counts for counts in product(*(range(int(sizes[k]) + 1) for k in places)) if sum(counts) == total
    ]
    for position, k in enumerate(places):
        possible = {counts[position] for counts in fitting}
        assert not possible <= set(range(1, THRESHOLD)), (hits, sizes, hidden)
        assert not {int(sizes[k]) - count for count in possible} <= set(range(1, THRESHOLD))


def test_a_running_count_shows_no_small_step():
    counts = [0, 2, 6, 7, 9, 12, 29]
    shown = shown_steps(counts, 30, THRESHOLD)
    seen = [count for count, visible in zip(counts, shown, strict=True) if visible]
    assert seen == [0, 6, 12]
    assert all(step == 0 or step >= THRESHOLD for step in np.diff(seen))
