"""The report as a value: what the page, the slides and the files are drawn from."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property

from outcomes.measures.base import Measure
from outcomes.measures.values import Cases, Curve, Figure, LeftOut


@dataclass(frozen=True, kw_only=True)
class Header:
    """What stands at the top of every page. ``as_of`` is None when the live tables were read."""

    centres: tuple[str, ...]
    time_zone: str
    period: str
    start: datetime
    end: datetime
    data_cut: datetime
    as_of: datetime | None
    level: float
    software_version: str
    definitions_version: str
    open_at_cut: bool = field(metadata={"meaning": "the period had not ended at the data cut"})


@dataclass(frozen=True, kw_only=True)
class Report:
    """One period of one centre, or of several, at one data cut."""

    header: Header
    measures: tuple[Measure, ...]
    figures: tuple[Figure, ...]
    curves: tuple[Curve, ...]
    left_out: tuple[LeftOut, ...]

    @cached_property
    def _figures(self) -> dict[str, Figure]:
        return {figure.key: figure for figure in self.figures}

    @cached_property
    def _curves(self) -> dict[str, Curve]:
        return {curve.key: curve for curve in self.curves}

    def figure(self, key: str) -> Figure:
        """The figure of that key; KeyError if the report has none."""
        return self._figures[key]

    def curve(self, key: str) -> Curve:
        """The curve of that key; KeyError if the report has none."""
        return self._curves[key]

    def figures_of(self, measure: str, group: str | None = None) -> tuple[Figure, ...]:
        """Figures of one measure, of one route group if given, in order."""
        return tuple(f for f in self.figures if f.measure == measure and group in (None, f.group))

    def curves_of(self, measure: str) -> tuple[Curve, ...]:
        """Curves of one measure, in order."""
        return tuple(curve for curve in self.curves if curve.measure == measure)

    def measure(self, id: str) -> Measure:
        """The definition of a measure; KeyError if the report has none of that id."""
        return {measure.id: measure for measure in self.measures}[id]

    def cases(self, key: str) -> Cases:
        """The records behind a figure, or behind a line of what was left out."""
        for line in self.left_out:
            if line.key == key:
                return Cases((line.cases,))
        return self.figure(key).cases
