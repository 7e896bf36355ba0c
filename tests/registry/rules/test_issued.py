"""The question about an entry that comes after its report, on the clocks of the centre."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

import pytest

from registry import rules
from registry.models import Candidate, Centre, Event, IssuedReport, Run, User
from tests import factories as make

pytestmark = pytest.mark.django_db


def issue(centre: Centre, user: User, *, as_of: datetime, start: datetime, end: datetime) -> IssuedReport:
    return IssuedReport.objects.create(
        centre=centre, period="2025-Q4", period_start=start, period_end=end, as_of=as_of, issued_by=user,
        signed_name="Ann Case", statement="read", content="{}", content_digest="0" * 64,
        data_fingerprint="0" * 64, definitions_version="1", software_version="1",
    )  # fmt: skip


def asked(record: Any) -> str:
    return next((p.text for p in rules.check(record) if p.code == "late_for_issued"), "")


def test_the_day_of_issue_is_that_of_the_centre(centre: Centre, run: Run, physician: User) -> None:
    """Signed half an hour into the fifth of January in Berlin, while it is the fourth in UTC."""
    Run.objects.update(inserted_at=datetime(2025, 11, 3, 10, tzinfo=UTC))
    issue(
        centre, physician, as_of=datetime(2026, 1, 4, 23, 30, tzinfo=UTC),
        start=datetime(2025, 9, 30, 22, tzinfo=UTC), end=datetime(2025, 12, 31, 23, tzinfo=UTC),
    )  # fmt: skip
    course = Run.objects.get(pk=run.pk).course
    event = Event(
        course=course, kind="OTHER", onset_at=datetime(2025, 11, 5, 10, tzinfo=UTC), severity="MINOR"
    )
    assert "was issued on 05-Jan-2026 without this" in asked(event)


@pytest.mark.parametrize(("day", "late"), [(date(2025, 9, 30), False), (date(2025, 10, 1), True)])
def test_a_day_begins_when_it_does_at_the_centre(day: date, late: bool, physician: User) -> None:
    """In Auckland the first of October begins at 11:00 UTC of the day before."""
    centre = make.create_centre(code="AK", time_zone="Pacific/Auckland")
    issue(
        centre, physician, as_of=datetime(2026, 1, 4, tzinfo=UTC),
        start=datetime(2025, 9, 30, 11, tzinfo=UTC), end=datetime(2025, 12, 31, 11, tzinfo=UTC),
    )  # fmt: skip
    assert bool(asked(Candidate(centre=centre, considered_on=day))) is late
