"""One route against the other beside a quarter: crude and adjusted differences in one forest.

The comparison is that of its own page in its usual form: the whole logbook, as intended, overlap weights. A
quarter alone holds too few patients to be adjusted.
"""

from __future__ import annotations

from collections.abc import Sequence

from outcomes.comparison.build import PARTS, build_comparison
from outcomes.comparison.choices import Choices
from outcomes.comparison.committee import for_committee
from outcomes.comparison.guard import guard_of
from outcomes.comparison.page.charts import ComparisonChart
from outcomes.comparison.reading import Facts
from outcomes.comparison.summary import NEVER_CAUSAL
from outcomes.comparison.time_at_risk import TimeAtRisk, time_at_risk
from outcomes.comparison.units import Programme
from outcomes.comparison.value import HIDDEN, Comparison, Contrast, CrudeRow
from outcomes.comparison.wording import difference_limits, points
from outcomes.dataset import Dataset
from outcomes.figures import Series
from outcomes.wording import count, lower_first, number

CRUDE, WEIGHTED = "Crude", "Weighted"
MORE, LESS = "more often axillary", "less often axillary"
SEVERAL = "Several outcomes are looked at: one interval in twenty leaves out 0 by chance."


def compared_routes(
    dataset: Dataset, facts: Facts, *, threshold: int | None, parts: Sequence[str] = PARTS
) -> Comparison | None:
    """The comparison of a logbook in its usual form; None while it holds no course.

    ``threshold`` is the smallest count shown to those who see no cases, None for those who do.
    """
    if not dataset.courses.pk.size:
        return None
    choices = Choices()
    comparison = build_comparison(dataset=dataset, facts=facts, choices=choices, parts=parts)
    if threshold is None:
        return comparison
    return for_committee(comparison, guard_of(Programme(dataset, facts), choices, threshold))


def routes_forest(comparison: Comparison) -> ComparisonChart | None:
    """Differences of all outcomes that happened, crude and weighted; None if there is none to draw.

    Needs the crude and the adjusted part.
    """
    rows = [row for row in comparison.crude.rows if _drawn(row)] if comparison.crude else []
    if not rows:
        return None
    weighted = _weighted(comparison)
    series = (
        _series(CRUDE, [(row.label, row.difference, _out_of(row)) for row in rows]),
        _series(WEIGHTED, [(row.label, weighted[row.code], "") for row in rows if row.code in weighted]),
    )
    return ComparisonChart(
        id="chart-routes",
        kind="forest",
        finding=f"{finding(comparison)}.",
        label=f"Difference between the routes, crude and weighted, all courses until {_cut(comparison)}",
        x_title="Percentage points, axillary minus femoral",
        y_title="",
        percent=False,
        series=tuple(each for each in series if each.x),
        method=_method(rows, list(weighted.values())),
        shape="differences",
        rows=tuple(row.label for row in rows),
    )


def _drawn(row: CrudeRow) -> bool:
    happened = row.axillary.hits or row.femoral.hits
    return row.difference.value is not None and bool(happened)


def _weighted(comparison: Comparison) -> dict[str, Contrast]:
    """The weighted differences that were not refused, by outcome."""
    rows = comparison.adjusted.rows if comparison.adjusted else ()
    return {row.code: row.difference for row in rows if not row.refusal and row.difference.value is not None}


def _out_of(row: CrudeRow) -> str:
    return f"{_n(row.axillary.hits, row.axillary.total)} v {_n(row.femoral.hits, row.femoral.total)}"


def _n(hits: int | None, total: float | None) -> str:
    return f"{count(hits)}/{count(total)}"


def _series(name: str, rows: Sequence[tuple[str, Contrast, str]]) -> Series:
    return Series(
        name=name,
        group="",
        x=tuple(label for label, _, _ in rows),
        y=tuple(contrast.value or 0.0 for _, contrast, _ in rows),
        lower=tuple(contrast.lower for _, contrast, _ in rows),
        upper=tuple(contrast.upper for _, contrast, _ in rows),
        notes=tuple(note for _, _, note in rows),
    )


def _method(rows: Sequence[CrudeRow], weighted: Sequence[Contrast]) -> str:
    crude = dict.fromkeys(row.difference.method for row in rows if row.difference.method)
    adjusted = dict.fromkeys(contrast.method for contrast in weighted if contrast.method)
    said = [f"Crude: {'; '.join(crude)}"] if crude else []
    said += [f"Weighted: {'; '.join(adjusted)}"] if adjusted else []
    return ". ".join(said)


def _cut(comparison: Comparison) -> str:
    return f"{comparison.data_cut:%d-%b-%Y}"


def finding(comparison: Comparison) -> str:
    """What the chosen outcome allows to be said, in one line; a direction only if the limits leave out 0."""
    code = comparison.choices.outcome
    row = comparison.crude_row(code)
    weighted, times = _weighted(comparison).get(code), time_at_risk(comparison, code)
    if weighted is not None:
        return f"{row.label}: {_points(weighted)} after weighting, {_verdict(weighted, times)}"
    if row.difference.value is None:
        return f"{row.label}: too few to show or to compare"
    return (
        f"{row.label}: {_points(row.difference)} crude, {_verdict(row.difference, times)}; it could not be "
        "adjusted"
    )


def _points(contrast: Contrast) -> str:
    return f"{points(contrast.value or 0.0)} points ({difference_limits(contrast)})"


def _verdict(contrast: Contrast, times: TimeAtRisk | None) -> str:
    low, high = contrast.lower, contrast.upper
    if low is None or high is None:
        return "nothing can be said of chance"
    if low <= 0.0 <= high:
        fewer, more = number(-low * 100, 0), number(high * 100, 0)
        return f"which fits no difference, and {fewer} points fewer to {more} more"
    unlike = ", over unequal times at risk" if times and not times.bears_out(contrast) else ""
    return f"{MORE if low > 0.0 else LESS}{unlike}"


def hedge(comparison: Comparison) -> tuple[str, ...]:
    """What must be read with the forest: no cause, several looks, and what was not adjusted and why."""
    return (f"{NEVER_CAUSAL} {SEVERAL}", *refusals(comparison))


def refusals(comparison: Comparison) -> tuple[str, ...]:
    """Why outcomes have no weighted figure, a sentence a reason."""
    rows = comparison.adjusted.rows if comparison.adjusted else ()
    reasons: dict[str, list[str]] = {}
    for row in rows:
        if row.difference.value is None:
            reasons.setdefault(row.refusal or row.difference.note, []).append(lower_first(row.label))
    return tuple(
        f"Not adjusted: {', '.join(labels)} ({'a small count' if reason == HIDDEN else reason})."
        for reason, labels in reasons.items()
    )
