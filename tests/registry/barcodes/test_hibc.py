"""HIBC labels: check characters with their sources, every date format, joined and separate codes."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry.barcodes import UnreadableLabel, read_label
from registry.barcodes.hibc import CHARACTERS, check_character


def whole(text: str) -> str:
    return text + check_character(text)


def separate(text: str) -> str:
    """A secondary code on its own: with the link character of its primary code, then its check character."""
    return whole(text + "G")


@pytest.mark.parametrize(
    ("text", "character"),
    [
        ("+BLUEUNICORN7", "N"),  # example of the open-source UDI tool of PTW Freiburg; recomputed by hand
        ("+A123BJC5D6E71", "G"),  # from memory; recomputed by hand
    ],
)
def test_check_characters(text: str, character: str) -> None:
    assert check_character(text) == character
    assert read_label(text + character).identifier == text[1:]


def test_a_wrong_check_character_is_noticed() -> None:
    for character in set(CHARACTERS) - {"G"}:
        with pytest.raises(UnreadableLabel, match="check character"):
            read_label("+A123BJC5D6E71" + character)


def test_the_stars_of_the_printed_form_are_no_part_of_it() -> None:
    assert read_label("*+A123BJC5D6E71G*").identifier == "A123BJC5D6E71"


@pytest.mark.parametrize(
    ("secondary", "lot", "serial", "day"),
    [
        # Formats as listed in the BWIPP project's notes on HIBC data structures.
        ("$LOT7", "LOT7", "", None),
        ("$+SER7", "", "SER7", None),
        ("25001LOT7", "LOT7", "", date(2025, 1, 1)),
        ("$$0230LOT7", "LOT7", "", date(2030, 2, 28)),  # month and year: the last day (project convention)
        ("$$1228LOT7", "LOT7", "", date(2028, 12, 31)),
        ("$$2123125LOT7", "LOT7", "", date(2025, 12, 31)),
        ("$$3251231LOT7", "LOT7", "", date(2025, 12, 31)),
        ("$$425123123LOT7", "LOT7", "", date(2025, 12, 31)),
        ("$$525365LOT7", "LOT7", "", date(2025, 12, 31)),
        ("$$62536523LOT7", "LOT7", "", date(2025, 12, 31)),
        ("$$7LOT7", "LOT7", "", None),
        ("$$8243251231LOT7", "LOT7", "", date(2025, 12, 31)),
        ("$$9000247LOT7", "LOT7", "", None),
        ("$$+3251231007", "", "007", date(2025, 12, 31)),
        ("$$+7007", "", "007", None),
    ],
)
def test_secondary_codes(secondary: str, lot: str, serial: str, day: date | None) -> None:
    alone = read_label(separate(f"+{secondary}"))
    joined = read_label(whole(f"+A123BJC5D6E71/{secondary}"))
    assert (alone.lot, alone.serial, alone.expires_on, alone.identifier) == (lot, serial, day, "")
    assert (joined.lot, joined.serial, joined.expires_on) == (lot, serial, day)
    assert joined.identifier == "A123BJC5D6E71"


def test_further_parts() -> None:
    label = read_label(whole("+A123BJC5D6E71/$LOT7/S0012/14D20270131/16D20240101/Q1"))
    assert (label.lot, label.serial) == ("LOT7", "0012")
    assert (label.expires_on, label.made_on) == (date(2027, 1, 31), date(2024, 1, 1))


@pytest.mark.parametrize(
    "text",
    [
        "+1BCD1231", "+AB", "+$$2133125LOT", "+$$1325LOT", "+25366LOT", "+25000LOT", "+$$325", "+$$8X",
        "+$" + "A" * 21, "+A123BJC5D6E71/?", "+A123BJC5D6E71/ZZ",
    ],
)  # fmt: skip
def test_what_is_not_by_the_standard_is_refused(text: str) -> None:
    try:
        code = separate(text) if text[1] in "$0123456789" else whole(text)
    except ValueError:
        code = text
    with pytest.raises(UnreadableLabel):
        read_label(code)


def test_a_space_can_be_the_check_character() -> None:
    text = next(t for n in range(999) if check_character(t := f"+A123{n:03d}1") == " ")
    assert read_label(f"{text} \r").identifier == text[1:]
    with pytest.raises(UnreadableLabel, match="check character"):
        read_label(text)


@given(st.from_regex(r"[A-Z][A-Z0-9]{3}[A-Z0-9]{1,18}[0-9]", fullmatch=True))
def test_every_primary_code_reads_back(primary: str) -> None:
    assert read_label(whole(f"+{primary}")).identifier == primary
