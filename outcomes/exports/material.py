"""What an export is made of: the report of a period, and what a presentation sets beside it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cached_property
from zoneinfo import ZoneInfo

from outcomes.dataset import Dataset
from outcomes.exports.beside import complication_ratios, trends
from outcomes.exports.discussion import Discussed, discussed
from outcomes.figures import Chart
from outcomes.measures.values import Figure
from outcomes.period import QUARTER, RANGE_MARK, Period
from outcomes.quarter import Section, Table, sections
from outcomes.report import Header, Report, build_report

TREND_QUARTERS = 8
YEAR_QUARTERS = 4
CAUTION = (
    "For quality improvement and documentation. Not a medical device, not medical advice, not an alarm "
    "system; the device’s instructions for use, local protocol and clinical judgement come first."
)
SHORT_CAUTION = "For quality improvement. Not medical advice, not an alarm system."


@dataclass(frozen=True)
class Material:
    """Everything a file of the quarter holds.

    ``quarters`` are reports of calendar quarters up to the report's own, oldest first; ``year`` is the
    report of the last four of them. Both are empty for a period that is no quarter, and for a report that
    was kept without its data. ``comparison`` is a forest of route contrasts. ``cases`` carry no identifier
    and are empty for those who see no single cases.
    """

    report: Report
    quarters: tuple[Report, ...] = ()
    year: Report | None = None
    comparison: Chart | None = None
    cases: tuple[Discussed, ...] = ()
    cases_shown: bool = False

    @property
    def header(self) -> Header:
        return self.report.header

    @property
    def cut(self) -> str:
        """The data cut on the clocks of the centre."""
        return f"{self.header.data_cut.astimezone(ZoneInfo(self.header.time_zone)):%d-%b-%Y %H:%M}"

    @cached_property
    def sections(self) -> tuple[Section, ...]:
        """The sections of the page."""
        return sections(self.report)

    @cached_property
    def trends(self) -> tuple[Chart, ...]:
        """Charts over the quarters; none with fewer than two of them."""
        return trends(self.quarters) if len(self.quarters) > 1 else ()

    @cached_property
    def charts(self) -> dict[str, Chart]:
        """Every chart by its id, those of the page first."""
        on_page = [part for section in self.sections for part in section.parts if isinstance(part, Chart)]
        beside = [*self.trends, *([self.comparison] if self.comparison else [])]
        return {chart.id: chart for chart in [*on_page, *beside]}

    @cached_property
    def tables(self) -> dict[str, Table]:
        """Every table of the page by its id."""
        found = [part for section in self.sections for part in section.parts if isinstance(part, Table)]
        return {table.id: table for table in found}

    @cached_property
    def figures(self) -> dict[str, Figure]:
        return {figure.key: figure for figure in self.report.figures}


def gather(*, dataset: Dataset, period: Period, as_of: datetime | None = None, cases: bool) -> Material:
    """Compute all that the files of a period hold, from one dataset. ``cases``: may single cases be shown?"""
    report = build_report(dataset=dataset, period=period, as_of=as_of)
    quarters = tuple(
        report
        if before == period
        else build_report(dataset=dataset, period=before, as_of=as_of, level=report.header.level)
        for before in _quarters_up_to(period, dataset)
    )
    year = _year(dataset, period, as_of) if quarters else None
    return Material(
        report=report,
        quarters=_since_the_first_course(quarters),
        year=year,
        comparison=complication_ratios(year or report),
        cases=discussed(report) if cases else (),
        cases_shown=cases,
    )


def _quarters_up_to(period: Period, dataset: Dataset) -> tuple[Period, ...]:
    """The period and the quarters before it, oldest first; none if the period is no calendar quarter."""
    if not QUARTER.fullmatch(period.label):
        return ()
    found = [period]
    while len(found) < TREND_QUARTERS:
        found.append(Period.quarter_of((found[-1].start - timedelta(days=1)).date(), dataset.zone))
    return tuple(reversed(found))


def _since_the_first_course(quarters: tuple[Report, ...]) -> tuple[Report, ...]:
    """The quarters from the first one with anybody on support: the programme did not exist before."""
    for at, report in enumerate(quarters):
        if any(f.numerator for f in report.figures_of("volume.in_place", "ALL")):
            return quarters[at:]
    return ()


def _year(dataset: Dataset, period: Period, as_of: datetime | None) -> Report:
    first = _quarters_up_to(period, dataset)[-YEAR_QUARTERS]
    year = Period.parse(f"{first.label}{RANGE_MARK}{period.label}", dataset.zone)
    return build_report(dataset=dataset, period=year, as_of=as_of)
