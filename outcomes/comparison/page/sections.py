"""Which tables, charts and words stand in which section of the comparison page, from top to bottom."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from outcomes.comparison.choices import VIEW_MEANINGS
from outcomes.comparison.endpoints import BY_CODE
from outcomes.comparison.page import charts
from outcomes.comparison.page.diagram import Diagram, diagram
from outcomes.comparison.page.figure_tables import adjusted_table, crude_table, rate_tables, strata_table
from outcomes.comparison.page.further_tables import (
    bands_table,
    means_table,
    naive_table,
    risk_table,
    sensitivity_table,
    tests_table,
    wanted_table,
)
from outcomes.comparison.page.start_tables import baseline_table, moves_table, who_table, years_table
from outcomes.comparison.page.table import Table
from outcomes.comparison.published import published_bands
from outcomes.comparison.value import Comparison, Incidence, Overlap, Trend
from outcomes.comparison.wording import percent, say_difference
from outcomes.figures import Chart
from outcomes.wording import count, number


@dataclass(frozen=True)
class Words:
    """A paragraph; ``ask`` for one that should catch the eye."""

    text: str
    ask: bool = False


@dataclass(frozen=True)
class Picture:
    """The diagram of routes with its numbers."""

    diagram: Diagram
    table: Table


Part = Words | Table | Chart | Picture


@dataclass(frozen=True)
class Section:
    id: str
    title: str
    purpose: str
    parts: tuple[Part, ...]


def sections(comparison: Comparison) -> tuple[Section, ...]:
    """The page below the summary; charts without points are left away."""
    made = [make(comparison) for make in _SECTIONS.values()]
    return tuple(_filled(section) for section in made if section.parts)


def section(comparison: Comparison, id: str) -> Section:
    """One section; KeyError if there is none of that name."""
    return _filled(_SECTIONS[id](comparison))


def _filled(made: Section) -> Section:
    kept = tuple(
        part
        for part in made.parts
        if not (isinstance(part, Chart) and part.empty) and not (isinstance(part, Table) and not part.rows)
    )
    return Section(made.id, made.title, made.purpose, kept)


def _who(comparison: Comparison) -> Section:
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


def _alike(comparison: Comparison) -> Section:
    baseline, overlap = comparison.baseline, comparison.adjusted.overlap
    weighted = any(row.after is not None for row in baseline.rows)
    parts: list[Part] = [
        charts.balance(
            baseline.rows,
            id="chart-balance",
            finding=_balance_finding(comparison),
            label="Standardised difference of each characteristic at the start, before and after weighting",
        ),
        baseline_table(baseline.rows, weighted=weighted),
    ]
    if baseline.unrecorded:
        parts.append(Words(f"Recorded in nobody: {', '.join(n.lower() for n in baseline.unrecorded)}."))
    parts += _overlap(comparison, overlap)
    parts.append(years_table(comparison))
    return Section(
        "alike",
        "How alike the groups were",
        "What was known before the route was chosen. The further from 0, the more a crude figure mixes in.",
        tuple(parts),
    )


def _balance_finding(comparison: Comparison) -> str:
    before = [row for row in comparison.baseline.rows if row.before is not None]
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
        parts.append(Words(f"No adjusted figure is given: {overlap.refusal}.", ask=True))
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
    said = []
    for part in overlap.restricted:
        number_of = f"{part.count} " if part.count is not None else ""
        never = part.never.lower()
        said.append(
            f"Left out of adjusted figures: {number_of}{comparison.who.unit} ({part.what}), as none of "
            "them was "
            f"{never}."
        )
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


def _crude(comparison: Comparison) -> Section:
    crude = comparison.crude
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
    purpose = "What happened, before asking why: nothing here is adjusted for who the patients were."
    return Section("crude", "Crude figures", purpose, tuple(parts))


def _crude_finding(comparison: Comparison) -> str:
    row = comparison.crude_row(comparison.choices.outcome)
    if row.axillary.value is None or row.femoral.value is None:
        return "Crude differences, axillary minus femoral, with 95% limits."
    return (
        f"{row.label}: {percent(row.axillary.value, row.axillary.total)} axillary, "
        f"{percent(row.femoral.value, row.femoral.total)} femoral, before any adjustment."
    )


def _adjusted(comparison: Comparison) -> Section:
    adjusted = comparison.adjusted
    row = comparison.adjusted_row(comparison.choices.outcome)
    parts: list[Part] = []
    if row.refusal:
        parts.append(Words(f"{row.label}: {row.refusal}.", ask=True))
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
    purpose = "The same patients made alike in what was recorded. What was not recorded is not adjusted for."
    return Section("adjusted", "Adjusted figures", purpose, tuple(parts))


def _time(comparison: Comparison) -> Section:
    timing = comparison.timing
    parts: list[Part] = []
    for found in (*timing.mobilisation, *(way for way in timing.bridge if way.code in ("replaced", "died"))):
        parts += _curve(found, comparison.who.unit)
    parts += [tests_table(timing), means_table(timing)]
    left_out = [share.hits for share in timing.not_followed if share.hits]
    if left_out:
        parts.append(Words(f"{sum(left_out)} who arrived with the device in place are not in this section."))
    purpose = "Other ways out compete: nobody is censored for dying, and the curves count everybody."
    return Section("time", "When it happened", purpose, tuple(parts))


def _curve(found: Incidence, unit: str) -> list[Part]:
    if not found.lines:
        return [Words(f"{found.label}: {found.note}.")] if found.note else []
    chart = charts.incidence(
        found,
        id=f"chart-{found.code}",
        finding=f"{found.label}, by route.",
        x_title="Days from the first insertion",
        y_title=unit.capitalize(),
    )
    return [chart, risk_table(found)]


def _naive(comparison: Comparison) -> Section:
    naive = comparison.naive
    parts: list[Part] = []
    if naive.immortal_days is not None and naive.crossed.hits is not None:
        parts.append(
            Words(
                f"{naive.crossed.hits} of the {count(naive.crossed.total)} courses that ever had an "
                "axillary pump "
                f"began with another route. Together they lived {count(naive.immortal_days)} days before "
                "they "
                "reached axillary: had they died in them, they would have been counted as femoral. To "
                "call them "
                "axillary from day 0 gives the axillary group days in which nobody in it could die."
            )
        )
    parts.append(naive_table(naive))
    parts.append(
        Words(
            "The first hazard ratio is what that mistake would print. The second counts each day under "
            "the route "
            "of that day. Both are crude: even the right one compares patients who were well enough to be "
            "moved."
        )
    )
    return Section(
        "naive",
        "Why not simply compare everyone who ever had an axillary pump?",
        "Worked out on this programme's own patients, to show what would go wrong.",
        tuple(parts),
    )


def _sensitivity(comparison: Comparison) -> Section:
    found = comparison.sensitivity
    parts = (sensitivity_table(found), wanted_table(found, comparison.who.unit))
    purpose = f"{BY_CODE[comparison.choices.outcome].label}: does the answer hang on how it is counted?"
    return Section("sensitivity", "Other ways to count, and what it would take", purpose, parts)


def _over_time(comparison: Comparison) -> Section:
    learning, outcome = comparison.over_time.learning, BY_CODE[comparison.choices.outcome].label
    parts: list[Part] = []
    if learning.refusal:
        parts.append(Words(f"Learning curve: {learning.refusal}."))
    elif learning.drawn:
        parts.append(
            charts.sums(
                learning,
                id="chart-learning",
                finding=_learning_finding(comparison, outcome),
                label=(
                    f"Cumulative sums of {outcome.lower()} against expectation, axillary courses in sequence"
                ),
            )
        )
        parts.append(Words(_signal_rule(comparison)))
    else:
        signals = len(learning.signals)
        parts.append(
            Words(f"Learning curve: {signals} signals. It is drawn from single patients, so not shown here.")
        )
    for trend in comparison.over_time.trends:
        parts += _trend(trend, outcome)
    purpose = "Charts describe the programme in time. They are no test of a difference and no alarm."
    return Section("over-time", "Over time", purpose, tuple(parts))


def _learning_finding(comparison: Comparison, outcome: str) -> str:
    learning = comparison.over_time.learning
    signals = f"{len(learning.signals)} signals" if learning.signals else "no signal"
    return (
        f"{outcome} in {learning.cases} axillary courses in sequence: {count(learning.events)} happened, "
        f"{number(learning.expected or 0.0, 1)} expected; {signals}."
    )


def _signal_rule(comparison: Comparison) -> str:
    learning = comparison.over_time.learning
    adjusted = (
        f"adjusted for {', '.join(learning.risk_terms)}" if learning.risk_terms else "the same for everybody"
    )
    high, low = learning.thresholds
    at = ", ".join(f"{name} at case {place}" for name, place in learning.signals)
    return (
        f"Signal rule: the upper sum reaches {number(high, 2)} (twice the expected odds) or the lower one "
        f"{number(low, 2).replace('-', '−')} (half); the sum then starts again. Without any change that "
        "happens "
        f"once in about {count(learning.run_lengths[0])} cases. Expected risks are {adjusted}."
        f"{f' Signals: {at}.' if at else ''}"
    )


def _trend(trend: Trend, outcome: str) -> list[Part]:
    route = trend.arm.lower()
    if trend.refusal:
        signals = f" {len(trend.signals)} signals." if trend.signals else ""
        return [Words(f"{outcome}, {route} pumps: {trend.refusal}.{signals}")]
    signals = f"{len(trend.signals)} signals" if trend.signals else "no signal"
    what = "by month" if trend.kind == "u" else "days between events"
    chart = charts.control(
        trend,
        id=f"chart-trend-{route}",
        finding=f"{outcome}, {route} pumps, {what}: {signals}.",
        label=f"Control chart of {outcome.lower()} with {route} pumps",
    )
    return [chart, *([Words(_signals(trend))] if trend.signals else [])]


def _signals(trend: Trend) -> str:
    said = dict.fromkeys(f"{trend.at[place]} ({rule})" for place, rule in trend.signals)
    return f"Signals: {'; '.join(said)}."


def _bands(comparison: Comparison) -> Section:
    if not comparison.choices.bands:
        return Section("bands", "Published ranges", "", ())
    labels = {code: endpoint.label for code, endpoint in BY_CODE.items()}
    return Section(
        "bands",
        "Published ranges",
        "Published range, mixed definitions, not a target; never evidence of one route against the other.",
        (bands_table(published_bands(), labels),),
    )


_SECTIONS: dict[str, Callable[[Comparison], Section]] = {
    "who": _who,
    "alike": _alike,
    "crude": _crude,
    "adjusted": _adjusted,
    "time": _time,
    "naive": _naive,
    "sensitivity": _sensitivity,
    "over-time": _over_time,
    "bands": _bands,
}
