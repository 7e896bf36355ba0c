"""A table of the comparison page: rows of cells ready to print."""

from __future__ import annotations

from dataclasses import dataclass

from outcomes.comparison.value import Share
from outcomes.comparison.wording import Said
from outcomes.wording import LARGE_SAMPLE

ROUTE_COLUMNS = ("Axillary", "Femoral")
AS_ROUTES = "Axillary minus femoral; axillary over femoral."


@dataclass(frozen=True)
class Row:
    """A row; ``group`` rows are headings across the table."""

    head: str
    cells: tuple[Said, ...] = ()
    small: str = ""
    route: str = ""
    group: bool = False


@dataclass(frozen=True)
class Table:
    """A table; a ``folded`` one opens on a click."""

    id: str
    caption: str
    columns: tuple[str, ...]
    rows: tuple[Row, ...]
    note: str = ""
    notes: tuple[str, ...] = ()
    folded: bool = False


def plain(text: str) -> Said:
    """A cell of plain words."""
    return Said(text) if text else Said(instead="–")


def decimals_of(*shares: Share) -> int:
    """Decimals of a difference: none while an arm is below 100."""
    return 1 if all((share.total or 0) >= LARGE_SAMPLE for share in shares) else 0
