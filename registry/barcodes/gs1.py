"""Labels written by the GS1 General Specifications. The biip library splits the elements; here they get their
meaning, their check digit, and a question where a scanner dropped the separators.
"""

from __future__ import annotations

import re
from datetime import date
from typing import TypeAlias

import biip
from biip.gs1_messages import GS1Message

from registry.barcodes.label import AmbiguousLabel, DeviceLabel, UnreadableLabel

SEPARATOR = "\x1d"
GTIN, LOT, MADE, EXPIRES, SERIAL = "01", "10", "11", "17", "21"
Element: TypeAlias = tuple[str, str, date | None]  # identifier of the part, its text, its day
NAMES = {GTIN: "identifier", LOT: "lot", MADE: "production date", EXPIRES: "expiry date", SERIAL: "serial"}
_PRINTED = re.compile(r"\((\d{2,4})\)")
# What may stand behind a part of any length: another part, or a date. Anything else is left to the text.
_FOLLOWERS = (LOT, SERIAL, EXPIRES, MADE)


def read(code: str, *, raw: str) -> DeviceLabel:
    """Read an element string, or the text printed under the bars with its parentheses.

    Raises UnreadableLabel, AmbiguousLabel.
    """
    if code.startswith("("):
        return _label(_printed_elements(code), raw)
    elements = _elements(code)
    label = _label(elements, raw)
    if SEPARATOR not in code:
        _refuse_to_guess(elements, label, raw)
    return label


def check_digit_fits(gtin: str) -> bool:
    """Whether the last of 14 digits is the check digit: weights 3 and 1 from the right, modulo 10."""
    digits = [int(digit) for digit in gtin]
    return sum(digit * (3 if place % 2 else 1) for place, digit in enumerate(reversed(digits))) % 10 == 0


def _elements(code: str) -> list[Element]:
    try:
        message = GS1Message.parse(code)
    except biip.ParseError as error:
        hint = " The scanner may have dropped the separators." if SEPARATOR not in code else ""
        raise UnreadableLabel(f"This is no complete device label.{hint} Type the parts instead.") from error
    parts = message.element_strings
    if SEPARATOR not in code and any(part.ai.separator_required for part in parts[:-1]):
        raise UnreadableLabel("The scanner dropped the separators of this label. Type the parts instead.")
    return [(part.ai.ai, part.value, part.date) for part in parts]


def _printed_elements(code: str) -> list[Element]:
    """The elements of ``(01)…(17)…(10)…``: each is read on its own, so that none can run into the next."""
    parts = _PRINTED.split(code)[1:]
    pairs = list(zip(parts[::2], (value.strip(f" {SEPARATOR}") for value in parts[1::2]), strict=True))
    if not pairs or any(not value for _, value in pairs):
        raise UnreadableLabel("A part is empty. Write it like (01)09521234543213(17)250101(10)ABC123.")
    return [element for ai, value in pairs for element in _one_element(ai, value)]


def _one_element(ai: str, value: str) -> list[Element]:
    found = _elements(ai + value)
    if len(found) != 1 or found[0][0] != ai:
        raise UnreadableLabel(f"The part ({ai}) is too long or incomplete: {value}.")
    return found


def _label(elements: list[Element], raw: str) -> DeviceLabel:
    values: dict[str, str] = {}
    days: dict[str, date | None] = {}
    for ai, value, day in elements:
        if ai in NAMES and values.setdefault(ai, value) != value:
            raise UnreadableLabel(f"The {NAMES[ai]} stands twice on this label, with two values.")
        days[ai] = day
    gtin = values.get(GTIN, "")
    if gtin and not check_digit_fits(gtin):
        raise UnreadableLabel(f"The check digit of {gtin} does not fit. Scan it again or compare it.")
    if not any(ai in values for ai in NAMES):
        raise UnreadableLabel("This label holds neither an identifier nor a lot, serial or date.")
    return DeviceLabel(
        system="GS1",
        raw=raw,
        identifier=gtin,
        lot=values.get(LOT, ""),
        serial=values.get(SERIAL, ""),
        expires_on=days.get(EXPIRES),
        made_on=days.get(MADE),
    )


def _refuse_to_guess(elements: list[Element], label: DeviceLabel, raw: str) -> None:
    """Without separators a lot swallows the serial number behind it: ask where that could have happened."""
    before, (ai, value, _) = elements[:-1], elements[-1]
    readings = [label]
    if ai in (LOT, SERIAL):
        for follower in _FOLLOWERS:
            for found in re.finditer(f"(?={follower})", value):
                if found.start() and follower != ai:
                    readings += _split_reading(before, ai, value, found.start(), raw)
    if len(readings) > 1:
        text = (
            "The scanner sent no separators, so this can be read in more than one way. "
            "Look at the label and choose."
        )
        raise AmbiguousLabel(text, tuple(dict.fromkeys(readings)))


def _split_reading(before: list[Element], ai: str, value: str, place: int, raw: str) -> list[DeviceLabel]:
    """The label if ``value`` ends at ``place``; none if what follows is not an element."""
    try:
        rest = _elements(value[place:])
        return [_label([*before, (ai, value[:place], None), *rest], raw)]
    except UnreadableLabel:
        return []
