"""Tables of who is compared and how alike the arms were."""

from __future__ import annotations

from collections.abc import Sequence

from outcomes.comparison.crossovers import COLUMNS
from outcomes.comparison.limits import UNBALANCED
from outcomes.comparison.page.table import ROUTE_COLUMNS, Row, Table
from outcomes.comparison.value import (
    HIDDEN,
    Baseline,
    BaselineRow,
    Share,
    Who,
)
from outcomes.comparison.wording import (
    Said,
    say_count,
    say_part,
    say_share,
)
from outcomes.wording import number


def who_table(who: Who) -> Table:
    """How each arm came about."""
    axillary, femoral = who.flows
    rows = [Row(f"{who.unit.capitalize()} compared", (say_count(axillary.total), say_count(femoral.total)))]
    for (label, own), (_, other) in zip(axillary.paths, femoral.paths, strict=True):
        rows.append(Row(label.capitalize(), (say_part(own), say_part(other))))
    rows.append(
        Row(
            "Arrived with the device in place",
            (say_part(who.transfers_in[0]), say_part(who.transfers_in[1])),
            small="their first days were seen by nobody here",
        )
    )
    rows.append(
        Row(
            "Attempts after which no pump was placed",
            (say_count(axillary.unplaced), say_count(femoral.unplaced)),
            small="not in the figures below: without support there is nothing to follow",
        )
    )
    return Table("who", "How the two groups came about", ROUTE_COLUMNS, tuple(rows))


def moves_table(who: Who) -> Table:
    """The numbers of the diagram."""
    rows = [
        Row(
            f"{move.source} to {move.target}",
            (say_count(move.count),),
            small=f"{COLUMNS[move.stage].lower()} to {COLUMNS[move.stage + 1].lower()}",
        )
        for move in who.moves
    ]
    return Table("moves", "Values of this figure", ("Number",), tuple(rows))


def _mean(row: BaselineRow, share: Share, spread: float | None) -> Said:
    if row.kind == "binary":
        said = say_share(share)
        return Said(said.value, said.of, "", said.instead, said.key)
    if share.value is None:
        return Said(instead=HIDDEN if share.hidden else "–")
    decimals = 1 if row.unit in ("y", "d", "kg/m²", "g/dL", "mmol/L") else 0
    deviation = f"SD {number(spread, decimals)}" if spread is not None else ""
    return Said(number(share.value, decimals), deviation, key=share.key)


def _standardised(value: float | None) -> Said:
    if value is None:
        return Said(instead="–")
    return Said(number(value, 2), of="!" if abs(value) > UNBALANCED else "")


def _baseline_row(row: BaselineRow, level: str, weighted: bool) -> Row:
    unit = "" if row.unit in ("", "%") else f" ({row.unit})"
    hidden = row.note == HIDDEN
    missing = Said(instead="hidden") if None in row.missing else Said(f"{row.missing[0]} / {row.missing[1]}")
    differences = [row.before, row.after] if weighted else [row.before]
    return Row(
        level or f"{row.label}{unit}",
        (
            _mean(row, row.axillary, row.spread[0]),
            _mean(row, row.femoral, row.spread[1]),
            missing,
            *(Said(instead="hidden") if hidden else _standardised(value) for value in differences),
        ),
        small="adjusted for" if row.adjusted and not level else "",
    )


def baseline_table(rows: Sequence[BaselineRow], *, weighted: bool) -> Table:
    """Characteristics of the arms, missing counts and standardised differences."""
    made: list[Row] = []
    heading = ""
    # Characteristics with levels come last, each under its own heading.
    for row in sorted(rows, key=lambda row: ": " in row.label):
        group, _, level = row.label.partition(": ")
        if level and group != heading:
            heading = group
            made.append(Row(group, small="adjusted for" if row.adjusted else "", group=True))
        made.append(_baseline_row(row, level, weighted))
    columns = (*ROUTE_COLUMNS, "Missing", "Before", *(("After",) if weighted else ()))
    notes = (
        "Mean and standard deviation, or share with n/N of those recorded. Missing: axillary / femoral.",
        "Before, after: standardised difference before and after weighting; ! marks one beyond "
        f"±{UNBALANCED:g}. No p-values: chance is not what made the groups differ.",
    )
    return Table("baseline", "At the start", columns, tuple(made), notes=notes)


def years_table(baseline: Baseline, unit: str) -> Table:
    """The drift of the choice of route over calendar time."""
    rows = [
        Row(str(year), (say_count(axillary), say_count(femoral)))
        for year, axillary, femoral in baseline.by_year
    ]
    note = "Calendar time is part of every adjusted figure."
    return Table("years", f"{unit.capitalize()} begun, by year", ROUTE_COLUMNS, tuple(rows), note)
