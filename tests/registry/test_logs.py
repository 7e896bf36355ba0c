"""Log entries: one line each, nothing from the records, nothing forged."""

from __future__ import annotations

import logging
import sys

from registry.logs import LineFormatter


def entry(message: str, *, failing: bool = False) -> str:
    raised = None
    if failing:
        try:
            raise ValueError("Key (study_number)=(AX-0042) already exists")
        except ValueError:
            raised = sys.exc_info()
    record = logging.LogRecord("registry", logging.ERROR, __file__, 1, message, None, raised)
    return LineFormatter().format(record)


def test_line_ends_and_control_characters_are_made_visible():
    line = entry("user ann\r\n2026-01-01 ERROR forged\x1b[31m")
    assert "\n" not in line
    assert "\r" not in line
    assert "\x1b" not in line
    assert line.endswith(r"ERROR registry user ann\r | 2026-01-01 ERROR forged\x1b[31m")


def test_of_an_exception_kind_and_place_are_told_but_not_its_text():
    line = entry("could not save", failing=True)
    assert "could not save | ValueError at " in line
    assert "test_logs.py:" in line
    assert "AX-0042" not in line
    assert "\n" not in line
