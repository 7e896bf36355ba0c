"""Sign, keep and check the report of a period."""

from __future__ import annotations

import hashlib
import json
import math
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db import connection

from outcomes.dataset import Dataset, load_dataset
from outcomes.issuing.fingerprint import fingerprint
from outcomes.period import Period
from outcomes.report import Report, build_report
from outcomes.report.serialise import as_json, from_plain
from registry.models import Centre, IssuedReport, User

ONE_MINUTE = timedelta(minutes=1)
SAME_DIGITS = 1e-9
# A row in the history carries the start of the transaction that wrote it, so history up to a moment is
# complete only when no transaction that began before it is still going on.
SETTLED = """
SELECT least(clock_timestamp(), min(xact_start)) - interval '1 microsecond'
FROM pg_stat_activity
WHERE datname = current_database() AND pid <> pg_backend_pid() AND xact_start IS NOT NULL
"""


@dataclass(frozen=True)
class Verdict:
    """Whether an issued report still is what was signed: its text, and the rows that history gives for it."""

    same_text: bool
    same_data: bool
    same_figures: bool

    @property
    def holds(self) -> bool:
        return self.same_text and self.same_data and self.same_figures


def settled_moment() -> datetime:
    """The latest moment up to which the history can no longer grow."""
    with connection.cursor() as cursor:
        cursor.execute(SETTLED)
        found: datetime = cursor.fetchone()[0]
    return found


def data_cut(as_of: datetime) -> datetime:
    """The last moment whose happenings a report as of ``as_of`` may hold.

    The dataset counts in whole minutes. The running one is not over, so what happens in its rest would look
    as if it had been known.
    """
    return as_of - ONE_MINUTE


def report_as_of(centre: Centre, period: Period, as_of: datetime) -> tuple[Dataset, Report]:
    """The rows that stood at a settled moment, and the report over them."""
    dataset = load_dataset(centres=[centre], as_of=as_of, cut_at=data_cut(as_of))
    return dataset, build_report(dataset=dataset, period=period, as_of=as_of)


def digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def issue(*, centre: Centre, period: Period, statement: str, as_of: datetime, by: User) -> IssuedReport:
    """Keep the report of a period as of a settled moment, signed by a person with a statement."""
    dataset, report = report_as_of(centre, period, as_of)
    text = as_json(report)
    return IssuedReport.objects.create(
        centre=centre,
        period=period.label,
        period_start=period.start,
        period_end=period.end,
        as_of=as_of,
        issued_by=by,
        signed_name=str(by),
        statement=statement,
        content=text,
        content_digest=digest(text),
        data_fingerprint=fingerprint(dataset),
        definitions_version=report.header.definitions_version,
        software_version=report.header.software_version,
    )


def issued_period(issued: IssuedReport) -> Period:
    """The period an issued report is about."""
    zone = issued.centre.zone
    return Period(issued.period_start.astimezone(zone), issued.period_end.astimezone(zone), issued.period)


def issue_number(issued: IssuedReport) -> int:
    """Which issue of its centre and period it is, the first being 1; issues are never removed."""
    same = IssuedReport.objects.filter(
        centre=issued.centre, period_start=issued.period_start, period_end=issued.period_end
    )
    return same.filter(pk__lte=issued.pk).count()


def reissue(issued: IssuedReport) -> Report:
    """The report computed again from the history, as of the moment it was issued for."""
    return report_as_of(issued.centre, issued_period(issued), issued.as_of)[1]


def kept_report(issued: IssuedReport) -> Report:
    """The report as it was kept; it opens to no cases."""
    return from_plain(json.loads(issued.content))


def same_figures(issued: IssuedReport, again: Report) -> bool:
    """Whether a report computed again says what was kept, by whichever version of the software.

    Numbers agree to nine digits: the last ones hang on the version of the numerical libraries.
    """
    kept, now = json.loads(issued.content), json.loads(as_json(again))
    for plain in (kept, now):
        del plain["header"]["software_version"]
    return _alike(kept, now)


def _alike(one: Any, other: Any) -> bool:
    """Two values of a JSON text."""
    if isinstance(one, float) and isinstance(other, float):
        return math.isclose(one, other, rel_tol=SAME_DIGITS, abs_tol=SAME_DIGITS)
    if isinstance(one, dict) and isinstance(other, dict):
        return one.keys() == other.keys() and all(_alike(one[name], other[name]) for name in one)
    if isinstance(one, list) and isinstance(other, list):
        return len(one) == len(other) and all(map(_alike, one, other))
    return bool(one == other)


def verify(issued: IssuedReport) -> Verdict:
    """Compare what was kept with its digest, with the history's rows, and with their figures."""
    dataset, again = report_as_of(issued.centre, issued_period(issued), issued.as_of)
    return Verdict(
        same_text=digest(issued.content) == issued.content_digest,
        same_data=fingerprint(dataset) == issued.data_fingerprint,
        same_figures=same_figures(issued, again),
    )
