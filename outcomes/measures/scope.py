"""Who and what belongs to a report: the selections that several measures share, each worked out once."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from outcomes.dataset import Dataset, codes
from outcomes.dataset.clock import ALWAYS, MINUTES_PER_DAY, NEVER, local_days, minute_of
from outcomes.dataset.deriving import AFTER_REMOVAL_MINUTES
from outcomes.estimators.arrays import Flags, Floats, Ints
from outcomes.measures.values import ALL_ROUTES
from outcomes.period import Period
from registry.choices import Outcome, RouteGroup

DEATH_OUTCOME = codes.OUTCOMES.index(Outcome.DIED)

ROUTE_LABELS = {**{route.value: str(route.label) for route in codes.ROUTES}, ALL_ROUTES: "All routes"}


@dataclass(frozen=True, eq=False)
class Scope:
    """A dataset seen through a period, at a confidence level."""

    dataset: Dataset
    period: Period
    level: float

    @cached_property
    def start(self) -> int:
        """First minute of the period."""
        return min(max(minute_of(self.period.start), ALWAYS), NEVER)

    @cached_property
    def stop(self) -> int:
        """Minute after the last one that is both in the period and known at the data cut."""
        return min(minute_of(self.period.end), self.dataset.cut + 1)

    def holds(self, minutes: Ints) -> Flags:
        """Which moments lie in the period."""
        return (minutes >= self.start) & (minutes < self.stop)

    def holds_days(self, days: Ints) -> Flags:
        """Which calendar days lie in the period."""
        first, last = local_days(np.array([self.start, max(self.stop - 1, self.start)]), self.dataset.zone)
        return (days >= first) & (days <= last)

    # Courses

    @cached_property
    def begun(self) -> Flags:
        """Courses whose first device was inserted in the period."""
        return self.holds(self.dataset.courses.began)

    @cached_property
    def analysed(self) -> Flags:
        """Courses begun in the period that are followed: begun with a balloon pump, seen here, in order."""
        return self.begun & ~(self.begun_otherwise | self.never_seen | self.out_of_order)

    @cached_property
    def begun_otherwise(self) -> Flags:
        """Begun in the period, with another device than a balloon pump."""
        return self.begun & (self.dataset.courses.device != codes.BALLOON_PUMP)

    @cached_property
    def never_seen(self) -> Flags:
        """Begun in the period, but over before the patient arrived here."""
        courses = self.dataset.courses
        over = np.minimum(courses.ended, courses.outcome_at)
        return self.begun & ~self.begun_otherwise & (courses.observed_from > over)

    @cached_property
    def out_of_order(self) -> Flags:
        """Begun in the period, with an outcome before the first insertion."""
        courses = self.dataset.courses
        return self.begun & ~self.begun_otherwise & (courses.outcome_at < courses.began)

    # Runs

    @cached_property
    def begun_pumps(self) -> Flags:
        """Balloon pump runs inserted in the period that were seen here."""
        runs = self.dataset.runs
        return self.holds(runs.inserted) & runs.is_pump & runs.observed

    @cached_property
    def window_end(self) -> Ints:
        """Until when an event is put down to each run: 24 h after its end, death on support, or the cut."""
        runs, courses = self.dataset.runs, self.dataset.courses
        died = np.where(courses.outcome == DEATH_OUTCOME, courses.outcome_at, NEVER)[runs.course]
        day_after = np.minimum(runs.ended + AFTER_REMOVAL_MINUTES, np.maximum(died, runs.ended))
        return np.minimum(day_after, self.dataset.cut)

    @cached_property
    def at_risk(self) -> Flags:
        """Balloon pump runs with some part of their window in the period."""
        runs = self.dataset.runs
        overlaps = (runs.observed_from < self.stop) & (self.window_end >= self.start)
        return runs.is_pump & runs.observed & overlaps

    @cached_property
    def device_days(self) -> Floats:
        """Elapsed days in place under observation within the period, one per run; 0 for other devices."""
        runs = self.dataset.runs
        last = min(self.stop, self.dataset.cut)
        minutes = np.minimum(runs.ended, last) - np.maximum(runs.observed_from, self.start)
        return np.where(runs.is_pump, np.maximum(minutes, 0), 0) / MINUTES_PER_DAY

    # Events

    @cached_property
    def standing(self) -> Flags:
        """Events with onset in the period that review has not refuted."""
        return self.holds(self.dataset.events.onset) & ~self.dataset.events.refuted

    @cached_property
    def attributed(self) -> Flags:
        """Standing events within the window of the balloon pump run they are put down to."""
        return self.standing & self._on_a_pump & self._in_window

    @cached_property
    def late(self) -> Flags:
        """Standing events more than 24 h after the removal of their run, or of the last device of the
        course.
        """
        events, runs = self.dataset.events, self.dataset.runs
        after_run = (events.run >= 0) & (events.onset > np.append(self.window_end, 0)[events.run])
        after_all = (events.run < 0) & (events.onset > self.dataset.courses.ended[events.course])
        pump = np.append(runs.is_pump, True)[events.run]
        return self.standing & pump & (after_run | after_all)

    @cached_property
    def unplaced(self) -> Flags:
        """Standing events before insertion, before arrival, or in a gap between devices."""
        elsewhere = self.standing & ~self.attributed & ~self.late
        return elsewhere & ~self._on_another_device

    @cached_property
    def on_other_devices(self) -> Flags:
        """Standing events put down to another device than a balloon pump."""
        return self.standing & self._on_another_device

    @cached_property
    def _on_a_pump(self) -> Flags:
        return np.append(self.dataset.runs.is_pump, False)[self.dataset.events.run]

    @cached_property
    def _on_another_device(self) -> Flags:
        return np.append(~self.dataset.runs.is_pump, False)[self.dataset.events.run]

    @cached_property
    def _in_window(self) -> Flags:
        events, runs = self.dataset.events, self.dataset.runs
        start = np.append(runs.observed_from, 0)[events.run]
        end = np.append(self.window_end, 0)[events.run]
        return (events.run >= 0) & (start <= events.onset) & (events.onset <= end)

    @cached_property
    def event_route(self) -> Ints:
        """Route of the run each event is put down to; -1 for none."""
        return np.append(self.dataset.runs.route, codes.UNRECORDED)[self.dataset.events.run]

    # Routes

    @cached_property
    def groups(self) -> tuple[str, ...]:
        """Axillary and femoral always, other routes where there are any, then all together."""
        others = self.dataset.runs.route[self.at_risk | self.begun_pumps] == codes.ROUTES.index(
            RouteGroup.OTHER
        )
        shown = [route.value for route in codes.ROUTES if route != RouteGroup.OTHER or others.any()]
        return (*shown, ALL_ROUTES)

    def by_group(self, rows: Flags, route: Ints) -> Iterator[tuple[str, Flags]]:
        """Each route group with those of the rows that belong to it."""
        for group in self.groups:
            yield group, rows & of_route(route, group)


def of_route(route: Ints, group: str) -> Flags:
    """Which rows belong to a route group; all of them for ALL."""
    if group == ALL_ROUTES:
        return np.ones(route.shape, dtype=np.bool_)
    return np.asarray(route == codes.ROUTES.index(RouteGroup(group)))
