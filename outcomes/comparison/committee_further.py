"""The parts of the committee's view beyond crude figures: baseline, adjusted, time and the rest."""

from __future__ import annotations

from dataclasses import replace

from outcomes.comparison.choices import FACTORS
from outcomes.comparison.crude import DIFFERENCE, RATIO
from outcomes.comparison.filters import LEVELS
from outcomes.comparison.guard import Guard
from outcomes.comparison.shares import hidden_share, no_contrast
from outcomes.comparison.suppression import hidden_parts, is_small
from outcomes.comparison.value import (
    HIDDEN,
    Adjusted,
    AdjustedRow,
    Baseline,
    BaselineRow,
    Comparison,
    Incidence,
    Naive,
    Restriction,
    Sensitivity,
    Share,
    Stratified,
    Timing,
)
from outcomes.comparison.value_over_time import OverTime

SINGLE_CASES = "drawn from single patients, so not shown here"
NO_CURVES = "not shown here: curves read at two quarter ends would tell small counts apart"


# Baseline


def baseline_seen(baseline: Baseline, guard: Guard) -> Baseline:
    groups: dict[str, list[BaselineRow]] = {}
    for row in baseline.rows:
        groups.setdefault(row.label.partition(": ")[0], []).append(row)
    rows = [seen for group in groups.values() for seen in _baseline_group(group, guard.threshold)]
    rows = [_hidden_baseline(row) if row.name in guard.characteristics else row for row in rows]
    years = tuple(
        (year, *(hidden_share(s) if (year, s.arm) in guard.years else s for s in shares))
        for year, *shares in baseline.by_year
    )
    return replace(baseline, rows=tuple(rows), by_year=years)  # type: ignore[arg-type]


def no_baseline(baseline: Baseline) -> Baseline:
    rows = [_hidden_baseline(row) for row in baseline.rows]
    years = tuple((year, hidden_share(a), hidden_share(f)) for year, a, f in baseline.by_year)
    return replace(baseline, rows=tuple(rows), by_year=years)


def _baseline_group(rows: list[BaselineRow], threshold: int) -> list[BaselineRow]:
    """The levels of one characteristic, or the one row of another kind."""
    missing = rows[0].missing
    if rows[0].kind == "continuous":
        few = any(is_small(count, threshold) for count in missing)
        return [replace(rows[0], missing=(None, None) if few else missing)]
    if any(is_small(count, threshold) for count in missing):
        return [_hidden_baseline(row) for row in rows]
    hidden: set[int] = set()
    for shares in ([row.axillary for row in rows], [row.femoral for row in rows]):
        counts = [share.hits or 0 for share in shares]
        if len(rows) == 1:
            counts.append(int(shares[0].total or 0) - counts[0])
        hidden |= {k for k, away in enumerate(hidden_parts(counts, threshold)) if away and k < len(rows)}
    return [_hidden_baseline(row) if k in hidden else row for k, row in enumerate(rows)]


def _hidden_baseline(row: BaselineRow) -> BaselineRow:
    return replace(
        row,
        axillary=hidden_share(row.axillary),
        femoral=hidden_share(row.femoral),
        spread=(None, None),
        missing=(None, None),
        before=None,
        after=None,
        note=HIDDEN,
    )


# Adjusted


def adjusted_seen(
    comparison: Comparison, adjusted: Adjusted, guard: Guard, baseline: Baseline | None
) -> Adjusted:
    """Adjusted figures of the outcomes whose counts are not few; ``baseline`` is what is seen of it."""
    shown = guard.adjustable
    overlap = replace(
        adjusted.overlap,
        axillary=(),
        femoral=(),
        comparable=(None, None),
        totals=(None, None),
        restricted=_restricted(adjusted.overlap.restricted, baseline),
        kept=(),
        counted="",
    )
    return Adjusted(
        overlap=overlap,
        rows=tuple(_adjusted_row(row, row.code in shown) for row in adjusted.rows),
        stratified=_stratified(comparison, adjusted.stratified, guard, comparison.choices.outcome in shown),
    )


def _restricted(parts: tuple[Restriction, ...], baseline: Baseline | None) -> tuple[Restriction, ...]:
    """Who was left out, without counts. That a level is left out says that an arm lacks it and that the other
    has some, so it is named only where the baseline table shows how many; else only its characteristic is.
    """
    rows = baseline.rows if baseline else ()
    counted = {row.name for row in rows if row.axillary.hits is not None and row.femoral.hits is not None}
    seen = [
        Restriction(
            part.what if part.shown_as in counted else f"{part.characteristic}, level not shown here",
            None,
            part.never,
            part.characteristic,
        )
        for part in parts
    ]
    return tuple(dict.fromkeys(seen))


