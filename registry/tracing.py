"""Where devices went: in patients now, in patients before, and those that cannot be excluded.

Texts are compared as trimmed, upper-case copies. Nothing else is done to them: a leading zero or the letter O
is part of a lot number.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any

from django.db.models import F, Q
from django.db.models.functions import Trim, Upper
from django.utils import timezone

from registry.models import DeviceSearch, Run, User
from registry.models.base import label_of
from registry.models.run import RunQuerySet

CRITERIA = ("udi_di", "lot", "serial", "console_code")


@dataclass(frozen=True)
class DeviceSearchTerms:
    """The parts sought, by column, and the days between which devices of unknown lot are listed."""

    parts: dict[str, str]
    since: date
    until: date

    @property
    def words(self) -> str:
        """The parts as people read them."""
        return ", ".join(f"{label_of(Run, name)} {value.strip()}" for name, value in self.parts.items())


@dataclass(frozen=True)
class Found:
    """The runs found, the search that asked for them, and when."""

    terms: DeviceSearchTerms
    in_place: list[Run]
    past: list[Run]
    unknown: list[Run]
    noted: DeviceSearch


def trace(terms: DeviceSearchTerms, *, by: User) -> Found:
    """Find the runs and note who searched for what."""
    assert by.centre
    runs = _comparable(Run.objects.seen_by(by))
    matching = list(runs.filter(_equals(terms.parts)).order_by("-inserted_at"))
    unknown = list(
        runs.filter(_cannot_be_excluded(terms.parts), _used_between(terms.since, terms.until)).order_by(
            F("removed_at").desc(nulls_first=True), "-inserted_at"
        )
    )
    in_place = [run for run in matching if run.removed_at is None]
    past = [run for run in matching if run.removed_at is not None]
    noted = DeviceSearch.objects.create(
        centre=by.centre,
        searched_by=by,
        sought={**terms.parts, "since": terms.since.isoformat(), "until": terms.until.isoformat()},
        found={"in_place": len(in_place), "past": len(past), "unknown": len(unknown)},
    )
    return Found(terms, in_place, past, unknown, noted)


def _comparable(runs: RunQuerySet) -> RunQuerySet:
    """Runs with a copy of each device text to compare by, and with what the result shows."""
    copies: Any = {f"{name}_key": Upper(Trim(name)) for name in CRITERIA}
    return (
        runs.annotate(**copies)
        .select_related("course__patient", "course__outcome", "course__centre")
        .prefetch_related("events")
    )


def _equals(parts: dict[str, str]) -> Q:
    return Q(**{f"{name}_key": value.strip().upper() for name, value in parts.items()})


def _cannot_be_excluded(parts: dict[str, str]) -> Q:
    """Every known part agrees and at least one is not known."""
    agrees, lacking = Q(), Q()
    for name, value in parts.items():
        agrees &= Q(**{f"{name}_key": value.strip().upper()}) | Q(**{f"{name}_key": ""})
        lacking |= Q(**{f"{name}_key": ""})
    return agrees & lacking


def _used_between(since: date, until: date) -> Q:
    start = _midnight(since)
    end = _midnight(until + timedelta(days=1))
    return Q(inserted_at__lt=end) & (Q(removed_at__isnull=True) | Q(removed_at__gte=start))


def _midnight(day: date) -> datetime:
    return timezone.make_aware(datetime.combine(day, time.min))
