"""The sections that stand at once: who, how alike, crude and adjusted figures."""

from __future__ import annotations

from collections.abc import Sequence

from outcomes.comparison.choices import VIEW_MEANINGS
from outcomes.comparison.page import charts
from outcomes.comparison.page.diagram import diagram
from outcomes.comparison.page.figure_tables import adjusted_table, crude_table, rate_tables, strata_table
from outcomes.comparison.page.section import Later, Part, Picture, Section, Words
from outcomes.comparison.page.start_tables import baseline_table, moves_table, who_table, years_table
from outcomes.comparison.published import published_bands
from outcomes.comparison.value import ARMS, Baseline, Comparison, Overlap, Restriction
from outcomes.comparison.wording import percent, say_difference
from outcomes.wording import lower_first, number


def who_section(comparison: Comparison) -> Section:
    who = comparison.who
    parts: list[Part] = [Words(VIEW_MEANINGS[comparison.choices.view]), who_table(who)]
    picture = diagram(who.moves)
    if picture:
        parts.append(Picture(picture, moves_table(who)))
    if who.moved_twice.hits:
        parts.append(
            Words(
                f"{who.moved_twice.hits} changed route more than once; the picture shows their first and "
                "last "
                "pump."
            )
        )
    if who.other_route.hits:
        parts.append(Words(f"{who.other_route.hits} by another route are compared with nobody."))
    purpose = (
        "The route is a place in time: nobody is axillary from day 0 because an axillary pump came later."
    )
    return Section("who", "Who is compared", purpose, tuple(parts))


def alike_section(comparison: Comparison) -> Section:
    title = "How alike the groups were"
    purpose = (
        "What was known before the route was chosen. The further from 0, the more a crude figure mixes in."
    )
    baseline, adjusted = comparison.baseline, comparison.adjusted
    if baseline is None or adjusted is None:
        return Section("alike", title, purpose, (Later(),))
    overlap = adjusted.overlap
    weighted = any(row.after is not None for row in baseline.rows)
    parts: list[Part] = [
        charts.balance(
            baseline.rows,
            id="chart-balance",
            finding=_balance_finding(baseline),
            label="Standardised difference of each characteristic at the start, before and after weighting",
        ),
        baseline_table(baseline.rows, weighted=weighted),
    ]
    if baseline.unrecorded:
        parts.append(Words(f"Recorded in nobody: {', '.join(map(lower_first, baseline.unrecorded))}."))
    parts += _overlap(comparison, overlap)
    parts.append(years_table(baseline, comparison.who.unit))
    return Section("alike", title, purpose, tuple(parts))


def _balance_finding(baseline: Baseline) -> str:
    before = [row for row in baseline.rows if row.before is not None]
    after = [row for row in before if row.after is not None]
    large = sum(abs(row.before or 0.0) > 0.1 for row in before)
    said = f"{large} of {len(before)} characteristics differed by more than 0.1 standard deviations"
    if after:
        said += (
            f"; after weighting {sum(abs(row.after or 0.0) > 0.1 for row in after)} of {len(after)} still do"
        )
    return f"{said}."


def _overlap(comparison: Comparison, overlap: Overlap) -> list[Part]:
    parts: list[Part] = []
    if overlap.refusal:
        parts.append(Words(f"No adjusted figure is given: {overlap.reason}.", ask=True))
    if overlap.axillary:
        parts.append(
            charts.overlap(
                overlap,
                id="chart-overlap",
                finding=_overlap_finding(overlap),
                label="Number of each route by the chance of axillary given who the patient was",
            )
        )
    parts += [Words(text) for text in _model_words(comparison, overlap)]
    return parts


def _overlap_finding(overlap: Overlap) -> str:
    axillary, femoral = overlap.comparable
    if axillary is None or femoral is None:
        return "How likely axillary was, by route."
    return (
        f"Either route was a real possibility (10 to 90%) for {axillary} of {overlap.totals[0]} axillary and "
        f"{femoral} of {overlap.totals[1]} femoral."
    )


def _model_words(comparison: Comparison, overlap: Overlap) -> list[str]:
    said = _restriction_words(comparison, overlap)
    if overlap.terms:
        said.append(f"Adjusted for: {', '.join(overlap.terms)}.")
    said += [f"Not adjusted for, {text}." for text in overlap.not_adjusted]
    axillary, femoral = overlap.effective
    if axillary is not None and femoral is not None and not overlap.refusal:
        said.append(
            f"With {overlap.weights} weights the groups are worth {number(axillary, 0)} axillary and "
            f"{number(femoral, 0)} femoral {comparison.who.unit} (effective sample size)."
        )
    return said