def _adjusted_row(row: AdjustedRow, shown: bool) -> AdjustedRow:
    """Weighted figures cannot be turned back into counts; those of the same rows unweighted can."""
    row = replace(
        row,
        counted="",
        crude=no_contrast(DIFFERENCE, HIDDEN),
        crude_axillary=hidden_share(row.crude_axillary),
        crude_femoral=hidden_share(row.crude_femoral),
    )
    if shown:
        return row
    return replace(
        row,
        axillary=None,
        femoral=None,
        difference=no_contrast(DIFFERENCE, row.refusal or HIDDEN),
        ratio=no_contrast(RATIO, row.refusal or HIDDEN),
        e_value=None,
        e_limit=None,
        refusal=row.refusal or HIDDEN,
    )


def _stratified(comparison: Comparison, found: Stratified, guard: Guard, shown: bool) -> Stratified:
    factor = {label.lower(): code for code, label in FACTORS}[found.factor]
    levels = []
    for label, *shares in found.levels:
        code = shares[0].key.split("/")[1].removeprefix(f"{factor}-")
        place = LEVELS[factor].index(code)
        away = guard.strata_hits | guard.strata_sizes
        seen = [
            hidden_share(s) if guard.filtered or (place, s.arm) in away or _changes(comparison, s) else s
            for s in shares
        ]
        levels.append((label, *seen))
    if shown:
        return replace(found, levels=tuple(levels))  # type: ignore[arg-type]
    return replace(
        found,
        difference=no_contrast(DIFFERENCE, HIDDEN),
        ratio=no_contrast(RATIO, HIDDEN),
        homogeneity=None,
        levels=tuple(levels),  # type: ignore[arg-type]
    )


def _changes(comparison: Comparison, share: Share) -> bool:
    """Whether the denominator of a stratum leaves out rows whose answer is not known."""
    row = comparison.crude_row(comparison.choices.outcome)
    sizes = {flow.arm: flow.total.hits for flow in comparison.who.flows}
    return any(part.total != sizes[part.arm] for part in (row.axillary, row.femoral) if part.arm == share.arm)


# Time


def no_timing(timing: Timing) -> Timing:
    """No curve: each of its steps would have to wait until it has grown enough, as the counts do."""

    def blank(found: Incidence) -> Incidence:
        counts = tuple(hidden_share(share) for share in found.counts)
        return replace(found, lines=(), counts=counts, p_value=None, note=NO_CURVES, moved=())

    return Timing(
        mobilisation=tuple(blank(found) for found in timing.mobilisation),
        bridge=tuple(blank(found) for found in timing.bridge),
        restricted_means=(),
        not_followed=tuple(hidden_share(share) for share in timing.not_followed),
    )


# The rest


def naive_seen(naive: Naive) -> Naive:
    return replace(
        naive,
        ever=hidden_share(naive.ever),
        never=hidden_share(naive.never),
        crossed=hidden_share(naive.crossed),
        immortal_days=None,
        naive_ratio=no_contrast(RATIO, HIDDEN),
    )


def sensitivity_seen(found: Sensitivity, shown: bool, whole: bool) -> Sensitivity:
    """Each row is another group of patients, so its counts would give the difference away."""
    rows = tuple(
        replace(
            row,
            axillary=hidden_share(row.axillary),
            femoral=hidden_share(row.femoral),
            crude=no_contrast(DIFFERENCE, HIDDEN),
            adjusted=row.adjusted if shown else no_contrast(DIFFERENCE, HIDDEN),
            counted="",
        )
        for row in found.rows
    )
    known = shown and whole
    # The pace is a count of its own, and years give it away.
    wanted = tuple(replace(each, crude_years=None) for each in found.wanted) if known else ()
    return replace(found, rows=rows, wanted=wanted, now=found.now if known else None, pace=None)


def over_time_seen(found: OverTime) -> OverTime:
    """How many signals there were, not when: each is made of single patients."""
    learning = replace(
        found.learning,
        cases=0,
        events=None,
        expected=None,
        worse=(),
        better=(),
        happened=(),
        signals=tuple((name, 0) for name, _ in found.learning.signals),
        method="",
        drawn=False,
    )
    trends = tuple(
        replace(
            trend,
            at=(),
            quarters=(),
            values=(),
            lower=(),
            upper=(),
            centre=None,
            baseline="",
            signals=tuple((0, name) for _, name in trend.signals),
            refusal=trend.refusal or SINGLE_CASES,
        )
        for trend in found.trends
    )
    return OverTime(learning=learning, trends=trends)
