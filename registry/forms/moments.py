"""Days and moments as people type them: read forgivingly, never guessed, shown in one way.

A moment is kept to the minute. It is shown as ``04-Mar-2025 14:30`` whatever the browser or the server
prefers (four-digit year, month in letters: NHS Common User Interface, ISB 1502 and ISB 1503), and what is
shown can be typed back.

What is read: ``t 1430`` (today), ``y 0815`` (yesterday), ``t-2 08:00`` (two days ago), ``n`` (now),
``4 3 2025 1430`` and ``04.03.2025 14:30`` (day first), ``4 Mar 2025 2:30 pm``, ``04-Mar-2025 14:30``,
``2025-03-04T14:30`` with or without an offset. With slashes or hyphens the day is not guessed from the month.
"""

import re
import unicodedata
from datetime import UTC, date, datetime, time, timedelta, timezone, tzinfo
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone as django_timezone

MONTHS = (
    "January", "February", "March", "April", "May", "June",
    "July", "August", "September", "October", "November", "December",
)  # fmt: skip
FIRST_YEAR = 2000
LONGEST_TEXT = 60
NOT_UNDERSTOOD = (
    "This was not understood. Write a day as 04-Mar-2025, t (today) or y (yesterday), "
    "and a time as 14:30 or 1430."
)

_DASHES = dict.fromkeys(map(ord, "‐‑‒–—−"), "-")
_YEAR = r"(?P<year>\d{4}|\d{2})(?!\d)"
_DAY_FORMS = tuple(
    re.compile(form, re.ASCII)
    for form in (
        r"(?P<word>t|today)(?: ?- ?(?P<back>\d{1,3})(?!\d)|(?![a-z]))",
        r"(?P<word>y|yesterday)(?![a-z])",
        r"(?P<year>\d{4})(?P<sep>[-/.])(?P<month>\d{1,2})(?P=sep)(?P<day>\d{1,2})(?!\d)",
        rf"(?P<day>\d{{1,2}})(?:st|nd|rd|th)?[ ./-]*(?P<name>[a-z]{{3,9}})[ ./,-]*{_YEAR}",
        rf"(?P<name>[a-z]{{3,9}})[ .]*(?P<day>\d{{1,2}})(?:st|nd|rd|th)?,? {_YEAR}",
        rf"(?P<one>\d{{1,2}}) ?(?P<sep>[./-]| ) ?(?P<two>\d{{1,2}}) ?(?P=sep) ?{_YEAR}",
    )
)
_LINK = re.compile(r"(?:t(?=\d)|,? ?at |,)? ?")
_CLOCK = re.compile(
    r"(?:(?P<hour>\d{1,2}) ?[:.h] ?(?P<minute>\d{2})(?:[:.]\d{2}(?:[.,]\d{1,6})?)?"
    r"|(?P<digits>\d{3,4})|(?P<bare>\d{1,2})(?= ?[ap]\.?m))"
    r" ?(?:(?P<half>[ap])\.?m\.?|h)?"
    r" ?(?P<tail>first|second|z|utc|[+-]\d{2}(?::?\d{2})?)?",
    re.ASCII,
)


class UnreadableTimeError(ValueError):
    """A day or moment that was not understood; `code` for programs, the text for the person."""

    def __init__(self, code: str, text: str) -> None:
        super().__init__(text)
        self.code = code


def write_day(day: date) -> str:
    """The one way in which a day is shown: ``04-Mar-2025``."""
    return f"{day.day:02d}-{MONTHS[day.month - 1][:3]}-{day.year:04d}"


def write_moment(moment: datetime, zone: tzinfo) -> str:
    """An aware `moment` on the clock of `zone`; says which, where the hour came twice."""
    local = moment.astimezone(zone)
    words = f"{write_day(local)} {local:%H:%M}"
    if not _comes_twice(local):
        return words
    return f"{words} {'second' if local.fold else 'first'}"


