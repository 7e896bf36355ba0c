"""Keys become positions, whether they lie close together or far apart."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from outcomes.dataset import codes
from outcomes.dataset.clock import NEVER
from outcomes.dataset.deriving import SPARSE, aligned, positions
from registry.choices_events import OUT_OF_BED_LEVEL, WALK_LEVEL
from tests.outcomes.rows import dataset

keys = st.lists(st.integers(1, 60) | st.integers(10**6, 2 * 10**9), unique=True)
anything = st.lists(st.integers(-5, 70) | st.integers(10**6, 2 * 10**9) | st.just(2**40))


@given(keys, anything)
def test_positions_are_those_of_a_plain_search(known: list[int], wanted: list[int]) -> None:
    found = positions(np.array(known, dtype=np.int64), np.array([*wanted, *known], dtype=np.int64))
    assert found.tolist() == [known.index(key) if key in known else -1 for key in [*wanted, *known]]


@pytest.mark.parametrize("apart", [1, SPARSE, SPARSE + 1, 1000])
def test_keys_in_any_order_and_in_32_bits(apart: int) -> None:
    known = (np.arange(50, dtype=np.int32)[::-1] + 1) * np.int32(apart)
    wanted = np.array([0, apart, 50 * apart, 51 * apart, -1, NEVER], dtype=np.int32)
    assert positions(known, wanted).tolist() == [-1, 49, 0, -1, -1, -1]


def test_a_key_without_a_row_gets_what_stands_for_nothing() -> None:
    rows = {"pk": np.array([7, 3]), "outcome": np.array([2, 1]), "at": np.array([20, 10])}
    found = aligned(rows, np.array([3, 4, 7]), at=NEVER)
    assert {name: column.tolist() for name, column in found.items()} == {
        "outcome": [1, codes.UNRECORDED, 2],
        "at": [10, NEVER, 20],
    }


def test_daily_rows_give_the_first_days_and_the_films() -> None:
    """Run 2 has none; days come in any order."""
    up, walked = OUT_OF_BED_LEVEL, WALK_LEVEL
    days = [
        {"run": 3, "checked_on": 12, "level": walked},
        {"run": 1, "checked_on": 11, "level": up, "verdict": 2, "action": 1},
        {"run": 1, "checked_on": 10, "level": up - 1},
        {"run": 3, "checked_on": 11, "level": walked},
        {"run": 1, "checked_on": 12},
    ]
    data = dataset([{}, {}, {}], [{"course": n} for n in (1, 2, 3)], days=days)

    assert data.bedside.run.tolist() == [0, 2]
    assert data.bedside.rows.tolist() == [3, 2]
    assert data.bedside.levels_recorded.tolist() == [2, 2]
    assert data.bedside.out_of_bed_on.tolist() == [11, 11]
    assert data.bedside.walked_on.tolist() == [NEVER, 11]
    films = data.films
    assert [films.run.tolist(), films.read_on.tolist(), films.verdict.tolist()] == [[0], [11], [2]]
