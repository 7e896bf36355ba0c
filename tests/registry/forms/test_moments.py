import contextlib
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django import forms
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from registry.forms.moments import (
    DayField,
    MomentField,
    UnreadableTimeError,
    parse_day,
    parse_moment,
    write_day,
    write_moment,
)

BERLIN = ZoneInfo("Europe/Berlin")
CHICAGO = ZoneInfo("America/Chicago")
NOW = datetime(2026, 3, 10, 16, 20, 45, tzinfo=BERLIN)
TODAY = date(2026, 3, 10)


def in_berlin(*parts: int) -> datetime:
    return datetime(*parts, tzinfo=BERLIN).astimezone(UTC)  # type: ignore[arg-type,misc]


def read(text: str, zone: ZoneInfo = BERLIN) -> datetime:
    return parse_moment(text, now=NOW, zone=zone)


def refusal(text: str, zone: ZoneInfo = BERLIN) -> UnreadableTimeError:
    with pytest.raises(UnreadableTimeError) as caught:
        read(text, zone)
    return caught.value


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("t 1430", (2026, 3, 10, 14, 30)),
        ("t1430", (2026, 3, 10, 14, 30)),
        ("T 14:30", (2026, 3, 10, 14, 30)),
        ("today 830", (2026, 3, 10, 8, 30)),
        ("y 0815", (2026, 3, 9, 8, 15)),
        ("yesterday 8:15", (2026, 3, 9, 8, 15)),
        ("t-2 08:00", (2026, 3, 8, 8, 0)),
        ("t - 2 0800", (2026, 3, 8, 8, 0)),
        ("t-10 2359", (2026, 2, 28, 23, 59)),
        ("n", (2026, 3, 10, 16, 20)),
        ("now", (2026, 3, 10, 16, 20)),
        ("4 3 2025 1430", (2025, 3, 4, 14, 30)),
        ("04.03.2025 14:30", (2025, 3, 4, 14, 30)),
        ("4. 3. 2025 14.30", (2025, 3, 4, 14, 30)),
        ("2025-03-04T14:30", (2025, 3, 4, 14, 30)),
        ("2025-03-04 14:30:59.123456", (2025, 3, 4, 14, 30)),
        ("2025-03-04T14:30+01:00", (2025, 3, 4, 14, 30)),
        ("2025-03-04T13:30Z", (2025, 3, 4, 14, 30)),
        ("2025-03-04T08:30-0500", (2025, 3, 4, 14, 30)),
        ("2025/03/04 1430", (2025, 3, 4, 14, 30)),
        ("4 Mar 2025 2:30 pm", (2025, 3, 4, 14, 30)),
        ("4 mar 2025 2.30PM", (2025, 3, 4, 14, 30)),
        ("4mar2025 1430", (2025, 3, 4, 14, 30)),
        ("04-Mar-2025 14:30", (2025, 3, 4, 14, 30)),
        ("4th March 2025 at 14h30", (2025, 3, 4, 14, 30)),
        ("March 4, 2025, 2 p.m.", (2025, 3, 4, 14, 0)),
        ("1 Sept 2025 0000", (2025, 9, 1, 0, 0)),
        ("4 Mar 2025 12 am", (2025, 3, 4, 0, 0)),
        ("4 Mar 2025 12:05 pm", (2025, 3, 4, 12, 5)),
        ("29 2 2024 0700", (2024, 2, 29, 7, 0)),
        ("11 3 2026 1600", (2026, 3, 11, 16, 0)),
    ],
)
def test_a_moment_is_read(text: str, expected: tuple[int, ...]) -> None:
    assert read(text) == in_berlin(*expected)
    assert read(text).tzinfo is UTC


@pytest.mark.parametrize("text", ["14/3/2025 1430", "3/14/2025 1430", "14-03-2025 1430"])
def test_slashes_are_read_where_only_one_reading_exists(text: str) -> None:
    assert read(text) == in_berlin(2025, 3, 14, 14, 30)