def parse_day(text: str, *, today: date, days_ahead: int = 1) -> date:
    """Read a day without a time.

    `today` is the day at the centre; days from 2000 to `days_ahead` days after it are taken.
    Raises UnreadableTimeError with a sentence that says what to write instead.
    """
    words = _tidy(text)
    if words in ("n", "now"):
        return today
    day, rest = _split_day(words, today)
    if rest:
        raise UnreadableTimeError("time_not_asked", "Write the day only, without a time.")
    _check_range(day, today + timedelta(days=days_ahead))
    return day


def parse_moment(text: str, *, now: datetime, zone: tzinfo, days_ahead: int = 1) -> datetime:
    """Read a day with a time on the clock of `zone`, to the minute.

    `now` is aware. The answer is aware and in UTC, so that differences are true across a clock change.
    Moments from 2000 to `days_ahead` days after `now` are taken.
    Raises UnreadableTimeError with a sentence that says what to write instead.
    """
    words = _tidy(text)
    if words in ("n", "now"):
        return now.astimezone(UTC).replace(second=0, microsecond=0)
    latest = now + timedelta(days=days_ahead)
    day, rest = _split_day(words, now.astimezone(zone).date())
    _check_range(day, latest.astimezone(zone).date())
    clock, tail = _read_clock(rest, day)
    moment = _place(datetime.combine(day, clock), tail, zone)
    if moment > latest:
        raise _in_the_future(write_moment(moment, zone))
    return moment


def _tidy(text: str) -> str:
    """Lower case, plain digits, dashes and single spaces; invisible marks from pasted cells dropped."""
    if len(text) > LONGEST_TEXT:
        raise _unreadable()
    plain = unicodedata.normalize("NFKC", text).translate(_DASHES)
    plain = "".join(char for char in plain if unicodedata.category(char) != "Cf")
    words = " ".join(plain.split()).lower()
    if not words or any(unicodedata.category(char).startswith("C") for char in words):
        raise _unreadable()
    return words


def _unreadable() -> UnreadableTimeError:
    return UnreadableTimeError("unreadable", NOT_UNDERSTOOD)


def _in_the_future(shown: str) -> UnreadableTimeError:
    return UnreadableTimeError("out_of_range", f"{shown} lies in the future. Check the day and the year.")


def _split_day(words: str, today: date) -> tuple[date, str]:
    """The day at the front of `words`, and what follows it."""
    for form in _DAY_FORMS:
        if found := form.match(words):
            rest = words[found.end() :]
            return _read_day(found.groupdict(), today), rest[_link_length(rest) :]
    if _CLOCK.fullmatch(words):
        raise UnreadableTimeError("no_day", f"Put the day before the time, for example t {words} for today.")
    raise _unreadable()


def _link_length(rest: str) -> int:
    """How much of `rest` only joins the day to the time: a space, a comma, "at", the T of ISO 8601."""
    link = _LINK.match(rest)
    return link.end() if link else 0


def _read_day(parts: dict[str, str | None], today: date) -> date:
    if word := parts.get("word"):
        back = 1 if word.startswith("y") else int(parts.get("back") or 0)
        return today - timedelta(days=back)
    year = parts["year"] or ""
    if len(year) != 4:
        raise UnreadableTimeError("short_year", f"Write the year with four digits, not {year}.")
    day_number, month_number = _day_and_month(parts)
    return _calendar_day(int(year), month_number, day_number)


def _day_and_month(parts: dict[str, str | None]) -> tuple[int, int]:
    if name := parts.get("name"):
        return int(parts["day"] or 0), _month_number(name)
    if month := parts.get("month"):
        return int(parts["day"] or 0), int(month)
    one, two = int(parts["one"] or 0), int(parts["two"] or 0)
    if parts["sep"] in (".", " "):
        return one, two
    return _unordered(one, two, parts["year"] or "")


