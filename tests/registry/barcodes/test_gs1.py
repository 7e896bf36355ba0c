"""GS1 labels: examples with their sources, check digits, dates, and the scanner that drops separators."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry.barcodes import AmbiguousLabel, UnreadableLabel, read_label
from registry.barcodes.gs1 import check_digit_fits

# GS1 General Specifications, check digit modulo 10; recomputed by hand.
VALID = ["09501101530003", "04150000021126", "08806388269617", "09521234543213", "04012345678901"]


@pytest.mark.parametrize("gtin", VALID)
def test_check_digits(gtin: str) -> None:
    assert check_digit_fits(gtin)
    assert read_label(f"01{gtin}").identifier == gtin


@pytest.mark.parametrize("gtin", VALID)
def test_a_changed_last_digit_is_noticed(gtin: str) -> None:
    for digit in set("0123456789") - {gtin[-1]}:
        with pytest.raises(UnreadableLabel, match="check digit"):
            read_label(f"01{gtin[:-1]}{digit}")


def test_printed_form() -> None:
    """Documentation example of a GS1-128 control library (actiprosoftware.com)."""
    label = read_label("(01)09521234543213(17)250101(10)ABC123")
    assert (label.identifier, label.expires_on, label.lot) == ("09521234543213", date(2025, 1, 1), "ABC123")


def test_spaces_of_the_printed_form_are_no_part_of_the_values() -> None:
    label = read_label("(01) 09521234543213 (17) 250101 (10) ABC123")
    assert (label.identifier, label.lot) == ("09521234543213", "ABC123")


def test_scanned_form_with_prefix() -> None:
    """Documentation example of a GS1 parser for Dart (pub.dev, gs1_barcode_parser)."""
    label = read_label("]C1010401234567890117150129" + "10ABC123\x1d")
    assert (label.identifier, label.expires_on, label.lot) == ("04012345678901", date(2015, 1, 29), "ABC123")


@pytest.mark.parametrize(
    ("digits", "day"),
    [("250200", date(2025, 2, 28)), ("240200", date(2024, 2, 29)), ("251200", date(2025, 12, 31))],
)
def test_day_zero_is_the_last_of_the_month(digits: str, day: date) -> None:
    """GS1 General Specifications, AI 17: DD = 00."""
    assert read_label(f"010415000002112617{digits}").expires_on == day


def test_production_date() -> None:
    label = read_label("010415000002112611240301" + "17290301")
    assert (label.made_on, label.expires_on) == (date(2024, 3, 1), date(2029, 3, 1))


def test_a_day_that_does_not_exist_is_refused() -> None:
    with pytest.raises(UnreadableLabel):
        read_label("0104150000021126" + "17250230")


def test_dropped_separators_are_asked_about() -> None:
    with pytest.raises(AmbiguousLabel) as question:
        read_label("0104150000021126" + "17250630" + "1012345ABC21LOT42X")
    assert {(label.lot, label.serial) for label in question.value.readings} == {
        ("12345ABC21LOT42X", ""),
        ("12345ABC", "LOT42X"),
    }


def test_one_separator_shows_that_the_scanner_sends_them() -> None:
    label = read_label("]d20104150000021126" + "10A21B10C\x1d" + "21S10X")
    assert (label.lot, label.serial) == ("A21B10C", "S10X")


def test_the_printed_form_needs_no_separators() -> None:
    assert read_label("(01)04150000021126(10)A21B(21)S10X").lot == "A21B"


def test_a_lot_cut_at_its_longest_is_not_taken_for_whole() -> None:
    with pytest.raises(UnreadableLabel):
        read_label("0104150000021126" + "10" + "A" * 20 + "21SER1")


def test_lot_and_serial_may_have_twenty_characters() -> None:
    """GS1 General Specifications, AI 10 and 21."""
    label = read_label(f"(01)04150000021126(10){'A' * 20}(21){'B' * 20}")
    assert (len(label.lot), len(label.serial)) == (20, 20)
    with pytest.raises(UnreadableLabel):
        read_label(f"(01)04150000021126(10){'A' * 21}")


def test_two_values_for_one_part_are_refused() -> None:
    with pytest.raises(UnreadableLabel, match="twice"):
        read_label("10LOT1\x1d10LOT2")


@given(
    gtin=st.sampled_from(VALID),
    lot=st.from_regex(r"[A-Za-z0-9./_-]{1,20}", fullmatch=True),
    serial=st.from_regex(r"[A-Za-z0-9./_-]{1,20}", fullmatch=True),
    day=st.dates(date(2000, 1, 1), date(2049, 12, 31)),
)
def test_what_was_written_is_read(gtin: str, lot: str, serial: str, day: date) -> None:
    """Letters keep their case and numbers their zeros."""
    label = read_label(f"]d201{gtin}17{day:%y%m%d}10{lot}\x1d21{serial}")
    assert (label.identifier, label.lot, label.serial, label.expires_on) == (gtin, lot, serial, day)
