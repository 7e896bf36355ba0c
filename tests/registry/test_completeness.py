"""Shares of months."""

from __future__ import annotations

from datetime import date

from registry.completeness import Cell, months_before


def test_the_last_six_months_cross_a_year() -> None:
    assert months_before(date(2026, 2, 28))[0] == date(2025, 9, 1)
    assert months_before(date(2026, 2, 28))[-1] == date(2026, 2, 1)


def test_a_share_is_rounded_down_and_needs_records() -> None:
    assert Cell(199, 200).percent == 99
    assert Cell(200, 200).percent == 100
    assert Cell(0, 0).percent is None
