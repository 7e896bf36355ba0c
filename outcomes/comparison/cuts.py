"""Up to which quarter end each outcome's counts may be shown to the committee.

Counts stand still until enough has come in: those of an outcome are brought up to a quarter end only when
none of them differs from its last shown value by a small number. Whoever reads at any two moments then learns
of no small number of patients in between, and the count is shown as it stood rather than hidden. Late entries
and corrections change a count at once. What is protected so is what happened to patients. How many courses
began by a route is not: it says nothing of them.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from outcomes.comparison import endpoints
from outcomes.comparison.answers import Answers, placed_events
from outcomes.comparison.units import Programme, Units
from outcomes.dataset.clock import MINUTES_PER_DAY, NEVER, minute_of
from outcomes.estimators.arrays import Flags, Ints
from outcomes.period import Period


def last_quarter_end(now: datetime, zone: ZoneInfo) -> datetime:
    """The last minute of the quarter before the one that holds ``now``: the committee's data cut."""
    running = Period.quarter_of(now.astimezone(zone).date(), zone)
    return running.start - timedelta(minutes=1)


def quarter_ends(programme: Programme) -> Ints:
    """Minutes at which the quarters that the data cut has passed ended, from the first insertion on."""
    data = programme.dataset
    if not data.runs.size:
        return np.zeros(0, dtype=np.int64)
    first = datetime.fromtimestamp(int(data.runs.inserted.min()) * 60, data.zone)
    period, ends = Period.quarter_of(first.date(), data.zone), []
    while minute_of(period.end) <= data.cut + 1:
        ends.append(minute_of(period.end))
        period = Period.quarter_of(period.end.astimezone(data.zone).date(), data.zone)
    return np.array(ends, dtype=np.int64)


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


def quarter_before(end: int, zone: ZoneInfo) -> str:
    """Label of the quarter that holds the minute before an end."""
    moment = datetime.fromtimestamp((end - 1) * 60, zone)
    return Period.quarter_of(moment.date(), zone).label


def running_counts(moments: Ints, part: Ints, parts: int, ends: Ints) -> Ints:
    """Rows of each part whose moment lies before each end, shape (``parts``, ends)."""
    place = np.searchsorted(ends, moments, side="right")
    width = ends.size + 1
    counts = np.bincount(part * width + place, minlength=parts * width).reshape(parts, width)
    return np.cumsum(counts, axis=1)[:, :-1].astype(np.int64)


def shown_at(counts: Ints, threshold: int, offered: Flags | None = None) -> Flags:
    """Which quarter ends running counts, shape (counts, ends), are brought up to, among those ``offered``.

    All together or none: at each of them no count differs by a small number from zero, or from what it was at
    any of those before (from any, not the last alone, as those without an outcome may also become fewer).
    """
    shown = np.zeros(counts.shape[1], dtype=np.bool_)
    before = np.zeros((counts.shape[0], 1), dtype=np.int64)
    for k in range(shown.size) if offered is None else np.flatnonzero(offered).tolist():
        step = np.abs(counts[:, [k]] - before)
        if not ((step > 0) & (step < threshold)).any():
            shown[k], before = True, np.column_stack([before, counts[:, k]])
    return shown
