"""The comparison as the quality committee sees it: a function from one frozen value to another.

Counts are shown out of the whole arm, so that nobody's missing outcome can be worked out from a changing
denominator. What is drawn from single patients is left away. See docs/comparison.md for the rules.
"""

from __future__ import annotations

from dataclasses import replace

from outcomes.comparison.committee_further import (
    adjusted_seen,
    baseline_seen,
    naive_seen,
    no_baseline,
    no_timing,
    over_time_seen,
    sensitivity_seen,
)
from outcomes.comparison.crude import DIFFERENCE, RATE_RATIO, RATIO, crude_contrasts, multiplicity
from outcomes.comparison.guard import Guard
from outcomes.comparison.shares import hidden_share, no_contrast
from outcomes.comparison.suppression import both_safe, hidden_parts, is_small
from outcomes.comparison.value import (
    HIDDEN,
    Comparison,
    Crude,
    CrudeRow,
    Flow,
    RateRow,
    Share,
    Who,
)
from outcomes.estimators.proportions import proportion

COMMITTEE = "the quality committee"
OF_ALL = "of all begun; those whose outcome is not known yet count as without it"


def for_committee(comparison: Comparison, guard: Guard) -> Comparison:
    """The same comparison with small counts, and whatever gives them away, hidden.

    Raises ValueError without the crude part, which says what may be shown of the others.
    """
    if comparison.crude is None:
        raise ValueError("comparison: needs its crude part")
    sizes = {flow.arm: _size(flow, guard) for flow in comparison.who.flows}
    crude = _crude(comparison.crude, guard, sizes, comparison.level)
    outcome = comparison.choices.outcome
    whole, adjusted = not guard.filtered, outcome in guard.adjustable
    baseline = comparison.baseline
    baseline = baseline and (baseline_seen(baseline, guard) if whole else no_baseline(baseline))
    return replace(
        comparison,
        who=_who(comparison.who, guard, sizes),
        baseline=baseline,
        crude=crude,
        adjusted=comparison.adjusted and adjusted_seen(comparison, comparison.adjusted, guard, baseline),
        timing=comparison.timing and no_timing(comparison.timing),
        naive=comparison.naive and naive_seen(comparison.naive),
        sensitivity=comparison.sensitivity
        and sensitivity_seen(comparison.sensitivity, adjusted, whole and guard.current(outcome)),
        over_time=comparison.over_time and over_time_seen(comparison.over_time),
        shown_to=COMMITTEE,
        smallest_cell=guard.threshold,
    )


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
        moved_twice=hidden_share(who.moved_twice),
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


def _crude(crude: Crude, guard: Guard, sizes: dict[str, int | None], level: float) -> Crude:
    rows = _contrasted([_crude_row(row, guard, sizes, level) for row in crude.rows], level)
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
        early=_contrasted(early, level),
        rates=tuple(rates),
        multiplicity=multiplicity(rows),
    )


def _crude_row(row: CrudeRow, guard: Guard, sizes: dict[str, int | None], level: float) -> CrudeRow:
    axillary = _of_all(row, row.axillary, guard, sizes, level)
    femoral = _of_all(row, row.femoral, guard, sizes, level)
    until = "" if axillary.hidden or femoral.hidden else guard.until.get(row.code, "")
    return replace(row, axillary=axillary, femoral=femoral, until=until)


def _of_all(row: CrudeRow, share: Share, guard: Guard, sizes: dict[str, int | None], level: float) -> Share:
    stands = guard.shown.get((row.code, share.arm))
    if stands is None or sizes[share.arm] is None:
        return hidden_share(share)
    if not stands.rows:
        return replace(share, hits=0, total=0, value=None, lower=None, upper=None)
    found = proportion(events=stands.hits, total=stands.rows, level=level)
    return replace(
        share,
        hits=stands.hits,
        total=stands.rows,
        value=found.value,
        lower=found.lower,
        upper=found.upper,
        method="Wilson",
        note="" if stands.rows == share.total else OF_ALL,
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
        if row.code not in guard.early:
            return hidden_share(early)
        parts = (early.hits, all_.hits - early.hits, all_.total - early.total, early.total - early.hits)
        return hidden_share(early) if any(is_small(part, guard.threshold) for part in parts) else early

    return replace(row, axillary=seen(row.axillary, whole.axillary), femoral=seen(row.femoral, whole.femoral))


def _rate_row(row: RateRow, whole: CrudeRow, guard: Guard) -> RateRow:
    """Events are shown where the patients with them are, and neither events nor repeats are few."""

    def seen(rate: Share, share: Share) -> Share:
        if rate.hits is None or share.hits is None or row.code not in guard.rates:
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
