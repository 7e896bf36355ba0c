"""One entrance for all codes: tidy what the scanner sent and find out which system wrote it."""

from __future__ import annotations

import re

from registry.barcodes import gs1, hibc
from registry.barcodes.label import DeviceLabel, UnreadableLabel

LONGEST_CODE = 200
SHOWN_SEPARATOR = "␝"
# What scanners send for the group separator (ASCII 29) when set up to show it. None of ^ | ~ { } may stand in
# a lot or serial number (GS1 General Specifications, character set 82; from memory).
_SEPARATORS = re.compile(r"\x1d|␝|<GS>|\{GS\}|<FNC1>|\{FNC1\}|[~|^]", re.IGNORECASE)
_SYMBOLOGY = re.compile(r"\]([A-Za-z][0-9a-zA-Z])")
GS1_SYMBOLOGIES = ("C1", "d2", "Q3", "e0")


def read_label(text: str) -> DeviceLabel:
    """Read a scanned or typed code.

    Understood are GS1 element strings, with or without symbology prefix, GS1 with the parentheses printed
    under the bars, and HIBC primary, secondary and joined codes. Raises UnreadableLabel, or AmbiguousLabel
    where the scanner dropped the separator between two parts of any length.
    """
    code = _SEPARATORS.sub("\x1d", text).lstrip(" ").strip("\t\r\n\x1d\x04\x1e")
    raw = code.replace(
        "\x1d", SHOWN_SEPARATOR
    )  # a control character could be neither shown nor written to files
    if not code.strip():
        raise UnreadableLabel("Nothing was scanned.")
    if len(code) > LONGEST_CODE:
        raise UnreadableLabel(f"This is longer than any device label ({LONGEST_CODE} characters).")
    if any((ord(char) < 32 and char != "\x1d") or ord(char) > 126 for char in code):
        raise UnreadableLabel("This holds characters that no device label has. Scan it again.")
    prefix = _SYMBOLOGY.match(code)
    if prefix:
        code = code[3:].lstrip("\x1d")
    if code.startswith(("+", "*+")):
        return hibc.read(code, raw=raw)
    if prefix and prefix[1] not in GS1_SYMBOLOGIES:
        raise UnreadableLabel(f"A code of kind ]{prefix[1]} is not a device label. Scan the other code.")
    return gs1.read(code.strip(" "), raw=raw.strip(" "))
