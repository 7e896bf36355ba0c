"""A quarter as the quality committee sees it: small counts hidden, with what would give them away.

Coarse on purpose, since a quarter holds few patients. Whole blocks are hidden rather than single cells: where
the figures of one route are few, those of every route give way and only the total stays; where the total of
an item is few, everything that adds up with it gives way. Curves, and what is read off them, rest on single
patients and are left away. The committee reads whole quarters that are over: they do not overlap, and nobody
comes in between two readings of one, though a late entry or a correction still moves a figure. What happened
to patients stands on the comparison page alone: counts of a quarter beside it would tell those that it holds
back, and few quarters hold enough to be shown anyway.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from outcomes.comparison.suppression import both_safe, is_small
from outcomes.measures.values import ALL_ROUTES, Cases, Figure
from outcomes.period import QUARTER, Period
from outcomes.report import Report
from outcomes.wording import HIDDEN

# Items that do not add up to each other.
BY_ITEM = ("baseline", "procedure", "support.early", "support.last", "quality.complete")
# Measures of what the comparison counts over the whole logbook, by the first part of their names.
COMPARED = (
    "complications", "repositions", "faults", "mobilisation", "bridge", "outcomes", "success", "intent",
    "after", "quality.events",
)  # fmt: skip
BETWEEN_ROUTES = "standard deviations"  # one of the routes follows from it and the total
SINGLE_PATIENTS = ("shortest", "longest")


def for_committee(report: Report, *, threshold: int) -> Report:
    """The same report without counts from 1 to below the threshold and without whatever reveals them."""
    hidden: set[str] = set()
    for measure in report.measures:
        figures = report.figures_of(measure.id)
        if is_compared(measure.id):
            hidden |= {figure.key for figure in figures}
        else:
            hidden |= _hidden_of(figures, threshold, by_item=measure.id in BY_ITEM)
    return replace(
        report,
        figures=tuple(_hide(figure) if figure.key in hidden else figure for figure in report.figures),
        curves=(),
        left_out=tuple(line for line in report.left_out if not is_small(line.count, threshold)),
    )


def is_compared(measure: str) -> bool:
    """Whether a measure counts what the comparison page shows of the whole logbook."""
    return measure in COMPARED or measure.partition(".")[0] in COMPARED


def is_for_committee(period: Period, now: datetime) -> bool:
    """Whether a period is one calendar quarter, and over."""
    return QUARTER.fullmatch(period.label) is not None and period.end <= now


def _hidden_of(figures: Sequence[Figure], threshold: int, *, by_item: bool) -> set[str]:
    blocks: dict[str, list[Figure]] = {}
    for figure in figures:
        blocks.setdefault(_item(figure) if by_item else "", []).append(figure)
    totals = {name for name, block in blocks.items() if _any_few(block, threshold, whole=True)}
    routes = totals | {name for name, block in blocks.items() if _any_few(block, threshold, whole=False)}
    return {
        figure.key
        for name, block in blocks.items()
        for figure in block
        if name in totals
        or (name in routes and (figure.group != ALL_ROUTES or figure.unit == BETWEEN_ROUTES))
        or _rests_on_single_patients(figure)
    }


def _item(figure: Figure) -> str:
    return figure.key.split("/")[2]


def _any_few(block: list[Figure], threshold: int, *, whole: bool) -> bool:
    """Whether a count of all routes, or of one of them, is few."""
    return any(
        _few(figure, threshold)
        for figure in block
        if (figure.group == ALL_ROUTES) == whole and not _rests_on_single_patients(figure)
    )


def _few(figure: Figure, threshold: int) -> bool:
    if is_small(figure.missing, threshold):
        return True
    if figure.unit == "proportion":
        whole = is_small(figure.denominator, threshold)
        return whole or not both_safe(figure.numerator, figure.denominator, threshold)
    if figure.unit in ("median", "mean difference", BETWEEN_ROUTES):
        return not both_safe(figure.numerator, figure.denominator, threshold)
    if figure.unit == "days":
        return is_small(figure.denominator, 2 * threshold)
    return is_small(figure.numerator, threshold) and figure.unit != "device-days"


def _rests_on_single_patients(figure: Figure) -> bool:
    return figure.at_day is not None or figure.key.rpartition("/")[2] in SINGLE_PATIENTS


def _hide(figure: Figure) -> Figure:
    return replace(
        figure,
        numerator=None,
        denominator=None,
        estimate=None,
        lower=None,
        upper=None,
        missing=None,
        method="",
        note=HIDDEN,
        cases=Cases(),
    )
