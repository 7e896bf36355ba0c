"""The sections that are fetched after the page stands: time, the naive figure, sensitivity, trends."""

from __future__ import annotations

from outcomes.comparison import limits
from outcomes.comparison.endpoints import BY_CODE
from outcomes.comparison.page import charts
from outcomes.comparison.page.further_tables import (
    bands_table,
    means_table,
    naive_table,
    risk_table,
    sensitivity_table,
    tests_table,
    wanted_table,
)
from outcomes.comparison.page.section import Later, Part, Section, Words
from outcomes.comparison.published import published_bands
from outcomes.comparison.summary import robustness
from outcomes.comparison.value import ARMS, Comparison, Incidence
from outcomes.comparison.value_over_time import LearningCurve, Trend
from outcomes.wording import count, lower_first, number


def time_section(comparison: Comparison) -> Section:
    purpose = "Other ways out compete: nobody is censored for dying, and the curves count everybody."
    timing = comparison.timing
    if timing is None:
        return Section("time", "When it happened", purpose, (Later(),))
    parts: list[Part] = []
    for found in (*timing.mobilisation, *(way for way in timing.bridge if way.code in ("replaced", "died"))):
        parts += _curve(found, comparison.who.unit)
    parts += [tests_table(timing), means_table(timing)]
    left_out = [share.hits for share in timing.not_followed if share.hits]
    if left_out:
        parts.append(Words(f"{sum(left_out)} who arrived with the device in place are not in this section."))
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
    return [chart, *_moved(found), risk_table(found)]


def _moved(found: Incidence) -> list[Words]:
    """How many of each group got there on a pump by the other route."""
    said = [
        f"in the {share.arm.lower()} group {count(share.hits)} of {count(share.total)} came after the change "
        f"to {other.lower()}"
        for share, other in zip(found.moved, reversed(ARMS), strict=False)
        if share.hits
    ]
    return [Words(f"{found.label}: {', '.join(said)}.")] if said else []


def naive_section(comparison: Comparison) -> Section:
    title = "Why not simply compare everyone who ever had an axillary pump?"
    purpose = "Worked out on this programme's own patients, to show what would go wrong."
    naive = comparison.naive
    if naive is None:
        return Section("naive", title, purpose, (Later(),))
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
    return Section("naive", title, purpose, tuple(parts))


def sensitivity_section(comparison: Comparison) -> Section:
    title = "Other ways to count, and what it would take"
    purpose = f"{BY_CODE[comparison.choices.outcome].label}: does the answer hang on how it is counted?"
    found = comparison.sensitivity
    if found is None:
        return Section("sensitivity", title, purpose, (Later(),))
    of_events = BY_CODE[comparison.choices.outcome].of_events
    sentences = robustness(found, comparison.who.unit, of_events=of_events)
    said: tuple[Part, ...] = tuple(Words(text) for text in sentences)
    parts: tuple[Part, ...] = (*said, sensitivity_table(found), wanted_table(found, comparison.who.unit))
    return Section("sensitivity", title, purpose, parts)


def over_time_section(comparison: Comparison) -> Section:
    purpose = "Charts describe the programme in time. They are no test of a difference and no alarm."
    found, outcome = comparison.over_time, BY_CODE[comparison.choices.outcome].label
    if found is None:
        return Section("over-time", "Over time", purpose, (Later(),))
    learning = found.learning
    parts: list[Part] = []
    if learning.refusal:
        parts.append(Words(f"Learning curve: {learning.refusal}."))
    elif learning.drawn:
        parts.append(
            charts.sums(
                learning,
                id="chart-learning",
                finding=_learning_finding(learning, outcome),
                label=(
                    f"Cumulative sums of {lower_first(outcome)} against expectation, "
                    "axillary courses in sequence"
                ),
            )
        )
        parts.append(Words(_signal_rule(learning)))
    else:
        signals = len(learning.signals)
        parts.append(
            Words(f"Learning curve: {signals} signals. It is drawn from single patients, so not shown here.")
        )
    for trend in found.trends:
        parts += _trend(trend, outcome)
    return Section("over-time", "Over time", purpose, tuple(parts))


def _learning_finding(learning: LearningCurve, outcome: str) -> str:
    signals = f"{len(learning.signals)} signals" if learning.signals else "no signal"
    latest = "the latest " if learning.cases == limits.MOST_CUSUM_CASES else ""
    return (
        f"{outcome} in {latest}{count(learning.cases)} axillary courses in sequence: "
        f"{count(learning.events)} happened, "
        f"{number(learning.expected or 0.0, 1)} expected; {signals}."
    )


def _signal_rule(learning: LearningCurve) -> str:
    adjusted = (
        f"adjusted for {', '.join(learning.risk_terms)}" if learning.risk_terms else "the same for everybody"
    )
    high, low = learning.thresholds
    at = ", ".join(f"{name} at case {place}" for name, place in learning.signals)
    return (
        f"Signal rule: the upper sum reaches {number(high, 2)} (twice the expected odds) or the lower one "
        f"{number(low, 2)} (half); the sum then starts again. Without any change that "
        "happens "
        f"once in about {count(learning.run_lengths[0])} cases. Expected risks are {adjusted}."
        f"{f' Signals: {at}.' if at else ''}"
    )


_FROZEN = (
    f"Limits are frozen on the first {limits.BASELINE_MONTHS} full months. Signal rule: a point beyond a "
    "limit, or a run of points on one side of the centre"
)
CONTROL_RULES = {
    "u": f"{_FROZEN}.",
    "t": (
        f"{_FROZEN}. Fewer than {limits.FEWEST_BASELINE_EVENTS} events fell into those months, so the gaps "
        "between events are charted: low points mean that events come closer. They do so too when more pumps "
        "are placed."
    ),
    "g": (
        f"{_FROZEN}, or several pumps with the event in a row. Low points mean fewer pumps between "
        "those with the event, however many were placed in a month."
    ),
}


def _trend(trend: Trend, outcome: str) -> list[Part]:
    route = trend.arm.lower()
    if trend.refusal:
        signals = f" {len(trend.signals)} signals." if trend.signals else ""
        return [Words(f"{outcome}, {route} pumps: {trend.refusal}.{signals}")]
    signals = f"{len(trend.signals)} signals" if trend.signals else "no signal"
    what = {"u": "by month", "t": "days between events", "g": "pumps without it between those with it"}[
        trend.kind
    ]
    chart = charts.control(
        trend,
        id=f"chart-trend-{route}" if trend.kind != "g" else f"chart-pumps-{route}",
        finding=f"{outcome}, {route} pumps, {what}: {signals}.",
        label=f"Control chart of {lower_first(outcome)} with {route} pumps, {what}",
    )
    said = CONTROL_RULES[trend.kind]
    return [chart, Words(f"{said} {_signals(trend)}" if trend.signals else said)]


def _signals(trend: Trend) -> str:
    said = dict.fromkeys(f"{trend.at[place]} ({rule})" for place, rule in trend.signals)
    return f"Signals: {'; '.join(said)}."


def bands_section(comparison: Comparison) -> Section:
    if not comparison.choices.bands:
        return Section("bands", "Published ranges", "", ())
    labels = {code: endpoint.label for code, endpoint in BY_CODE.items()}
    return Section(
        "bands",
        "Published ranges",
        "Published range, mixed definitions, not a target; never evidence of one route against the other.",
        (bands_table(published_bands(), labels),),
    )
