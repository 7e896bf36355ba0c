"""What an export is made of: the report of a period, and what a presentation sets beside it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from functools import cached_property
from zoneinfo import ZoneInfo

from outcomes.committee import for_committee
from outcomes.comparison.cuts import last_quarter_end
from outcomes.comparison.page import sections as comparison_page
from outcomes.comparison.page.section import Section as ComparedSection
from outcomes.comparison.reading import Facts, load
from outcomes.comparison.value import Comparison
from outcomes.dataset import Dataset
from outcomes.exports.discussion import Discussed, discussed
from outcomes.exports.seal import Origin, Seal
from outcomes.figures import Chart
from outcomes.measures.values import Figure
from outcomes.period import QUARTER, Period
from outcomes.quarter import Section, Table, sections
from outcomes.report import Header, Report, build_report
from outcomes.routes import compared_routes, routes_forest
from outcomes.trends import quarters_until, trends
from registry.models import Centre

CAUTION = (
    "For quality improvement and documentation. Not a medical device, not medical advice, not an alarm "
    "system; the device’s instructions for use, local protocol and clinical judgement come first."
)
SHORT_CAUTION = "For quality improvement. Not medical advice, not an alarm system."
COMPARED = ("who", "alike", "crude", "adjusted", "time", "sensitivity", "naive", "over-time")


@dataclass(frozen=True)
class Material:
    """Everything a file of the quarter holds.

    ``quarters`` are reports of calendar quarters up to the report's own, oldest first; empty for a period
    that is no quarter, and for a report that was kept and cannot be computed again. ``compared`` is one route
    against the other over the whole logbook, for those who see no cases until the end of the last quarter.
    ``cases`` carry no identifier and are empty for those who see no single cases. ``smallest_cell`` is the
    smallest count shown, for those who see no cases. ``seal`` marks an issued report.
    """

    report: Report
    quarters: tuple[Report, ...] = ()
    compared: Comparison | None = None
    cases: tuple[Discussed, ...] = ()
    cases_shown: bool = False
    smallest_cell: int | None = None
    seal: Seal | None = None

    @property
    def header(self) -> Header:
        return self.report.header

    @property
    def cut(self) -> str:
        """The data cut on the clocks of the centre."""
        return self.clock(self.header.data_cut)

    def clock(self, moment: datetime) -> str:
        """A moment on the clocks of the centre."""
        return f"{moment.astimezone(ZoneInfo(self.header.time_zone)):%d-%b-%Y %H:%M}"

    @property
    def compared_until(self) -> str:
        """The last day of what is compared."""
        return self.clock(self.compared.data_cut).partition(" ")[0] if self.compared else ""

    @cached_property
    def origin(self) -> Origin:
        """What of an issued report was kept, computed again, or is missing; empty without a seal."""
        if self.seal is None:
            return ()
        beside = (
            ("the quarters before", bool(self.trends), QUARTER.fullmatch(self.header.period) is not None),
            ("the comparison of the routes", self.compared is not None, True),
            ("the cases for discussion", self.cases_shown, self.smallest_cell is None),
        )
        return self.seal.origin(
            self.header.period,
            present=[name for name, here, _ in beside if here],
            absent=[name for name, here, expected in beside if expected and not here],
        )

    def sealed(self, kept: Report, seal: Seal) -> Material:
        """With the report that was kept in the place of the same one computed again."""
        quarters = (*self.quarters[:-1], kept) if self.quarters else ()
        return replace(self, report=kept, quarters=quarters, seal=seal)

    @cached_property
    def sections(self) -> tuple[Section, ...]:
        """The sections of the page."""
        return sections(self.report, quality_first=self.smallest_cell is not None)

    @cached_property
    def trends(self) -> tuple[Chart, ...]:
        """Charts over the quarters."""
        return trends(self.quarters)

    @cached_property
    def forest(self) -> Chart | None:
        """Crude and adjusted differences between the routes."""
        return routes_forest(self.compared) if self.compared else None

    @cached_property
    def compared_sections(self) -> tuple[ComparedSection, ...]:
        """The sections of the comparison, as on its page."""
        if self.compared is None:
            return ()
        return tuple(comparison_page.section(self.compared, id) for id in COMPARED)

    @cached_property
    def charts(self) -> dict[str, Chart]:
        """Every chart of the quarter by its id, those of the page first."""
        on_page = [part for section in self.sections for part in section.parts if isinstance(part, Chart)]
        beside = [*self.trends, *([self.forest] if self.forest else [])]
        return {chart.id: chart for chart in [*on_page, *beside]}

    @cached_property
    def tables(self) -> dict[str, Table]:
        """Every table of the page by its id."""
        found = [part for section in self.sections for part in section.parts if isinstance(part, Table)]
        return {table.id: table for table in found}

    @cached_property
    def figures(self) -> dict[str, Figure]:
        return {figure.key: figure for figure in self.report.figures}


def gather(
    *,
    dataset: Dataset,
    facts: Facts,
    period: Period,
    as_of: datetime | None = None,
    smallest_cell: int | None = None,
) -> Material:
    """Compute all that the files of a period hold, from one dataset and the facts beside it.

    With ``smallest_cell`` as the quality committee sees it: smaller counts hidden, no single cases, routes
    compared until the end of the last quarter.
    """

    def seen(report: Report) -> Report:
        return report if smallest_cell is None else for_committee(report, threshold=smallest_cell)

    whole = build_report(dataset=dataset, period=period, as_of=as_of)
    report = seen(whole)
    sees_cases = smallest_cell is None
    to_compare = (dataset, facts) if sees_cases else _until_last_quarter(dataset, facts)
    return Material(
        report=report,
        quarters=quarters_until(report, period, dataset, seen=seen),
        compared=compared_routes(*to_compare, threshold=smallest_cell),
        cases=discussed(whole) if sees_cases else (),
        cases_shown=sees_cases,
        smallest_cell=smallest_cell,
    )


def _until_last_quarter(dataset: Dataset, facts: Facts) -> tuple[Dataset, Facts]:
    """The same centres as the committee's page compares them, so that two days tell nobody's outcome."""
    centres = list(Centre.objects.filter(pk__in=facts.centres))
    return load(centres=centres, as_of=dataset.as_of, cut_at=last_quarter_end(dataset.cut_at, dataset.zone))