def test_day_and_month_alike_need_no_letters() -> None:
    assert read("4/4/2025 1430") == in_berlin(2025, 4, 4, 14, 30)


@pytest.mark.parametrize("text", ["4/3/2025 1430", "04-03-2025 14:30"])
def test_day_is_never_guessed_from_month(text: str) -> None:
    error = refusal(text)
    assert error.code == "day_or_month"
    assert str(error) == "This can be 4 March or 3 April 2025. Write the month in letters."


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("", "unreadable"),
        ("soon", "unreadable"),
        ("tomorrow 1430", "unreadable"),
        ("04032025 1430", "unreadable"),
        ("4.3/2025 1430", "unreadable"),
        ("4 Mar 20251430", "unreadable"),
        ("4 Mar 2025 1430" + " " * 60, "unreadable"),
        ("4 Mar 2025\x00 1430", "unreadable"),
        ("\ud800", "unreadable"),
        ("1430", "no_day"),
        ("2:30 pm", "no_day"),
        ("4 Mar 2025", "no_time"),
        ("t", "no_time"),
        ("2025-03-04", "no_time"),
        ("04.03.25 14:30", "short_year"),
        ("4 Mar 25 1430", "short_year"),
        ("4 Foo 2025 1430", "no_such_month"),
        ("4 13 2025 1430", "no_such_day"),
        ("3.14.2025 1430", "no_such_day"),
        ("31.4.2025 1430", "no_such_day"),
        ("29 Feb 2025 1430", "no_such_day"),
        ("0/3/2025 1430", "no_such_day"),
        ("14/14/2025 1430", "no_such_day"),
        ("4 Mar 2025 14", "unreadable_time"),
        ("4 Mar 2025 14:3", "unreadable_time"),
        ("4 Mar 2025 14:30 15:30", "unreadable_time"),
        ("t-21430", "unreadable_time"),
        ("4 Mar 2025 2400", "no_such_time"),
        ("4 Mar 2025 24:30", "no_such_time"),
        ("4 Mar 2025 1460", "no_such_time"),
        ("4 Mar 2025 14:30 pm", "no_such_time"),
        ("4 Mar 2025 0:30 am", "no_such_time"),
        ("4 Mar 2025 14:30 +19:00", "no_such_offset"),
        ("4 Mar 2025 14:30 first", "not_repeated"),
        ("31 Dec 1999 1430", "out_of_range"),
        ("4 Mar 0000 1430", "no_such_day"),
        ("4 Mar 9999 1430", "out_of_range"),
        ("11 Mar 2026 1621", "out_of_range"),
        ("12 Mar 2026 0000", "out_of_range"),
    ],
)
def test_what_is_not_a_moment_is_refused(text: str, code: str) -> None:
    assert refusal(text).code == code


def test_refusals_say_what_to_write() -> None:
    assert str(refusal("4 3 2025")) == "Add the time of day, for example 04-Mar-2025 14:30."
    assert str(refusal("31.4.2025 14:30")) == "There is no day 31 in April 2025."
    assert str(refusal("4 Mar 2205 1430")) == "04-Mar-2205 lies in the future. Check the day and the year."
    assert "t 1430 for today" in str(refusal("1430"))


def test_marks_from_pasted_cells_do_no_harm() -> None:
    assert read("\u200e04‑Mar‑2025\u00a0１４:30\ufeff\t") == in_berlin(2025, 3, 4, 14, 30)


def test_more_days_ahead_on_request() -> None:
    moment = parse_moment("20 3 2026 0800", now=NOW, zone=BERLIN, days_ahead=14)
    assert moment == in_berlin(2026, 3, 20, 8, 0)


def test_today_is_the_day_at_the_centre() -> None:
    late_in_chicago = datetime(2026, 3, 11, 4, 30, tzinfo=UTC)
    moment = parse_moment("t 2200", now=late_in_chicago, zone=CHICAGO)
    assert moment == datetime(2026, 3, 11, 3, 0, tzinfo=UTC)


