"""The figures that moved as rows of a page: what each is, then and now, and by which case."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import groupby

from outcomes.case_lists import CaseRow, name_cases
from outcomes.issuing.restated import Case, Moved
from outcomes.measures.catalogue import MEASURES
from outcomes.measures.values import Figure
from outcomes.wording import Shown, count, show
from registry.models import Record, User
from registry.views.places import place_of

TITLES = {measure.id: measure.title for measure in MEASURES}
# Parts of one value under the same label, by the last word of a figure's key.
PARTS = {"before": "before", "after": "on support"}
WORDS = {
    "mean difference": "mean change",
    "standard deviations": "axillary less femoral, in standard deviations",
}
Names = dict[Case, CaseRow]
Changed = dict[str, tuple[Record, ...]]


@dataclass(frozen=True)
class Named:
    """A case that came or went, and on which side of the figure."""

    case: CaseRow
    side: str


@dataclass(frozen=True)
class Row:
    """One figure; ``changed`` are those behind it of whom something was changed, with their pages."""

    label: str
    unit: str
    route: str
    was: Shown | None
    now: Shown | None
    came: tuple[Named, ...] = ()
    went: tuple[Named, ...] = ()
    changed: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class Group:
    """The rows of one measure under its title."""

    title: str
    rows: tuple[Row, ...]


def said(moved: tuple[Moved, ...], *, opens: bool) -> str:
    """How much moved, in words for the reader; who sees no cases is not told about small counts."""
    number = f"{len(moved)} figure{'' if len(moved) == 1 else 's'}"
    if opens:
        return f"{number} moved since" if moved else "Nothing moved since"
    return f"{number} moved by many cases" if moved else "No figure to list"


def unit_words(figure: Figure) -> str:
    """What the number is, to tell a share from a rate, a count or a median of the same thing."""
    words = {
        **WORDS,
        "count": f"number of {figure.counted}",
        "proportion": f"share of {figure.out_of}",
    }.get(figure.unit, figure.unit)
    part = PARTS.get(figure.key.rpartition("/")[2], "")
    day = "" if figure.at_day is None else f"by day {count(figure.at_day)}"
    return ", ".join(filter(None, (words, part, day)))


def groups_of(moved: Iterable[Moved], names: Names, changed: Changed) -> list[Group]:
    """The rows under the titles of their measures; ``moved`` stands in the order of the measures."""
    return [
        Group(TITLES[measure], tuple(_row(each, names, changed) for each in found))
        for measure, found in groupby(moved, key=lambda each: each.figure.measure)
    ]


def names_of(moved: Iterable[Moved], *, user: User) -> Names:
    """Name and link of every case that came or went."""
    return {case: _name(case, user) for each in moved for case in (*each.came, *each.went)}


def _name(case: Case, user: User) -> CaseRow:
    row = name_cases([case], user=user)[0]
    return row if row.url else replace(row, name=f"removed {case[0].removesuffix('s')}")


def _row(moved: Moved, names: Names, changed: Changed) -> Row:
    figure = moved.figure
    return Row(
        label=figure.label,
        unit=unit_words(figure),
        route=figure.group.lower(),
        was=show(moved.was) if moved.was else None,
        now=show(moved.now) if moved.now else None,
        came=_named(moved.numerator.came, moved.denominator.came, figure, names),
        went=_named(moved.numerator.went, moved.denominator.went, figure, names),
        changed=tuple((str(record), place_of(record)) for record in changed.get(figure.key, ())),
    )


def _named(
    numerator: frozenset[Case], denominator: frozenset[Case], figure: Figure, names: Names
) -> tuple[Named, ...]:
    """Cases with their side, where the figure has two; none for those who may not see them."""
    return tuple(
        Named(names[case], _side(case in numerator, case in denominator) if figure.out_of else "")
        for case in sorted(numerator | denominator)
        if case in names
    )


def _side(numerator: bool, denominator: bool) -> str:
    if numerator and denominator:
        return "numerator and denominator"
    return "numerator" if numerator else "denominator"
