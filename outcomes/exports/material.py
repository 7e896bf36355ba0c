"""What an export is made of: the report of a period, and what a presentation sets beside it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from zoneinfo import ZoneInfo

from outcomes.committee import for_committee
from outcomes.comparison.page import sections as comparison_page
from outcomes.comparison.page.section import Section as ComparedSection
from outcomes.comparison.reading import Facts
from outcomes.comparison.value import Comparison
from outcomes.dataset import Dataset
from outcomes.exports.discussion import Discussed, discussed
from outcomes.figures import Chart
from outcomes.measures.values import Figure
from outcomes.period import Period
from outcomes.quarter import Section, Table, sections
from outcomes.report import Header, Report, build_report
from outcomes.routes import compared_routes, routes_forest
from outcomes.trends import quarters_until, trends

CAUTION = (
    "For quality improvement and documentation. Not a medical device, not medical advice, not an alarm "
    "system; the device’s instructions for use, local protocol and clinical judgement come first."
)
SHORT_CAUTION = "For quality improvement. Not medical advice, not an alarm system."
COMPARED = ("who", "alike", "crude", "adjusted", "time", "sensitivity", "naive", "over-time")


@dataclass(frozen=True)
class Seal:
    """What marks the files of an issued report: which issue it is, who signed it, and its digests."""

    number: int
    signed_by: str
    issued_at: datetime
    statement: str
    fingerprint: str
    content_digest: str

    @property
    def line(self) -> str:
        """Short enough for the foot of a slide."""
        return f"Issue {self.number}, signed by {self.signed_by}, data {self.fingerprint[:12]}"


@dataclass(frozen=True)
class Material:
    """Everything a file of the quarter holds.

    ``quarters`` are reports of calendar quarters up to the report's own, oldest first; empty for a period
    that is no quarter, and for a report that was kept without its data. ``compared`` is one route against
    the other over the whole logbook. ``cases`` carry no identifier and are empty for those who see no single
    cases. ``smallest_cell`` is the smallest count shown, for those who see no cases. ``seal`` marks an issued
    report.
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

    With ``smallest_cell`` as the quality committee sees it: smaller counts hidden, no single cases.
    """

    def seen(report: Report) -> Report:
        return report if smallest_cell is None else for_committee(report, threshold=smallest_cell)

    whole = build_report(dataset=dataset, period=period, as_of=as_of)
    report = seen(whole)
    sees_cases = smallest_cell is None
    return Material(
        report=report,
        quarters=quarters_until(report, period, dataset, seen=seen),
        compared=compared_routes(dataset, facts, threshold=smallest_cell),
        cases=discussed(whole) if sees_cases else (),
        cases_shown=sees_cases,
        smallest_cell=smallest_cell,
    )
