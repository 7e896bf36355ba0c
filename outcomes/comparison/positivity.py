"""Who could have had either route: rows with something that never went with one of them are left out.

Nobody can be weighted to stand for patients that do not exist. That an arm lacks a level of a characteristic
may be chance, or that pump is not placed in such a patient. Westreich D, Cole SR, Am J Epidemiol
2010;171:674-677, "Invited commentary: positivity in practice", doi:10.1093/aje/kwp436 (from memory). The rule
that tells them apart stands in ``limits``; outcomes are not looked at.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np

from outcomes.comparison import limits
from outcomes.comparison.choices import level_words
from outcomes.comparison.covariates import COVARIATES, DECIDING, Covariate, Term, recorded
from outcomes.comparison.units import Programme, Units
from outcomes.comparison.value import ARMS, Restriction
from outcomes.estimators.arrays import Flags, Floats, Ints
from outcomes.wording import lower_first


@dataclass(frozen=True, eq=False)
class Coded:
    """A characteristic of rows (N,) by position among ``levels``, -1 for not recorded.

    ``names`` say in words who has each level; ``shown_as`` are the rows of the baseline table that count it.
    """

    label: str
    positions: Ints
    names: tuple[str, ...]
    shown_as: tuple[str, ...]


def coded(programme: Programme, units: Units) -> tuple[Coded, ...]:
    """Every characteristic that decides about the route, level by level."""
    return tuple(
        _of_covariate(covariate, covariate.values(programme, units))
        for covariate in COVARIATES
        if covariate.name in DECIDING
    )


def _of_covariate(covariate: Covariate, values: Floats) -> Coded:
    label = lower_first(covariate.label)
    if covariate.kind == "binary":
        return _yes_no(label, values, (covariate.name, covariate.name))
    names = tuple(level_words(label, level) for level in covariate.levels)
    shown_as = tuple(f"{covariate.name}-{k}" for k in range(len(names)))
    return Coded(label, _positions(values), names, shown_as)


def of_terms(
    found: Sequence[Coded], terms: Sequence[Term], values: Sequence[Floats], taken: Collection[str]
) -> tuple[Coded, ...]:
    """The yes/no terms that a model has taken up, under the name of the characteristic where they are one."""
    known = {each.shown_as: each for each in found}
    return tuple(
        known.get((term.shows, term.shows)) or _yes_no(term.label, column, ("", ""))
        for term, column in zip(terms, values, strict=True)
        if term.yes_no and term.label in taken
    )


def _yes_no(label: str, values: Floats, shown_as: tuple[str, str]) -> Coded:
    return Coded(label, _positions(values), (f"not {label}", label), shown_as)


def _positions(values: Floats) -> Ints:
    return np.where(recorded(values), values, -1.0).astype(np.int64)


def no_chance(units: Units, found: Sequence[Coded], rows: Flags) -> tuple[Flags, tuple[Restriction, ...]]:
    """What is left of ``rows`` when levels that cannot be missing from an arm by chance are left out.

    To leave rows out may bare another level, so the search starts anew until it finds nothing. Levels found
    at once may share rows: each is counted whole.
    """
    said: list[Restriction] = []
    while True:
        bare = [one for one in _one_sided(units, found, rows) if one.no_chance]
        if not bare:
            return rows, tuple(said)
        said += [one.said for one in bare]
        rows = _without(rows, bare)


def separating(units: Units, found: Sequence[Coded], rows: Flags) -> tuple[Flags, tuple[Restriction, ...]]:
    """What is left of ``rows`` without any level that an arm lacks: a model with it cannot be fitted."""
    bare = _one_sided(units, found, rows)
    return _without(rows, bare), tuple(one.said for one in bare)


def kept(units: Units, found: Sequence[Coded], rows: Flags) -> tuple[Restriction, ...]:
    """Levels among ``rows`` that an arm lacks, but with so few that it may be chance."""
    return tuple(one.said for one in _one_sided(units, found, rows))


@dataclass(frozen=True, eq=False)
class _Bare:
    """A level that one arm lacks, and how many were to be expected there if shares were equal."""

    found: Coded
    level: int
    said: Restriction
    expected: float

    @property
    def no_chance(self) -> bool:
        enough = (self.said.count or 0) >= limits.FEWEST_ONE_SIDED
        return enough and self.expected >= limits.FEWEST_EXPECTED


def _without(rows: Flags, bare: Sequence[_Bare]) -> Flags:
    for one in bare:
        rows = rows & (one.found.positions != one.level)
    return rows


def _one_sided(units: Units, found: Sequence[Coded], rows: Flags) -> list[_Bare]:
    """Levels that occur in one arm of ``rows`` only."""
    chosen = np.flatnonzero(rows)
    arm = (~units.axillary[chosen]).astype(np.int64)  # position in ARMS
    return [one for each in found for one in _bare_levels(each, each.positions[chosen], arm)]


def _bare_levels(found: Coded, positions: Ints, arm: Ints) -> list[_Bare]:
    """Levels that one arm lacks; none where an arm has too many gaps to tell."""
    width = len(found.names) + 1
    counts = np.bincount(positions + 1 + arm * width, minlength=2 * width).reshape(2, width)
    levels, known = counts[:, 1:], counts[:, 1:].sum(axis=1)
    if (known < np.maximum(limits.KNOWN_SHARE * counts.sum(axis=1), 1)).any():
        return []
    made = []
    for level in np.flatnonzero((levels.min(axis=0) == 0) & (levels.max(axis=0) > 0)).tolist():
        lacking = int(levels[:, level].argmin())
        has = int(levels[1 - lacking, level])
        said = Restriction(found.names[level], has, ARMS[lacking], found.label, found.shown_as[level])
        made.append(_Bare(found, level, said, has * float(known[lacking] / known.sum())))
    return made
