"""Worked examples for counts, rates and ranks; ``published_counts.json`` gives each one's source."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings

PROPERTY = settings(deadline=None, max_examples=60)

_EXAMPLES: dict[str, Any] = json.loads(
    Path(__file__).with_name("published_counts.json").read_text(encoding="utf-8")
)


@dataclass(frozen=True)
class Example:
    """``standing``: printed, from memory, reference software, or computed from the formula."""

    source: str
    standing: str
    inputs: Any
    published: Any
    tolerance: float

    def near(self, expected: Any) -> Any:
        """The expected number or numbers, to the digits printed."""
        return pytest.approx(expected, abs=self.tolerance, rel=0)


def example(name: str) -> Example:
    return Example(**_EXAMPLES[name])


def names(prefix: str) -> list[str]:
    """All examples whose name starts so; never none, so that no test passes by being empty."""
    found = [name for name in _EXAMPLES if name.startswith(prefix)]
    assert found, prefix
    return found


def limits(estimate: Any) -> tuple[float, float]:
    return estimate.lower, estimate.upper
