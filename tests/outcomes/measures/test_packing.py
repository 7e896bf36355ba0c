"""Keys come back as they were, however they are kept."""

from __future__ import annotations

import numpy as np
import pytest

from outcomes.measures.packing import FEW, packed


@pytest.mark.parametrize(
    "pks",
    [
        np.zeros(0, dtype=np.int64),
        np.array([7]),
        np.array([2**40, 3]),
        np.arange(FEW + 1),
        np.arange(FEW + 1) * 3 + 2**40,
        np.arange(FEW + 1) * 100,
    ],
)
def test_keys_come_back(pks):
    assert sorted(packed(pks)().tolist()) == sorted(pks.tolist())


def test_long_lists_of_equal_keys_in_any_order_come_back_once():
    pks = np.repeat(np.arange(FEW), 2)[::-1]
    assert packed(pks)().tolist() == list(range(FEW))
