"""What a rule finds."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Problem:
    """What is wrong or odd about one field. ``blocks`` refuses; otherwise a reason is asked for."""

    code: str
    field: str
    text: str
    blocks: bool


def refuse(code: str, field: str, text: str) -> Problem:
    return Problem(code, field, text, blocks=True)


def ask(code: str, field: str, text: str) -> Problem:
    return Problem(code, field, text, blocks=False)