# Clock changes: Europe/Berlin 30-Mar-2025 and 26-Oct-2025 at 01:00 UTC; America/Chicago 09-Mar-2025 at
# 08:00 UTC and 02-Nov-2025 at 07:00 UTC (IANA time zone database).


@pytest.mark.parametrize(
    ("text", "zone"),
    [
        ("30 Mar 2025 0200", BERLIN),
        ("30 Mar 2025 02:59", BERLIN),
        ("9 Mar 2025 2:30 am", CHICAGO),
    ],
)
def test_a_skipped_hour_is_refused(text: str, zone: ZoneInfo) -> None:
    error = refusal(text, zone)
    assert error.code == "skipped_hour"
    assert "there was no" in str(error)


@pytest.mark.parametrize(
    ("day", "clock", "zone", "first"),
    [
        ("26-Oct-2025", "02:00", BERLIN, datetime(2025, 10, 26, 0, 0, tzinfo=UTC)),
        ("26-Oct-2025", "02:59", BERLIN, datetime(2025, 10, 26, 0, 59, tzinfo=UTC)),
        ("02-Nov-2025", "01:30", CHICAGO, datetime(2025, 11, 2, 6, 30, tzinfo=UTC)),
    ],
)
def test_a_repeated_hour_is_asked_about(day: str, clock: str, zone: ZoneInfo, first: datetime) -> None:
    error = refusal(f"{day} {clock}", zone)
    assert error.code == "repeated_hour"
    assert f"“{day} {clock} first”" in str(error)
    assert read(f"{day} {clock} first", zone) == first
    assert read(f"{day} {clock} second", zone) == first + timedelta(hours=1)


def test_an_offset_tells_the_repeated_hour_apart() -> None:
    assert read("26 Oct 2025 02:30 +02:00") == datetime(2025, 10, 26, 0, 30, tzinfo=UTC)
    assert read("2025-10-26T02:30+01") == datetime(2025, 10, 26, 1, 30, tzinfo=UTC)


@pytest.mark.parametrize(
    "text", ["30 Mar 2025 0159", "30 Mar 2025 0300", "26 Oct 2025 0159", "26 Oct 2025 0300"]
)
def test_hours_beside_a_clock_change_are_plain(text: str) -> None:
    assert write_moment(read(text), BERLIN)[12:] == f"{text[-4:-2]}:{text[-2:]}"


def test_a_day_with_a_clock_change_is_not_24_hours() -> None:
    assert read("30 Mar 2025 1200") - read("29 Mar 2025 1200") == timedelta(hours=23)
    assert read("26 Oct 2025 1200") - read("25 Oct 2025 1200") == timedelta(hours=25)


@given(
    st.integers(0, int((NOW - datetime(2000, 1, 2, tzinfo=UTC)).total_seconds() // 60)),
    st.sampled_from([BERLIN, CHICAGO, ZoneInfo("Asia/Kolkata"), ZoneInfo("Australia/Lord_Howe")]),
)
def test_what_is_shown_reads_back_to_the_same_moment(minutes: int, zone: ZoneInfo) -> None:
    moment = datetime(2000, 1, 2, tzinfo=UTC) + timedelta(minutes=minutes)
    assert read(write_moment(moment, zone), zone) == moment


@given(st.integers(0, 180))
def test_the_repeated_hour_reads_back_too(minutes: int) -> None:
    moment = datetime(2025, 10, 25, 23, 30, tzinfo=UTC) + timedelta(minutes=minutes)
    assert read(write_moment(moment, BERLIN)) == moment


@given(st.text(max_size=70) | st.text(alphabet="0123456789 ./-:tynapmMarhz+,\x00²", max_size=30))
def test_no_text_does_worse_than_a_refusal(text: str) -> None:
    with contextlib.suppress(UnreadableTimeError):
        read(text)
    with contextlib.suppress(UnreadableTimeError):
        parse_day(text, today=TODAY)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("t", TODAY),
        ("n", TODAY),
        ("y", date(2026, 3, 9)),
        ("t-2", date(2026, 3, 8)),
        ("4 3 2025", date(2025, 3, 4)),
        ("04-Mar-2025", date(2025, 3, 4)),
        ("2025-03-04", date(2025, 3, 4)),
        ("11 3 2026", date(2026, 3, 11)),
    ],
)
def test_a_day_is_read(text: str, expected: date) -> None:
    assert parse_day(text, today=TODAY) == expected


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("4 3 2025 1430", "time_not_asked"),
        ("4/3/2025", "day_or_month"),
        ("4 3 25", "short_year"),
        ("1430", "no_day"),
        ("12 3 2026", "out_of_range"),
        ("1 1 1999", "out_of_range"),
    ],
)
def test_what_is_not_a_day_is_refused(text: str, code: str) -> None:
    with pytest.raises(UnreadableTimeError) as caught:
        parse_day(text, today=TODAY)
    assert caught.value.code == code


