"""Draws for the invented programme. Each case has its own stream, so that cases do not disturb each other."""

from __future__ import annotations

import math
import random
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime, time, timedelta
from decimal import Decimal
from typing import TypeVar
from zoneinfo import ZoneInfo

T = TypeVar("T")


class Chance(random.Random):
    """A seeded stream with the few draws that the stories need."""

    def yes(self, probability: float) -> bool:
        return self.random() < probability

    def pick(self, weights: Mapping[T, float]) -> T:
        """One key, by weight."""
        return self.choices(list(weights), list(weights.values()))[0]

    def among(self, values: Sequence[T]) -> T:
        return values[self.randrange(len(values))]

    def whole(self, mean: float, spread: float, low: int, high: int) -> int:
        """A bell-shaped whole number within limits."""
        return round(min(max(self.gauss(mean, spread), low), high))

    def happens(self, per_day: float, days: float) -> bool:
        """Whether something with a constant daily hazard happens within so many days."""
        return self.yes(1 - math.exp(-per_day * days))

    def between(self, start: datetime, end: datetime) -> datetime:
        """A whole minute after ``start`` and before ``end``; ``start`` plus a minute if there is no room."""
        minutes = int((end - start).total_seconds() // 60)
        return start + timedelta(minutes=self.randint(1, max(minutes - 1, 1)))

    def kept(self, value: T, lost: float = 0.04) -> T | None:
        """The value, or nothing where the chart lacks it."""
        return None if self.yes(lost) else value

    def bell(self, mean: float, spread: float, low: float, high: float) -> float:
        """A bell-shaped number within limits."""
        return min(max(self.gauss(mean, spread), low), high)

    def several(self, values: Iterable[T], probability: float) -> list[T]:
        return [value for value in values if self.yes(probability)]


def tenth(value: float) -> Decimal:
    """To one decimal, as instruments show it."""
    return Decimal(round(value * 10)) / 10


def at_clock(day: datetime, hour: int, minute: int, zone: ZoneInfo) -> datetime:
    """That clock time on the local day of ``day``, in UTC. Ask for no hour in which clocks change."""
    local = day.astimezone(zone).date()
    return datetime.combine(local, time(hour, minute), zone).astimezone(UTC)