def _unordered(one: int, two: int, year: str) -> tuple[int, int]:
    """Day and month out of 14/3 or 3/14; refused where both readings exist and differ."""
    if one > 12 or one == two or 0 in (one, two):
        return one, two
    if two > 12:
        return two, one
    first, second = (f"{day} {MONTHS[month - 1]}" for day, month in ((one, two), (two, one)))
    raise UnreadableTimeError(
        "day_or_month", f"This can be {first} or {second} {year}. Write the month in letters."
    )


def _month_number(name: str) -> int:
    for number, month in enumerate(MONTHS, start=1):
        if month.lower().startswith(name):
            return number
    raise UnreadableTimeError("no_such_month", f"“{name}” is not a month. Write it as in 04-Mar-2025.")


def _calendar_day(year: int, month: int, day: int) -> date:
    try:
        return date(year, month, day)
    except ValueError:
        pass
    if not 1 <= month <= 12:
        text = f"There is no month {month}. Write the day first, or the month in letters."
    else:
        text = f"There is no day {day} in {MONTHS[month - 1]} {year}."
    raise UnreadableTimeError("no_such_day", text)


def _check_range(day: date, last_day: date) -> None:
    if day.year < FIRST_YEAR:
        raise UnreadableTimeError("out_of_range", f"{day.year} is before {FIRST_YEAR}. Check the year.")
    if day > last_day:
        raise _in_the_future(write_day(day))


def _read_clock(rest: str, day: date) -> tuple[time, str | None]:
    """The time of day, and the word or offset behind it that tells repeated hours apart."""
    if not rest:
        shown = write_day(day)
        raise UnreadableTimeError("no_time", f"Add the time of day, for example {shown} 14:30.")
    found = _CLOCK.fullmatch(rest)
    if not found:
        raise UnreadableTimeError("unreadable_time", "Write the time as 14:30, 1430 or 2:30 pm.")
    digits = found["digits"] or ""
    hour = int(found["hour"] or found["bare"] or digits[:-2])
    minute = int(found["minute"] or digits[-2:] or 0)
    return _time_of_day(hour, minute, found["half"]), found["tail"]


def _time_of_day(hour: int, minute: int, half: str | None) -> time:
    if (hour, minute) == (24, 0):
        raise UnreadableTimeError("no_such_time", "Midnight is 00:00 of the day that begins.")
    if minute > 59 or hour > 23 or (half and not 1 <= hour <= 12):
        shown = f"{hour}:{minute:02d}" + (f" {half}m" if half else "")
        raise UnreadableTimeError("no_such_time", f"There is no time {shown}.")
    if half:
        hour = hour % 12 + (12 if half == "p" else 0)
    return time(hour, minute)


def _place(local: datetime, tail: str | None, zone: tzinfo) -> datetime:
    """The moment, in UTC, at which the clocks of `zone` showed the naive time `local`."""
    if tail and tail not in ("first", "second"):
        return local.replace(tzinfo=_offset(tail)).astimezone(UTC)
    here = local.replace(tzinfo=zone)
    shown = f"{local:%H:%M}"
    if _was_skipped(here):
        raise UnreadableTimeError(
            "skipped_hour", f"The clocks went forward on {write_day(local)}: there was no {shown} that day."
        )
    if _comes_twice(here) and not tail:
        raise UnreadableTimeError("repeated_hour", _which_of_two(here))
    if tail and not _comes_twice(here):
        raise UnreadableTimeError("not_repeated", f"{shown} came once that day. Leave out “{tail}”.")
    return here.replace(fold=int(tail == "second")).astimezone(UTC)


def _offset(tail: str) -> timezone:
    if tail in ("z", "utc"):
        return UTC
    hours, minutes = int(tail[1:3]), int(tail[3:].lstrip(":") or 0)
    if hours > 14 or minutes > 59:
        raise UnreadableTimeError("no_such_offset", f"There is no clock with the offset {tail}.")
    size = timedelta(hours=hours, minutes=minutes)
    return timezone(-size if tail[0] == "-" else size)