@given(st.dates(date(2000, 1, 1), TODAY))
def test_a_shown_day_reads_back(day: date) -> None:
    assert parse_day(write_day(day), today=TODAY) == day


class RunForm(forms.Form):
    pump_on_at = MomentField()
    listed_until_on = DayField(required=False, days_ahead=400)


class TestFields:
    @pytest.fixture(autouse=True)
    def in_berlin(self) -> object:
        with timezone.override(BERLIN):
            yield

    def test_clean_gives_a_moment_and_a_day(self) -> None:
        form = RunForm({"pump_on_at": "4 3 2025 1430", "listed_until_on": "5 3 2025"})
        assert form.is_valid()
        assert form.cleaned_data["pump_on_at"] == datetime(2025, 3, 4, 13, 30, tzinfo=UTC)
        assert form.cleaned_data["listed_until_on"] == date(2025, 3, 5)

    def test_empty_boxes(self) -> None:
        form = RunForm({"pump_on_at": "  ", "listed_until_on": ""})
        assert form.errors == {"pump_on_at": ["Write the day and the time."]}
        assert form.cleaned_data["listed_until_on"] is None

    def test_the_refusal_is_the_field_error(self) -> None:
        form = RunForm({"pump_on_at": "4/3/2025 1430"})
        assert form.errors["pump_on_at"].as_data()[0].code == "day_or_month"
        assert 'value="4/3/2025 1430"' in str(form["pump_on_at"])

    def test_initial_values_are_shown_in_the_zone_of_the_centre(self) -> None:
        initial = {"pump_on_at": datetime(2025, 3, 4, 13, 30, 20, tzinfo=UTC), "listed_until_on": TODAY}
        form = RunForm(initial=initial)
        box = str(form["pump_on_at"])
        assert 'value="04-Mar-2025 14:30"' in box
        assert 'data-time-kind="moment"' in box
        assert 'data-zone="Europe/Berlin"' in box
        assert 'value="10-Mar-2026"' in str(form["listed_until_on"])
        assert 'data-days-ahead="400"' in str(form["listed_until_on"])

    def test_now_does_not_move_on_when_the_page_comes_back(self) -> None:
        form = RunForm({"pump_on_at": "n", "listed_until_on": "nonsense"})
        assert not form.is_valid()
        assert form["pump_on_at"].value() == write_moment(form.cleaned_data["pump_on_at"], BERLIN)
        assert form["listed_until_on"].value() == "nonsense"

    @pytest.mark.parametrize(
        ("text", "changed"),
        [
            ("04-Mar-2025 14:30", False),
            ("4 3 2025 1430", False),
            ("4 3 2025 1431", True),
            ("", True),
            ("soon", True),
        ],
    )
    def test_a_change_is_a_change_of_meaning(self, text: str, changed: bool) -> None:
        stored = datetime(2025, 3, 4, 13, 30, 20, tzinfo=UTC)
        assert MomentField().has_changed(stored, text) is changed

    def test_an_empty_day_is_unchanged(self) -> None:
        assert not DayField().has_changed(None, "")
        assert not DayField(disabled=True).has_changed(None, "t")
