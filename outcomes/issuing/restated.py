"""What is known now of an issued period that was not known, or known otherwise, when it was issued.

The clock stands still at the issued moment: patients followed for longer change nothing here. Only entries
made, corrected or removed since then do. A figure has moved when what is printed of it differs, its value or
what it is out of; the limits follow from these.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

from outcomes.committee import for_committee
from outcomes.dataset import load_dataset
from outcomes.issuing.issue import data_cut, issued_period, reissue
from outcomes.measures.catalogue import MEASURES
from outcomes.measures.values import CaseList, Figure, Record
from outcomes.report import Report, build_report
from outcomes.wording import HIDDEN, show
from registry.models import IssuedReport

Case = tuple[Record, int]
ORDER = {measure.id: place for place, measure in enumerate(MEASURES)}


@dataclass(frozen=True)
class Shift:
    """The cases that came into one side of a figure, its numerator or denominator, and those that left it."""

    came: frozenset[Case] = frozenset()
    went: frozenset[Case] = frozenset()

    def __bool__(self) -> bool:
        return bool(self.came or self.went)


@dataclass(frozen=True)
class Moved:
    """A figure that differs, with the cases that came into its numerator or denominator or left them."""

    was: Figure | None
    now: Figure | None
    numerator: Shift
    denominator: Shift

    @property
    def figure(self) -> Figure:
        """The figure as it is now, or as it was if it is no longer there."""
        found = self.now or self.was
        assert found is not None
        return found

    @property
    def came(self) -> tuple[Case, ...]:
        """What came into either side."""
        return tuple(sorted(self.numerator.came | self.denominator.came))

    @property
    def went(self) -> tuple[Case, ...]:
        """What left either side."""
        return tuple(sorted(self.numerator.went | self.denominator.went))

    @property
    def cases(self) -> frozenset[Case]:
        """All cases behind the figure, then and now."""
        found = [f.cases for f in (self.was, self.now) if f]
        return frozenset().union(
            *(_keys(side) for each in found for side in (each.numerator, each.denominator))
        )

    @property
    def by_values(self) -> bool:
        """Whether a number moved, such as device-days or a median, though no case came or left."""
        if self.was is None or self.now is None:
            return False
        sides = (
            (self.was.numerator, self.now.numerator, self.numerator),
            (self.was.denominator, self.now.denominator, self.denominator),
        )
        moved = any(was != now and not shift for was, now, shift in sides)
        return moved or not (self.numerator or self.denominator)

    @property
    def by_exposure_alone(self) -> bool:
        """Whether a rate moved through its device-days, with the same events."""
        if self.was is None or self.now is None or self.figure.out_of != "device-days":
            return False
        return self.was.numerator == self.now.numerator and not self.numerator


def known_now(issued: IssuedReport) -> Report:
    """The issued period computed from today's rows, with the data cut left where it was."""
    dataset = load_dataset(centres=[issued.centre], cut_at=data_cut(issued.as_of))
    return build_report(dataset=dataset, period=issued_period(issued))


def restatements(issued: IssuedReport, *, smallest_cell: int | None = None) -> tuple[Moved, ...]:
    """The figures of an issued report that would be others if it were issued now as of the same moment.

    With ``smallest_cell`` only those that a reader may see who sees no smaller count.
    """
    was, now = reissue(issued), known_now(issued)
    moved = _moved_between(was, now)
    return moved if smallest_cell is None else _without_small_counts(moved, was, now, smallest_cell)


def _moved_between(was: Report, now: Report) -> tuple[Moved, ...]:
    before, after = _figures(was), _figures(now)
    keys = [key for key in {**before, **after} if _printed(before.get(key)) != _printed(after.get(key))]
    moved = [_moved(before.get(key), after.get(key)) for key in keys]
    return tuple(sorted(moved, key=lambda each: ORDER[each.figure.measure]))


def _figures(report: Report) -> dict[str, Figure]:
    return {figure.key: figure for figure in report.figures}


def _printed(figure: Figure | None) -> tuple[str, str]:
    """Value and what it is out of, as printed; a figure over nothing says as little as none."""
    if figure is None or not any((figure.numerator, figure.denominator, figure.estimate)):
        return "", ""
    shown = show(figure)
    return shown.value, shown.of


def _moved(was: Figure | None, now: Figure | None) -> Moved:
    return Moved(
        was,
        now,
        _shift(was.cases.numerator if was else (), now.cases.numerator if now else ()),
        _shift(was.cases.denominator if was else (), now.cases.denominator if now else ()),
    )


def _shift(was: Iterable[CaseList], now: Iterable[CaseList]) -> Shift:
    before, after = _keys(was), _keys(now)
    return Shift(after - before, before - after)


def _keys(lists: Iterable[CaseList]) -> frozenset[Case]:
    return frozenset((cases.record, pk) for cases in lists for pk in cases.pks)


def _without_small_counts(
    moved: tuple[Moved, ...], was: Report, now: Report, smallest_cell: int
) -> tuple[Moved, ...]:
    """Figures of which neither then nor now is hidden, and which many cases moved.

    The step between two figures that may be shown is a count of its own: a step of one would tell what
    happened to one patient. So the steps are held to the same rules as the figures.
    """
    steps = replace(now, figures=tuple(_step(each) for each in moved))
    seen = [_shown(for_committee(report, threshold=smallest_cell)) for report in (was, now, steps)]
    return tuple(
        each
        for each in moved
        if all(each.figure.key in keys for keys in seen) and len(each.came) + len(each.went) >= smallest_cell
    )


def _shown(report: Report) -> set[str]:
    return {figure.key for figure in report.figures if figure.note != HIDDEN}


def _step(moved: Moved) -> Figure:
    """By how much the counts of a figure moved, as a figure."""
    numerator, denominator, missing = (
        _apart(moved.was, moved.now, name) for name in ("numerator", "denominator", "missing")
    )
    return replace(moved.figure, numerator=numerator, denominator=denominator, missing=missing)


def _apart(was: Figure | None, now: Figure | None, name: str) -> Any:
    counts = [getattr(figure, name) if figure else 0 for figure in (was, now)]
    return None if None in counts else abs(counts[1] - counts[0])
