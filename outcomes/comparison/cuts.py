"""Which counts of outcomes the committee could tell apart in time, from pages read a quarter apart.

The same page read at two quarter ends gives the outcomes that came in between; the page of the quarter beside
it gives all quarters but the hidden ones. Where that would be few, the count is hidden. What is protected so
is what happened to patients. How many courses began by a route is not: it says nothing of any of them.
"""

from __future__ import annotations

from datetime import timedelta

import numpy as np

from outcomes.comparison import endpoints
from outcomes.comparison.answers import Answers, placed_events
from outcomes.comparison.suppression import is_small
from outcomes.comparison.units import Programme, Units
from outcomes.dataset.clock import MINUTES_PER_DAY, NEVER, minute_of
from outcomes.estimators.arrays import Flags, Ints
from outcomes.period import Period


def quarter_ends(programme: Programme) -> Ints:
    """Minutes at which the quarters from the first insertion to the data cut end; the cut itself is last."""
    data = programme.dataset
    if not data.runs.size:
        return np.array([data.cut + 1])
    moment = data.cut_at - timedelta(minutes=int(data.cut - data.runs.inserted.min()))
    ends: list[int] = []
    while True:
        local = moment.astimezone(data.zone)
        period = Period.parse(f"{local.year}-Q{(local.month + 2) // 3}", data.zone)
        if minute_of(period.end) > data.cut:
            return np.array([*ends, data.cut + 1])
        ends.append(minute_of(period.end))
        moment = period.end


def hit_minutes(programme: Programme, units: Units, found: Answers) -> Ints:
    """Minute at which each row came to have the outcome; NEVER for a row without it."""
    endpoint = found.endpoint
    if endpoint.of_events:
        event, row, _ = placed_events(programme, units, endpoint)
        moment = np.full(units.size, NEVER)
        np.minimum.at(moment, row, programme.happened.onset[event])
    elif endpoint.family == "mobilisation":
        day = units.walk_day if endpoint.code == endpoints.WALKED else units.out_of_bed_day
        moment = units.started + np.minimum(day, endpoints.BY_DAY) * MINUTES_PER_DAY
    elif endpoint.code == endpoints.ESCALATED:
        moment = units.started + units.exit_minutes
    else:
        moment = programme.dataset.courses.outcome_at[units.course]
    return np.where(found.hit, moment, NEVER)


def told_apart(moments: Ints, ends: Ints, threshold: int) -> bool:
    """Whether a running count up to the last of ``ends`` differs from the last one shown by a small number.

    A count that differs so is not shown, and later ones are held against the one before it.
    """
    last, shown = 0, True
    for count in np.searchsorted(np.sort(moments), ends, side="left").tolist():
        shown = not is_small(count - last, threshold)
        last = count if shown else last
    return not shown


def one_small_quarter(moments: Ints, ends: Ints, threshold: int) -> bool:
    """Whether exactly one quarter holds few: its page hides them, and all others beside the sum tell them."""
    counts = np.diff(np.searchsorted(np.sort(moments), ends, side="left"), prepend=0)
    return sum(is_small(int(count), threshold) for count in counts) == 1


def untold(
    programme: Programme, units: Units, found: Answers, ends: Ints, arm: Flags, threshold: int
) -> bool:
    """Whether the whole count of an arm must stay hidden, for what is known of its quarters."""
    at = hit_minutes(programme, units, found)[arm & found.hit]
    begun = units.started[arm & found.hit]
    return told_apart(at, ends, threshold) or any(
        one_small_quarter(moments, ends, threshold) for moments in (at, begun)
    )
