"""A curve read at 0 and at 1, where a step curve has no limits of its own."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from outcomes.estimators.proportions import proportion
from outcomes.measures.incidence import Exits, incidence_figure, staying_figure

DAY: dict[str, Any] = {
    "measure": "m",
    "group": "ALL",
    "item": "x",
    "label": "X",
    "per_day": 1,
    "counted": "runs",
}


def exits(days: list[int], causes: list[int]) -> Exits:
    size = len(days)
    return Exits.of(
        "runs",
        np.arange(1, size + 1),
        entry=np.zeros(size, dtype=np.int64),
        exit=np.array(days),
        cause=np.array(causes),
        causes=2,
        level=0.95,
    )


@pytest.mark.parametrize(("days", "causes"), [([1, 2, 2, 2, 2], [1] * 5), ([1, 2, 2, 3], [1, 1, 1, 1])])
def test_all_of_them_have_wilson_limits(days: list[int], causes: list[int]) -> None:
    """A jump from 20 % to 100 % must not leave the lower limit of 20 % behind."""
    found, size = exits(days, causes), len(days)
    wilson = proportion(events=size, total=size)
    figure = incidence_figure(found, cause=1, day=3, **DAY)
    assert figure.estimate == pytest.approx(1.0, abs=1e-12)
    assert (figure.lower, figure.upper) == (wilson.lower, 1.0)
    assert f"the same in all {size}" in figure.note
    nobody = staying_figure(found, day=3, **DAY)
    assert nobody.estimate == pytest.approx(0.0, abs=1e-12)
    assert (nobody.lower, nobody.upper) == (0.0, pytest.approx(1 - wilson.lower, abs=1e-12))


def test_those_lost_before_are_not_among_all_of_them() -> None:
    figure = incidence_figure(exits([1, 2, 3, 3], [0, 0, 1, 1]), cause=1, day=3, **DAY)
    assert figure.lower == proportion(events=2, total=2).lower


def test_between_the_ends_the_curve_keeps_its_own_limits() -> None:
    figure = incidence_figure(exits([1, 2, 3, 4], [1, 2, 1, 1]), cause=1, day=4, **DAY)
    assert "Wilson" not in figure.method
    assert figure.note == ""


@pytest.mark.parametrize(("last", "said"), [(1, False), (0, True)])
def test_nobody_was_followed_is_said_only_if_somebody_was_lost(last: int, said: bool) -> None:
    figure = incidence_figure(exits([1, 2, 3], [1, 2, last]), cause=1, day=30, **DAY)
    assert ("nobody was followed that long" in figure.note) is said
