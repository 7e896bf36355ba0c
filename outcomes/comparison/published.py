"""Published ranges that can be laid under a figure; what they are and are not: docs/published-bands.md."""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

FILE = Path(__file__).with_name("published_bands.json")
LABEL = "published range, mixed definitions, not a target"


@dataclass(frozen=True)
class Source:
    """One published series: ``events`` of ``n`` where printed, and where to read it."""

    text: str
    n: int
    events: int | None
    period: str
    access: str
    journal: str
    year: int
    title: str
    doi: str
    from_memory: str


@dataclass(frozen=True)
class Band:
    """From the lowest to the highest published share of one outcome; not of one route against the other."""

    endpoint: str
    low: float
    high: float
    what: str
    sources: tuple[Source, ...]

    @property
    def words(self) -> str:
        """The range in per cent."""
        low, high = f"{self.low * 100:.2g}", f"{self.high * 100:.2g}"
        return f"{low}%" if low == high else f"{low} to {high}%"


@lru_cache(maxsize=1)
def published_bands() -> tuple[Band, ...]:
    """All bands of the file, in its order. Raises KeyError or TypeError for a file of another form."""
    read = json.loads(FILE.read_text(encoding="utf-8"))
    return tuple(
        Band(**{**band, "sources": tuple(Source(**source) for source in band["sources"])}) for band in read
    )
