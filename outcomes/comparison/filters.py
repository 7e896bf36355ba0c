"""Which rows the reader's filters let in."""

from __future__ import annotations

import numpy as np

from outcomes.comparison.choices import SIZE_EDGES_CM, SIZES, Choices
from outcomes.comparison.units import Programme, Units
from outcomes.dataset import codes
from outcomes.dataset.clock import local_days, minute_of
from outcomes.estimators.arrays import Flags, Ints
from outcomes.period import Period

LEVELS: dict[str, tuple[str, ...]] = {
    "access": tuple(code.value for code in codes.ACCESS_METHODS),
    "urgency": tuple(code.value for code in codes.URGENCIES),
    "intent": tuple(code.value for code in codes.INTENTS),
    "stage": tuple(code.value for code in codes.STAGES),
    "sex": tuple(code.value for code in codes.SEXES),
    "size": tuple(code for code, _ in SIZES),
}


def level_of(programme: Programme, units: Units, name: str) -> Ints:
    """Position of each row's value among ``LEVELS[name]``; -1 for not recorded.

    Access method and urgency are those of the first procedure of the row: of the failed attempt, where as
    intended one came first.
    """
    if name in ("access", "urgency"):
        return _of_first_procedure(programme, units, name)
    if name == "size":
        tenths = programme.facts.course["height_cm"][units.course]
        band = np.searchsorted([edge * 10 for edge in SIZE_EDGES_CM], tenths, side="right")
        return np.where(tenths < 0, -1, band)
    courses = programme.dataset.courses
    column = {"intent": courses.intent, "stage": courses.stage}.get(name)
    return (programme.facts.course["sex"] if column is None else column)[units.course]


def _of_first_procedure(programme: Programme, units: Units, name: str) -> Ints:
    placed = programme.facts.run[name][units.run]
    if units.view != "intended":
        return placed
    attempt = programme.attempt_before[units.course]
    return np.where(attempt >= 0, np.append(programme.facts.attempt[name], -1)[attempt], placed)


def let_in(programme: Programme, units: Units, choices: Choices) -> Flags:
    """Rows that meet every filter."""
    rows = np.ones(units.size, dtype=np.bool_)
    for name, value in choices.filters.items():
        if name == "period":
            period = Period.parse(value, programme.dataset.zone)
            rows &= (units.started >= minute_of(period.start)) & (units.started < minute_of(period.end))
        else:
            rows &= level_of(programme, units, name) == LEVELS[name].index(value)
    return rows


def calendar_years(programme: Programme, units: Units) -> Ints:
    """Year in which each row began, on the centre's calendar."""
    days = local_days(units.started, programme.dataset.zone)
    return days.astype("datetime64[D]").astype("datetime64[Y]").astype(np.int64) + 1970
