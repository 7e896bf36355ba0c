"""Who is on support on a day, and what is known of each: the lines of the round."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any

from django.db.models import Prefetch
from django.utils import timezone

from registry.models import Centre, Course, DailyCheck, ListingSpell, Run

DAY = timedelta(days=1)


@dataclass(frozen=True)
class Line:
    """One patient on one day: ``run`` is the device whose row is asked for."""

    course: Course
    run: Run
    day: date
    day_no: int
    check: DailyCheck | None
    film: DailyCheck | None
    mobility: tuple[str, date] | None
    listing: ListingSpell | None
    listing_due: bool

    @property
    def place(self) -> str:
        """Where a draft of this row is kept."""
        return f"round:{self.day.isoformat()}:{self.run.public_id}"


def shown_days(span: timedelta) -> str:
    """Elapsed time as people say it: hours below two days, else days to one decimal."""
    return f"{span / timedelta(hours=1):.0f} h" if span < 2 * DAY else f"{span / DAY:.1f} d"


def _whole_day(day: date, centre: Centre) -> tuple[datetime, datetime]:
    start = datetime.combine(day, time(0), centre.zone)
    return start, datetime.combine(day + DAY, time(0), centre.zone)


def lines(centre: Centre, day: date) -> list[Line]:
    """One line for every course with a device in place on ``day``, the longest on support first."""
    start, end = _whole_day(day, centre)
    in_place = Run.objects.filter(course__centre=centre, inserted_at__lt=end).exclude(removed_at__lte=start)
    if day == timezone.localdate():
        in_place = in_place.filter(removed_at__isnull=True, course__outcome__isnull=True)
    courses = (
        Course.objects.filter(runs__in=in_place)
        .distinct()
        .select_related("patient", "centre")
        .prefetch_related(
            Prefetch("runs", Run.objects.order_by("run_no").prefetch_related("checks")),
            "mobilisations",
            "listing_spells",
        )
    )
    found = [_line(course, day, start, end) for course in courses]
    return sorted(found, key=lambda line: line.course.first_inserted_at or start)


def _line(course: Course, day: date, start: datetime, end: datetime) -> Line:
    runs = [
        run for run in course.run_list
        if run.inserted_at < end and (run.removed_at is None or run.removed_at > start)
    ]  # fmt: skip
    pumps = [run for run in runs if run.is_balloon_pump]
    run = (pumps or runs)[-1]
    run.course = course  # one object: templates ask it for the patient
    first = timezone.localtime(course.first_inserted_at or start).date()
    checks = [c for r in course.run_list for c in r.checks.all() if c.checked_on <= day]
    listing = next((s for s in reversed(course.listing_spells.all()) if s.began_on <= day), None)
    return Line(
        course=course,
        run=run,
        day=day,
        day_no=(day - first).days,
        check=next((c for c in run.checks.all() if c.checked_on == day), None),
        film=max((c for c in checks if c.film_verdict), key=lambda c: c.checked_on, default=None),
        mobility=_last_mobility(course, checks, end),
        listing=listing,
        listing_due=_listing_due(course.centre, listing, day),
    )


def _last_mobility(course: Course, checks: list[DailyCheck], end: datetime) -> tuple[str, date] | None:
    """The last level known, from the daily rows and the sessions; of one day the higher."""
    levels: list[Any] = [
        (c.checked_on, c.mobility_best, c.get_mobility_best_display())
        for c in checks
        if c.mobility_best is not None
    ]
    levels += [
        (timezone.localtime(session.started_at).date(), session.level, session.get_level_display())
        for session in course.mobilisations.all()
        if session.started_at < end
    ]
    if not levels:
        return None
    day, _, words = max(levels)
    return words, day


def _listing_due(centre: Centre, spell: ListingSpell | None, day: date) -> bool:
    """Whether the reminder before the tier expires has come. Nothing is said about eligibility."""
    if spell is None or spell.expires_on is None or not centre.listing_reminder_days:
        return False
    return spell.expires_on - day <= centre.listing_reminder_days * DAY