def _restriction_words(comparison: Comparison, overlap: Overlap) -> list[str]:
    """Who is left out of adjusted figures, who is not, and how many they are about."""
    unit, said = comparison.who.unit, []
    for arm in ARMS:
        out, kept = (_named(parts, arm) for parts in (overlap.restricted, overlap.kept))
        lacking = f"nobody in the {arm.lower()} group had the like"
        if out:
            said.append(f"Left out of adjusted figures, as {lacking}: {out}.")
        if kept:
            said.append(f"Kept, though {lacking}, as so few may be chance: {kept}.")
    sizes = [flow.total.hits for flow in comparison.who.flows]
    if overlap.restricted and None not in (*sizes, *overlap.totals):
        said.append(
            f"Adjusted figures are about {overlap.totals[0]} of {sizes[0]} axillary and {overlap.totals[1]} "
            f"of {sizes[1]} femoral {unit}; one may have been left out for several reasons."
        )
    return said


def _named(parts: Sequence[Restriction], arm: str) -> str:
    """Levels that the arm lacks, with how many have them where that is shown."""
    return "; ".join(
        part.what if part.count is None else f"{part.what} ({part.count})"
        for part in parts
        if part.never == arm
    )


def crude_section(comparison: Comparison) -> Section:
    purpose = "What happened, before asking why: nothing here is adjusted for who the patients were."
    crude = comparison.crude
    if crude is None:
        return Section("crude", "Crude figures", purpose, (Later(),))
    complications = [row for row in crude.rows if row.family in ("complication", "composite", "device")]
    others = [row for row in crude.rows if row.family in ("course", "mobilisation")]
    bands = published_bands() if comparison.choices.bands else ()
    parts: list[Part] = [
        charts.forest(
            complications,
            id="chart-forest",
            finding=_crude_finding(comparison),
            label="Crude difference between the routes in the share with each complication",
        ),
    ]
    if crude.multiplicity:
        parts.append(Words(crude.multiplicity))
    parts.append(crude_table(complications, id="complications", caption="With the complication, whole stay"))
    parts.append(crude_table(others, id="others", caption="How it ended, and mobilisation"))
    if bands:
        parts.append(
            charts.shares(
                crude.rows,
                bands,
                id="chart-shares",
                finding=(
                    "This programme's shares over published ranges (grey: mixed definitions, not a target)."
                ),
                label="Share with each outcome by route, over published ranges",
            )
        )
    if crude.early:
        early = crude_table(
            crude.early,
            id="early",
            caption="With the complication in days 0 to 2",
            note="Of those followed from their first minute.",
            folded=True,
        )
        parts.append(early)
    parts += rate_tables(crude.rates)
    return Section("crude", "Crude figures", purpose, tuple(parts))


def _crude_finding(comparison: Comparison) -> str:
    row = comparison.crude_row(comparison.choices.outcome)
    if row.axillary.value is None or row.femoral.value is None:
        return "Crude differences, axillary minus femoral, with 95% limits."
    return (
        f"{row.label}: {percent(row.axillary.value, row.axillary.total)} axillary, "
        f"{percent(row.femoral.value, row.femoral.total)} femoral, before any adjustment."
    )


def adjusted_section(comparison: Comparison) -> Section:
    purpose = "The same patients made alike in what was recorded. What was not recorded is not adjusted for."
    adjusted = comparison.adjusted
    if adjusted is None:
        return Section("adjusted", "Adjusted figures", purpose, (Later(),))
    row = comparison.adjusted_row(comparison.choices.outcome)
    parts: list[Part] = []
    if row.refusal:
        parts.append(Words(f"{row.label}: {row.reason}.", ask=True))
    said = say_difference(row.difference)
    finding = (
        f"{row.label}: {said.value} points after weighting ({said.limits})."
        if said.value
        else "Outcomes that could be adjusted, before and after weighting."
    )
    parts += [
        charts.adjusted_forest(
            adjusted,
            id="chart-adjusted",
            finding=finding,
            label="Difference between the routes before and after weighting, same patients",
        ),
        adjusted_table(adjusted),
        strata_table(adjusted.stratified),
    ]
    return Section("adjusted", "Adjusted figures", purpose, tuple(parts))
