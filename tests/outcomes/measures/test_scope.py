"""The minutes of a scope, whatever the period."""

from __future__ import annotations

from datetime import datetime

import numpy as np
import pytest

from outcomes.measures.scope import Scope
from outcomes.period import Period
from tests.outcomes.rows import AXILLARY, ZONE, dataset, day


@pytest.mark.parametrize("year", [1, 2, 1000, 9000])
def test_a_period_beyond_the_clock_is_cut_to_it(year: int) -> None:
    """Minutes are kept for some two thousand years on either side of 1970; a period may begin outside."""
    data = dataset([{}], [{"course": 1, "route": AXILLARY, "removed": day(3)}])
    start, end = (datetime(year, month, 1, tzinfo=ZONE) for month in (1, 4))
    scope = Scope(data, Period(start, end, "far"), 0.95)

    assert not scope.holds_days(np.array([0, 20_000])).any()
    assert not scope.begun.any()
