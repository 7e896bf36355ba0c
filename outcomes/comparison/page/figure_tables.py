"""Tables of the figures, crude and adjusted."""

from __future__ import annotations

from collections.abc import Sequence

from outcomes.comparison.page.table import AS_ROUTES, ROUTE_COLUMNS, Row, Table, decimals_of
from outcomes.comparison.value import (
    HIDDEN,
    Adjusted,
    AdjustedRow,
    CrudeRow,
    RateRow,
    Stratified,
)
from outcomes.comparison.wording import (
    Said,
    say_difference,
    say_p,
    say_rate,
    say_ratio,
    say_share,
)
from outcomes.wording import number


def crude_table(
    rows: Sequence[CrudeRow], *, id: str, caption: str, note: str = "", folded: bool = False
) -> Table:
    """Shares of both arms with difference and ratio."""
    made = [
        Row(
            f"{row.label} (to the end of {row.until})" if row.until else row.label,
            (
                say_share(row.axillary),
                say_share(row.femoral),
                say_difference(row.difference, decimals=decimals_of(row.axillary, row.femoral)),
                say_ratio(row.ratio),
            ),
        )
        for row in rows
    ]
    notes = [
        "Limits: Wilson (shares), Newcombe (difference, in percentage points), Koopman (ratio).",
        *dict.fromkeys(
            f"Denominators: {share.note}."
            for row in rows
            for share in (row.axillary, row.femoral)
            if share.value is not None and share.note
        ),
    ]
    columns = (*ROUTE_COLUMNS, "Difference", "Ratio")
    return Table(id, caption, columns, tuple(made), note or AS_ROUTES, tuple(notes), folded)


def rate_tables(rows: Sequence[RateRow]) -> list[Table]:
    """Events per 1,000 device-days, a table for each stretch of time; all but the whole stay folded."""
    stretches = list(dict.fromkeys(row.stretch for row in rows))
    return [
        _rate_table(k, name, [row for row in rows if row.stretch == name]) for k, name in enumerate(stretches)
    ]


def _rate_table(place: int, stretch: str, rows: Sequence[RateRow]) -> Table:
    made = [
        Row(row.label, (say_rate(row.axillary), say_rate(row.femoral), say_ratio(row.ratio)))
        for row in rows
        if row.axillary.hits != 0 or row.femoral.hits != 0
    ]
    return Table(
        f"rates-{place}",
        f"Events per 1,000 device-days: {stretch.lower()}",
        (*ROUTE_COLUMNS, "Rate ratio"),
        tuple(made),
        "All events, repeats included, over the days in place.",
        (
            "Limits: exact (Garwood) for rates, mid-P conditional for ratios. Outcomes without events are "
            "left "
            "out.",
        ),
        folded=place > 0,
    )


def adjusted_table(adjusted: Adjusted) -> Table:
    """Before and after weighting of the same patients."""
    return Table(
        "adjusted",
        "Weighted for who the patients were",
        ("Before weighting", "Weighted shares", "Difference", "Ratio", "E-value"),
        tuple(Row(row.label, _adjusted_cells(row), small=row.reason) for row in adjusted.rows),
        AS_ROUTES,
        (
            "Before weighting: crude difference of the same patients, with Newcombe's limits.",
            *dict.fromkeys(
                f"Limits: {row.difference.method}." for row in adjusted.rows if row.difference.method
            ),
            "E-value: the risk ratio that something unmeasured would need with both route and outcome to "
            "explain the ratio, and (in brackets) its limit, away: VanderWeele and Ding 2017.",
        ),
    )


def _adjusted_cells(row: AdjustedRow) -> tuple[Said, ...]:
    if row.refusal or row.difference.value is None:
        return (say_difference(row.crude), *(Said(instead="–") for _ in range(4)))
    axillary, femoral = (number((share or 0.0) * 100, 0) for share in (row.axillary, row.femoral))
    bias = Said(instead="–")
    if row.e_value is not None and row.e_limit is not None:
        bias = Said(number(row.e_value, 1), limits=number(row.e_limit, 1))
    return (
        say_difference(row.crude),
        Said(f"{axillary}% v {femoral}%"),
        say_difference(row.difference),
        say_ratio(row.ratio),
        bias,
    )


def strata_table(found: Stratified) -> Table:
    """The chosen outcome in each level of the factor, and pooled."""
    rows = [Row(label, (say_share(a), say_share(f), Said(), Said())) for label, a, f in found.levels]
    if not found.refusal:
        rows.append(
            Row(
                "Pooled (Mantel-Haenszel)",
                (Said(), Said(), say_difference(found.difference), say_ratio(found.ratio)),
                small=f"{found.strata} strata of {found.factor}, calendar year and centre hold both routes",
            )
        )
    notes = []
    if found.refusal:
        notes.append(f"Not pooled: {found.refusal}.")
    if found.homogeneity is not None:
        notes.append(f"Same difference in all strata? {say_p(found.homogeneity)} (score test).")
    if found.difference.note and found.difference.note != HIDDEN:
        notes.append(f"{found.difference.note[0].upper()}{found.difference.note[1:]}.")
    notes.append("Limits of the pooled figures treat courses of one patient as independent.")
    caption = f"Within levels of {found.factor}, calendar year and centre"
    return Table("strata", caption, (*ROUTE_COLUMNS, "Difference", "Ratio"), tuple(rows), notes=tuple(notes))
