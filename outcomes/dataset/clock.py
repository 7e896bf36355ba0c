"""Moments as whole minutes since the start of 1970 in UTC, and the calendar days of a time zone."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

import numpy as np

from outcomes.estimators.arrays import Ints

MINUTES_PER_DAY = 1440
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
# PostgreSQL counts microseconds, and days, from the start of 2000.
POSTGRES_EPOCH_DAYS = 10_957
MICROSECONDS_PER_MINUTE = 60_000_000
# What PostgreSQL's "infinity" and "-infinity" become, and all beyond (in the year 3871): minutes take 32 bits
# each, in which the difference of any two between these still has room.
NEVER = 1_000_000_000
ALWAYS = -NEVER


def minute_of(moment: datetime) -> int:
    """Whole minutes from the start of 1970 to an aware moment."""
    return int((moment - EPOCH) // timedelta(minutes=1))


def moment_of(minute: int) -> datetime:
    """The moment in UTC at which a minute starts."""
    return EPOCH + timedelta(minutes=int(minute))


def minutes_from_postgres(microseconds: Ints) -> Ints:
    """Minutes since 1970 from microseconds since 2000, from ALWAYS to NEVER; seconds are dropped."""
    minutes = microseconds // MICROSECONDS_PER_MINUTE + POSTGRES_EPOCH_DAYS * MINUTES_PER_DAY
    return np.clip(minutes, ALWAYS, NEVER)


def local_days(minutes: Ints, zone: ZoneInfo) -> Ints:
    """Calendar day in the zone, as days since 1970-01-01, of each minute; not of NEVER."""
    if not minutes.size:
        return minutes.copy()
    first, last = (moment_of(minute).year for minute in (minutes.min(), minutes.max()))
    changes, offsets = _offsets(zone.key, first, last)
    return (minutes + offsets[np.searchsorted(changes, minutes, side="right") - 1]) // MINUTES_PER_DAY


@lru_cache(maxsize=64)
def _offsets(key: str, first_year: int, last_year: int) -> tuple[Ints, Ints]:
    """Minutes from which an offset to UTC holds, and that offset in minutes."""
    zone = ZoneInfo(key)
    start = minute_of(datetime(first_year, 1, 1, tzinfo=UTC)) - MINUTES_PER_DAY
    end = minute_of(datetime(last_year + 1, 1, 1, tzinfo=UTC)) + MINUTES_PER_DAY
    week = 7 * MINUTES_PER_DAY
    changes, offsets = [start], [_offset(start, zone)]
    for earlier in range(start, end, week):
        if _offset(earlier + week, zone) != offsets[-1]:
            changes.append(_change_between(earlier, earlier + week, zone))
            offsets.append(_offset(earlier + week, zone))
    return np.array(changes), np.array(offsets)


def _change_between(low: int, high: int, zone: ZoneInfo) -> int:
    """First minute with the offset of ``high``, between two minutes with different offsets."""
    before = _offset(low, zone)
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if _offset(middle, zone) == before else (low, middle)
    return high


def _offset(minute: int, zone: ZoneInfo) -> int:
    offset = moment_of(minute).astimezone(zone).utcoffset()
    return 0 if offset is None else int(offset // timedelta(minutes=1))
