"""What a section of the comparison page is made of."""

from __future__ import annotations

from dataclasses import dataclass

from outcomes.comparison.page.diagram import Diagram
from outcomes.comparison.page.table import Table
from outcomes.figures import Chart


@dataclass(frozen=True)
class Words:
    """A paragraph; ``ask`` for one that should catch the eye."""

    text: str
    ask: bool = False


@dataclass(frozen=True)
class Picture:
    """The diagram of routes with its numbers."""

    diagram: Diagram
    table: Table


@dataclass(frozen=True)
class Later:
    """Stands for a section that has an address of its own and was not worked out yet."""


Part = Words | Table | Chart | Picture | Later


@dataclass(frozen=True)
class Section:
    id: str
    title: str
    purpose: str
    parts: tuple[Part, ...]
