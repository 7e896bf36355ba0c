"""The time a course covers."""

from __future__ import annotations

from datetime import datetime

from registry.models import Course


def span(course: Course) -> tuple[datetime | None, datetime | None]:
    """First insertion and last removal; the second is None while anything is in place."""
    runs = list(course.runs.all())
    ends = [run.removed_at for run in runs]
    last = None if not ends or None in ends else max(end for end in ends if end)
    return min((run.inserted_at for run in runs), default=None), last