def _offsets(local: datetime) -> tuple[timedelta, timedelta]:
    """Offsets from UTC if `local` is read before, and after, a change of the clocks."""
    before, after = (local.replace(fold=fold).utcoffset() or timedelta() for fold in (0, 1))
    return before, after


def _comes_twice(local: datetime) -> bool:
    before, after = _offsets(local)
    return before > after


def _was_skipped(local: datetime) -> bool:
    before, after = _offsets(local)
    return before < after


def _which_of_two(local: datetime) -> str:
    day, shown = write_day(local), f"{local:%H:%M}"
    return (
        f"The clocks went back on {day}: {shown} came twice. "
        f"Write “{day} {shown} first” (before the change) or “{day} {shown} second” (after it)."
    )


class MomentWidget(forms.TextInput):
    """One text box; the page reads the text back while it is typed, the server decides."""

    kind = "moment"

    def get_context(self, name: str, value: Any, attrs: dict[str, Any] | None) -> dict[str, Any]:
        """Add what the read-back needs to know: the kind of box and the clock of the centre."""
        hooks = {"data-time-kind": self.kind, "data-zone": django_timezone.get_current_timezone_name()}
        plain = {"autocomplete": "off", "autocapitalize": "off", "spellcheck": "false"}
        return super().get_context(name, value, {**plain, **hooks, **(attrs or {})})


class DayWidget(MomentWidget):
    """The same box for a day without a time."""

    kind = "day"


class _TypedTimeField(forms.Field):
    """What moments and days have in common: typed as text, shown in one way, compared by meaning."""

    read_back = True
    size = "medium"

    def __init__(self, *, days_ahead: int = 1, **kwargs: Any) -> None:
        self.days_ahead = days_ahead
        super().__init__(**kwargs)

    def widget_attrs(self, widget: forms.Widget) -> dict[str, Any]:
        return {**super().widget_attrs(widget), "data-days-ahead": self.days_ahead}

    def read(self, text: str) -> Any:
        """The value meant by `text`; raises UnreadableTimeError."""
        raise NotImplementedError

    def to_python(self, value: Any) -> Any:
        """None for an empty box, else the value that was meant."""
        if isinstance(value, date) or value in self.empty_values:
            return value or None
        if not str(value).strip():
            return None
        try:
            return self.read(str(value))
        except UnreadableTimeError as error:
            raise ValidationError(str(error), code=error.code) from error

    def bound_data(self, data: Any, initial: Any) -> Any:
        """What was meant, once it is understood: "n" must not move on when the page comes back."""
        try:
            return self.to_python(super().bound_data(data, initial))
        except ValidationError:
            return data

    def has_changed(self, initial: Any, data: Any) -> bool:
        """Compare what is shown, so that seconds in a stored value are no change."""
        if self.disabled:
            return False
        try:
            return bool(self.prepare_value(initial or "") != self.prepare_value(self.to_python(data) or ""))
        except ValidationError:
            return True


class MomentField(_TypedTimeField):
    """A day with its time, on the clock of the active time zone; the value is aware and in UTC."""

    widget = MomentWidget
    default_error_messages = {"required": "Write the day and the time."}

    def read(self, text: str) -> datetime:
        """See parse_moment."""
        zone = django_timezone.get_current_timezone()
        return parse_moment(text, now=django_timezone.now(), zone=zone, days_ahead=self.days_ahead)

    def prepare_value(self, value: Any) -> Any:
        """A stored moment as text; anything else as it came."""
        if isinstance(value, datetime) and value.tzinfo:
            return write_moment(value, django_timezone.get_current_timezone())
        return value


class DayField(_TypedTimeField):
    """A day without a time; the value is a date."""

    widget = DayWidget
    default_error_messages = {"required": "Write the day."}

    def read(self, text: str) -> date:
        """See parse_day."""
        return parse_day(text, today=django_timezone.localdate(), days_ahead=self.days_ahead)

    def prepare_value(self, value: Any) -> Any:
        """A stored day as text; anything else as it came."""
        return write_day(value) if isinstance(value, date) else value
