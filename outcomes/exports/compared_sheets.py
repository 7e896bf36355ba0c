"""The comparison of the routes as sheets of the workbook: numbers as computed, or the reason for none."""

from __future__ import annotations

from outcomes.comparison.summary import summary
from outcomes.comparison.value import (
    AdjustedRow,
    Baseline,
    Comparison,
    Contrast,
    CrudeRow,
    Incidence,
    Sensitivity,
    Share,
    Timing,
)
from outcomes.exports.sheet import Column, Sheet, Value

ROUTES = ("axillary", "femoral")
EMPTY = "empty: hidden, refused or not estimable, see note"
SOURCE = "all courses of the period of the route comparison, by the route tried first, overlap weights"


def _share_columns(route: str) -> tuple[Column, ...]:
    return (
        Column(f"{route}_n", f"{route} with it; {EMPTY}", 10),
        Column(f"{route}_N", f"{route} in whom it is known", 10),
        Column(f"{route}_share", "share, between 0 and 1", 12),
        Column(f"{route}_lower", "lower limit of the share", 12),
        Column(f"{route}_upper", "upper limit of the share", 12),
    )


def _contrast_columns(name: str, meaning: str) -> tuple[Column, ...]:
    return (
        Column(name, f"{meaning}; {EMPTY}", 14),
        Column(f"{name}_lower", "lower limit; empty: none", 14),
        Column(f"{name}_upper", "upper limit; empty: none, or without end", 14),
    )


OUTCOME_COLUMNS = (
    Column("outcome", "defined on the page of the comparison", 34),
    Column("code", "names the outcome in the comparison as JSON", 18),
    *(column for route in ROUTES for column in _share_columns(route)),
    *_contrast_columns("crude_difference", "axillary minus femoral share, unadjusted"),
    *_contrast_columns("crude_ratio", "axillary over femoral share, unadjusted"),
    Column("weighted_axillary", "share after weighting", 14),
    Column("weighted_femoral", "share after weighting", 14),
    *_contrast_columns("weighted_difference", "axillary minus femoral share after weighting"),
    *_contrast_columns("weighted_ratio", "axillary over femoral share after weighting"),
    Column("e_value", "risk ratio of something unmeasured that would explain the weighted ratio away", 10),
    Column("e_limit", "the same for its limit", 10),
    Column("method", "how the limits of the differences were made, crude; weighted", 44),
    Column("note", "why there is no figure, or what must be known with it", 44),
)
BASELINE_COLUMNS = (
    Column("characteristic", "known before the route was chosen", 40),
    Column("unit", "unit of means; empty for shares", 10),
    Column("axillary", "mean, or share between 0 and 1", 12),
    Column("axillary_sd", "standard deviation", 12),
    Column("axillary_missing", "in how many it was not recorded", 12),
    Column("femoral", "mean, or share between 0 and 1", 12),
    Column("femoral_sd", "standard deviation", 12),
    Column("femoral_missing", "in how many it was not recorded", 12),
    Column("difference_before", "standardised difference before weighting", 16),
    Column("difference_after", "standardised difference after weighting; empty: weighting refused", 16),
    Column("adjusted_for", "yes if it is part of the weights", 12),
    Column("note", "why there is no figure", 40),
)
WAY_COLUMNS = (
    Column("way", "how the chosen outcome is counted", 34),
    Column("why", "why one would count so", 50),
    *(column for route in ROUTES for column in _share_columns(route)),
    *_contrast_columns("crude_difference", "axillary minus femoral share"),
    *_contrast_columns("weighted_difference", "axillary minus femoral share after weighting"),
    Column("note", "why there is no figure", 40),
)
TIME_COLUMNS = (
    Column("what", "what happened", 30),
    Column("route", "AXILLARY or FEMORAL", 11),
    Column("day", "days from the first insertion; the value holds until the next day listed", 8),
    Column("incidence", "cumulative incidence", 12),
    Column("lower", "lower limit; empty: none", 12),
    Column("upper", "upper limit; empty: none", 12),
    Column("method", "how it was made", 44),
)
CONCLUSION_COLUMNS = (Column("conclusion", "what can and cannot be concluded, in words", 140),)


def compared_sheets(found: Comparison) -> list[Sheet]:
    """Conclusions, outcomes, the groups at the start, other ways to count, and curves."""
    sheets = [
        Sheet("Conclusions", CONCLUSION_COLUMNS, tuple((text,) for text in summary(found)), SOURCE),
        Sheet("Routes compared", OUTCOME_COLUMNS, _outcomes(found), SOURCE),
    ]
    if found.baseline:
        sheets.append(Sheet("Routes at the start", BASELINE_COLUMNS, _baseline(found.baseline), SOURCE))
    if found.sensitivity:
        sheets.append(Sheet("Routes, other ways", WAY_COLUMNS, _ways(found.sensitivity), SOURCE))
    if found.timing:
        sheets.append(Sheet("Routes over time", TIME_COLUMNS, _curves(found.timing), SOURCE))
    return sheets


def _outcomes(found: Comparison) -> tuple[tuple[Value, ...], ...]:
    adjusted = {row.code: row for row in found.adjusted.rows} if found.adjusted else {}
    rows = found.crude.rows if found.crude else ()
    return tuple(_outcome(row, adjusted.get(row.code)) for row in rows)


def _outcome(row: CrudeRow, adjusted: AdjustedRow | None) -> tuple[Value, ...]:
    crude = (*_share(row.axillary), *_share(row.femoral), *_contrast(row.difference), *_contrast(row.ratio))
    if adjusted is None:
        return (row.label, row.code, *crude, *[None] * 10, row.difference.method, row.difference.note)
    methods = [row.difference.method, adjusted.difference.method]
    notes = [row.difference.note, adjusted.refusal or adjusted.difference.note, adjusted.ratio.note]
    return (
        row.label, row.code, *crude, adjusted.axillary, adjusted.femoral, *_contrast(adjusted.difference),
        *_contrast(adjusted.ratio), adjusted.e_value, adjusted.e_limit, _joined(methods), _joined(notes),
    )  # fmt: skip


def _share(share: Share) -> tuple[Value, ...]:
    return share.hits, share.total if share.hits is not None else None, share.value, share.lower, share.upper


def _contrast(contrast: Contrast) -> tuple[Value, ...]:
    return contrast.value, contrast.lower, contrast.upper


def _joined(texts: list[str]) -> str:
    return "; ".join(dict.fromkeys(text for text in texts if text))


def _baseline(found: Baseline) -> tuple[tuple[Value, ...], ...]:
    return tuple(
        (
            row.label, row.unit, row.axillary.value, row.spread[0], row.missing[0],
            row.femoral.value, row.spread[1], row.missing[1], row.before, row.after,
            "yes" if row.adjusted else "no", row.note,
        )
        for row in found.rows
    )  # fmt: skip


def _ways(found: Sensitivity) -> tuple[tuple[Value, ...], ...]:
    return tuple(
        (
            row.label, row.why, *_share(row.axillary), *_share(row.femoral), *_contrast(row.crude),
            *_contrast(row.adjusted), _joined([row.refusal, row.crude.note, row.adjusted.note]),
        )
        for row in found.rows
    )  # fmt: skip


def _curves(found: Timing) -> tuple[tuple[Value, ...], ...]:
    return tuple(row for curve in (*found.mobilisation, *found.bridge) for row in _curve(curve))


def _curve(found: Incidence) -> list[tuple[Value, ...]]:
    return [
        (found.label, line.arm, *step, found.method)
        for line in found.lines
        for step in zip(line.days, line.values, line.lower, line.upper, strict=True)
    ]
