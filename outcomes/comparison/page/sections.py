"""Which sections the comparison page has, from top to bottom, and what each needs."""

from __future__ import annotations

from collections.abc import Callable

from outcomes.comparison.page.first_sections import (
    adjusted_section,
    alike_section,
    crude_section,
    who_section,
)
from outcomes.comparison.page.later_sections import (
    bands_section,
    naive_section,
    over_time_section,
    sensitivity_section,
    time_section,
)
from outcomes.comparison.page.section import Section
from outcomes.comparison.page.table import Table
from outcomes.comparison.value import Comparison
from outcomes.figures import Chart


def sections(comparison: Comparison) -> tuple[Section, ...]:
    """The page below the summary; charts without points are left away."""
    made = [make(comparison) for make in _SECTIONS.values()]
    return tuple(_filled(section) for section in made if section.parts)


def section(comparison: Comparison, id: str) -> Section:
    """One section; KeyError if there is none of that name."""
    return _filled(_SECTIONS[id](comparison))


def _filled(made: Section) -> Section:
    kept = tuple(
        part
        for part in made.parts
        if not (isinstance(part, Chart) and part.empty) and not (isinstance(part, Table) and not part.rows)
    )
    return Section(made.id, made.title, made.purpose, kept)


_SECTIONS: dict[str, Callable[[Comparison], Section]] = {
    "who": who_section,
    "alike": alike_section,
    "crude": crude_section,
    "adjusted": adjusted_section,
    "time": time_section,
    "naive": naive_section,
    "sensitivity": sensitivity_section,
    "over-time": over_time_section,
    "bands": bands_section,
}


# What each section needs beyond the counts of who is compared.
NEEDS: dict[str, tuple[str, ...]] = {
    "who": (),
    "alike": ("baseline", "adjusted"),
    "crude": ("crude",),
    "adjusted": ("adjusted",),
    "time": ("timing",),
    "naive": ("naive",),
    "sensitivity": ("sensitivity",),
    "over-time": ("over_time",),
    "bands": (),
}
AT_ONCE = ("baseline", "crude", "adjusted")  # what the page and its summary need; the rest is fetched after
