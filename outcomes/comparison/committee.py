"""The comparison as the quality committee sees it: a function from one frozen value to another.

Counts are shown out of the whole arm, so that nobody's missing outcome can be worked out from a changing
denominator. What is drawn from single patients is left away. See docs/comparison.md for the rules.
"""

from __future__ import annotations

from dataclasses import replace

from outcomes.comparison.choices import FACTORS
from outcomes.comparison.crude import DIFFERENCE, RATE_RATIO, RATIO, crude_contrasts
from outcomes.comparison.filters import LEVELS
from outcomes.comparison.guard import Guard
from outcomes.comparison.shares import no_contrast
from outcomes.comparison.suppression import both_safe, hidden_parts, is_small, shown_steps
from outcomes.comparison.value import (
    HIDDEN,
    Adjusted,
    AdjustedRow,
    Baseline,
    BaselineRow,
    Comparison,
    Crude,
    CrudeRow,
    Flow,
    Incidence,
    Line,
    Naive,
    OverTime,
    RateRow,
    Sensitivity,
    Share,
    Stratified,
    Timing,
    Who,
)
from outcomes.estimators.proportions import proportion

COMMITTEE = "the quality committee"
SINGLE_CASES = "drawn from single patients, so not shown here"
WHOLE_ONLY = "shown for the whole logbook only: beside it, a filtered table would give small counts away"
OF_ALL = "of all begun; those whose outcome is not known yet count as without it"


def for_committee(comparison: Comparison, guard: Guard) -> Comparison:
    """The same comparison with small counts, and whatever gives them away, hidden."""
    sizes = {flow.arm: _size(flow, guard) for flow in comparison.who.flows}
    crude = _crude(comparison, guard, sizes)
    shown = {row.code for row in crude.rows if not row.axillary.hidden and not row.femoral.hidden}
    whole = not guard.filtered
    return replace(
        comparison,
        who=_who(comparison.who, guard, sizes),
        baseline=_baseline(comparison.baseline, guard) if whole else _no_baseline(comparison.baseline),
        crude=crude,
        adjusted=_adjusted(comparison, guard, shown),
        timing=_timing(comparison.timing, guard.threshold) if whole else _no_timing(comparison.timing),
        naive=_naive(comparison.naive),
        sensitivity=_sensitivity(comparison, comparison.choices.outcome in shown, whole),
        over_time=_over_time(comparison.over_time),
        shown_to=COMMITTEE,
        smallest_cell=guard.threshold,
    )


def hidden_share(share: Share) -> Share:
    """The same share without any number."""
    return replace(share, hits=None, total=None, value=None, lower=None, upper=None, method="", note=HIDDEN)


def _size(flow: Flow, guard: Guard) -> int | None:
    """Rows of an arm, unless they are few or protect others."""
    count = flow.total.hits
    if flow.arm in guard.sizes or is_small(count, guard.threshold):
        return None
    return count


def _who(who: Who, guard: Guard, sizes: dict[str, int | None]) -> Who:
    flows = tuple(_flow(flow, guard, sizes[flow.arm]) for flow in who.flows)
    rows = sum(flow.total.hits or 0 for flow in who.flows)
    few_twice = is_small(rows - (who.patients.hits or 0), guard.threshold)
    patients = guard.filtered or few_twice or None in sizes.values()
    return replace(
        who,
        flows=flows,
        moves=(),
        patients=hidden_share(who.patients) if patients else who.patients,
        other_route=_plain(who.other_route, guard),
        transfers_in=tuple(
            share
            if not guard.filtered and both_safe(share.hits, share.total, guard.threshold)
            else hidden_share(share)
            for share in who.transfers_in
        ),
    )


def _plain(share: Share, guard: Guard) -> Share:
    return hidden_share(share) if guard.filtered or is_small(share.hits, guard.threshold) else share


def _flow(flow: Flow, guard: Guard, size: int | None) -> Flow:
    if size is None or guard.filtered:
        return replace(
            flow,
            total=flow.total if size is not None else hidden_share(flow.total),
            paths=tuple((label, hidden_share(share)) for label, share in flow.paths),
            unplaced=hidden_share(flow.unplaced),
        )
    away = hidden_parts([share.hits or 0 for _, share in flow.paths], guard.threshold)
    return replace(
        flow,
        paths=tuple(
            (label, hidden_share(share) if hide else share)
            for (label, share), hide in zip(flow.paths, away, strict=True)
        ),
        unplaced=_plain(flow.unplaced, guard),
    )


