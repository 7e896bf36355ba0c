"""One entrance for every code: prefixes, separators, hostile input."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry.barcodes import AmbiguousLabel, DeviceLabel, UnreadableLabel, read_label

# Documentation example of an open-source GS1 parser (pkg.go.dev, galenzo17/gs1-go).
EXAMPLE = "]d20104150000021126172506302112345ABC\x1d10LOT42X"
PARTS = {
    "identifier": "04150000021126",
    "lot": "LOT42X",
    "serial": "12345ABC",
    "expires_on": date(2025, 6, 30),
}


def parts_of(label: DeviceLabel) -> dict[str, object]:
    return {name: getattr(label, name) for name in PARTS}


@pytest.mark.parametrize("prefix", ["]C1", "]d2", "]Q3", "]e0", "", "\x1d", "]d2\x1d"])
def test_every_gs1_symbology_reads_alike(prefix: str) -> None:
    """Prefixes: GS1 General Specifications."""
    assert parts_of(read_label(prefix + EXAMPLE[3:])) == PARTS


@pytest.mark.parametrize("mark", ["\x1d", "␝", "<GS>", "{gs}", "~", "|", "^"])
def test_separators_that_scanners_show(mark: str) -> None:
    assert parts_of(read_label(EXAMPLE.replace("\x1d", mark))) == PARTS


@pytest.mark.parametrize("end", ["\r", "\n", "\r\n", "\t", "\x1d", "\x04"])
def test_what_a_scanner_sends_behind_is_dropped(end: str) -> None:
    assert parts_of(read_label(EXAMPLE + end)) == PARTS


def test_the_code_is_kept_as_it_came_with_the_separator_made_visible() -> None:
    assert read_label(EXAMPLE + "\r\n").raw == EXAMPLE.replace("\x1d", "␝")
    assert read_label(read_label(EXAMPLE).raw) == read_label(EXAMPLE)


@pytest.mark.parametrize(
    "text", ["", "  ", "\x1d", "hello", "]E04006381333931", "é", "\x00", "9" * 201, "+", "("]
)
def test_other_codes_are_refused_in_words(text: str) -> None:
    with pytest.raises(UnreadableLabel, match=r"\w+ \w+"):
        read_label(text)


def readings_of(text: str) -> list[DeviceLabel]:
    """What a code can mean: one label, several where it is unclear, none where it is refused."""
    try:
        return [read_label(text)]
    except AmbiguousLabel as question:
        return list(question.readings)
    except UnreadableLabel:
        return []


@given(st.text(max_size=60))
def test_no_text_breaks_it(text: str) -> None:
    assert all(isinstance(label, DeviceLabel) for label in readings_of(text))


@given(
    st.from_regex(r"(\x1d?(01[0-9]{14}|17[0-9]{6}|10[A-Z0-9]{1,12}|21[A-Z0-9]{1,12})){1,4}", fullmatch=True)
)
def test_no_reading_holds_what_the_code_does_not(text: str) -> None:
    for label in readings_of(text):
        assert label.lot in text
        assert label.serial in text