# Crude


def _crude(comparison: Comparison, guard: Guard, sizes: dict[str, int | None]) -> Crude:
    crude = comparison.crude
    rows = _contrasted(
        [_crude_row(row, guard, sizes, comparison.level) for row in crude.rows], comparison.level
    )
    if guard.filtered:
        return Crude(rows=rows, early=(), rates=(), multiplicity="")
    whole = {row.code: row for row in rows}
    early = [_early_row(row, whole[row.code], guard) for row in crude.early]
    rates = [
        _rate_row(row, whole[row.code], guard)
        for row in crude.rates
        if row.axillary.key.startswith("rate-all/")
    ]
    return Crude(
        rows=rows,
        early=_contrasted(early, comparison.level),
        rates=tuple(rates),
        multiplicity=crude.multiplicity,
    )


def _crude_row(row: CrudeRow, guard: Guard, sizes: dict[str, int | None], level: float) -> CrudeRow:
    return replace(
        row,
        axillary=_of_all(row, row.axillary, guard, sizes, level),
        femoral=_of_all(row, row.femoral, guard, sizes, level),
    )


def _of_all(row: CrudeRow, share: Share, guard: Guard, sizes: dict[str, int | None], level: float) -> Share:
    size, hits = sizes[share.arm], share.hits
    if size is None or (row.code, share.arm) in guard.hits or not both_safe(hits, size, guard.threshold):
        return hidden_share(share)
    if not size:
        return share
    found = proportion(events=hits or 0, total=size, level=level)
    return replace(
        share,
        total=size,
        value=found.value,
        lower=found.lower,
        upper=found.upper,
        note="" if size == share.total else OF_ALL,
    )


def _contrasted(rows: list[CrudeRow], level: float) -> tuple[CrudeRow, ...]:
    """Contrasts anew from what is still shown."""
    contrasts = crude_contrasts([(row.axillary, row.femoral) for row in rows], level)
    return tuple(
        replace(row, difference=no_contrast(DIFFERENCE, HIDDEN), ratio=no_contrast(RATIO, HIDDEN))
        if row.axillary.hidden or row.femoral.hidden
        else replace(row, difference=difference, ratio=ratio)
        for row, (difference, ratio) in zip(rows, contrasts, strict=True)
    )


def _early_row(row: CrudeRow, whole: CrudeRow, guard: Guard) -> CrudeRow:
    """Early events beside those of the whole stay: early, later only and never must each be safe."""

    def seen(early: Share, all_: Share) -> Share:
        if early.hits is None or early.total is None or all_.hits is None or all_.total is None:
            return hidden_share(early)
        parts = (early.hits, all_.hits - early.hits, all_.total - early.total, early.total - early.hits)
        return hidden_share(early) if any(is_small(part, guard.threshold) for part in parts) else early

    return replace(row, axillary=seen(row.axillary, whole.axillary), femoral=seen(row.femoral, whole.femoral))


def _rate_row(row: RateRow, whole: CrudeRow, guard: Guard) -> RateRow:
    """Events are shown where the patients with them are, and neither events nor repeats are few."""

    def seen(rate: Share, share: Share) -> Share:
        if rate.hits is None or share.hits is None:
            return hidden_share(rate)
        few = is_small(rate.hits, guard.threshold) or is_small(rate.hits - share.hits, guard.threshold)
        return hidden_share(rate) if few else rate

    axillary, femoral = seen(row.axillary, whole.axillary), seen(row.femoral, whole.femoral)
    hidden = axillary.hidden or femoral.hidden
    return replace(
        row,
        axillary=axillary,
        femoral=femoral,
        ratio=no_contrast(RATE_RATIO, HIDDEN) if hidden else row.ratio,
    )


# Baseline


def _baseline(baseline: Baseline, guard: Guard) -> Baseline:
    groups: dict[str, list[BaselineRow]] = {}
    for row in baseline.rows:
        groups.setdefault(row.label.partition(": ")[0], []).append(row)
    rows = [seen for group in groups.values() for seen in _baseline_group(group, guard.threshold)]
    years = tuple(
        (year, *(hidden_share(s) if (year, s.arm) in guard.years else s for s in shares))
        for year, *shares in baseline.by_year
    )
    return replace(baseline, rows=tuple(rows), by_year=years)  # type: ignore[arg-type]


def _no_baseline(baseline: Baseline) -> Baseline:
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


def _adjusted(comparison: Comparison, guard: Guard, shown: set[str]) -> Adjusted:
    adjusted = comparison.adjusted
    overlap = replace(
        adjusted.overlap,
        axillary=(),
        femoral=(),
        comparable=(None, None),
        totals=(None, None),
        restricted=tuple(replace(part, count=None) for part in adjusted.overlap.restricted),
    )
    return Adjusted(
        overlap=overlap,
        rows=tuple(_adjusted_row(row, row.code in shown) for row in adjusted.rows),
        stratified=_stratified(comparison, guard, comparison.choices.outcome in shown),
    )


def _adjusted_row(row: AdjustedRow, shown: bool) -> AdjustedRow:
    """Weighted figures cannot be turned back into counts; those of the same rows unweighted can."""
    row = replace(
        row,
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


def _stratified(comparison: Comparison, guard: Guard, shown: bool) -> Stratified:
    found = comparison.adjusted.stratified
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


def _timing(timing: Timing, threshold: int) -> Timing:
    transfers = [both_safe(share.hits, share.total, threshold) for share in timing.not_followed]
    if not all(transfers):
        return _no_timing(timing)
    return replace(
        timing,
        mobilisation=tuple(_incidence(found, threshold) for found in timing.mobilisation),
        bridge=tuple(_incidence(found, threshold) for found in timing.bridge),
    )


def _no_timing(timing: Timing) -> Timing:
    def blank(found: Incidence) -> Incidence:
        counts = tuple(hidden_share(share) for share in found.counts)
        return replace(found, lines=(), counts=counts, p_value=None, note=WHOLE_ONLY)

    return Timing(
        mobilisation=tuple(blank(found) for found in timing.mobilisation),
        bridge=tuple(blank(found) for found in timing.bridge),
        restricted_means=(),
        not_followed=tuple(hidden_share(share) for share in timing.not_followed),
    )


def _incidence(found: Incidence, threshold: int) -> Incidence:
    return replace(
        found,
        lines=tuple(_line(line, threshold) for line in found.lines),
        counts=tuple(hidden_share(share) for share in found.counts),
    )


def _line(line: Line, threshold: int) -> Line:
    """The curve through those days alone between which no small number of patients was added."""
    total = line.subjects or 0
    shown = shown_steps(line.reached, total, threshold)
    kept = [k for k, seen in enumerate(shown) if seen]
    at_risk = [total - (count or 0) for count in line.risk_counts]
    risk = shown_steps(at_risk, total, threshold)
    return replace(
        line,
        days=tuple(line.days[k] for k in kept),
        values=tuple(line.values[k] for k in kept),
        lower=tuple(line.lower[k] for k in kept),
        upper=tuple(line.upper[k] for k in kept),
        reached=tuple(line.reached[k] for k in kept),
        risk_counts=tuple(
            count if seen else None for count, seen in zip(line.risk_counts, risk, strict=True)
        ),
    )


# The rest


def _naive(naive: Naive) -> Naive:
    return replace(
        naive,
        ever=hidden_share(naive.ever),
        never=hidden_share(naive.never),
        crossed=hidden_share(naive.crossed),
        immortal_days=None,
        naive_ratio=no_contrast(RATIO, HIDDEN),
    )


def _sensitivity(comparison: Comparison, shown: bool, whole: bool) -> Sensitivity:
    """Each row is another group of patients, so its counts would give the difference away."""
    found = comparison.sensitivity
    rows = tuple(
        replace(
            row,
            axillary=hidden_share(row.axillary),
            femoral=hidden_share(row.femoral),
            crude=no_contrast(DIFFERENCE, HIDDEN),
            adjusted=row.adjusted if shown else no_contrast(DIFFERENCE, HIDDEN),
        )
        for row in found.rows
    )
    known = shown and whole
    return replace(
        found, rows=rows, wanted=found.wanted if known else (), now=found.now if known else None,
        pace=found.pace if known else None,
    )  # fmt: skip


def _over_time(found: OverTime) -> OverTime:
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
