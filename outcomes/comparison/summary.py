"""What can and cannot be concluded, in plain words composed by fixed rules (docs/comparison.md lists them).

No sentence says that a route causes, prevents, improves or harms anything: routes were chosen, not drawn.
"""

from __future__ import annotations

from outcomes.comparison import limits
from outcomes.comparison.time_at_risk import TimeAtRisk, time_at_risk
from outcomes.comparison.value import (
    HIDDEN,
    AdjustedRow,
    BaselineRow,
    Comparison,
    Contrast,
    CrudeRow,
    Sensitivity,
    SensitivityRow,
    Share,
    Wanted,
)
from outcomes.comparison.wording import difference_limits, percent, points
from outcomes.wording import count, lower_first, number

NAMED_DIFFERENCES = 3
NEVER_CAUSAL = (
    "Routes were chosen for patients, not drawn by lot, so nothing here can show that the route itself made "
    "a difference."
)
OF_SHARES = "These are shares, which do not allow for unequal times on support."
ASKED_WIDTH = 0.05
SAME = 0.02  # a shift of less than two points is called none


def summary(comparison: Comparison) -> tuple[str, ...]:
    """The paragraphs on top: who, what was seen, and how far it carries. Empty sentences are left out.

    Needs the baseline, crude and adjusted parts; KeyError without the last two.
    """
    row = comparison.crude_row(comparison.choices.outcome)
    adjusted = comparison.adjusted_row(comparison.choices.outcome)
    times = time_at_risk(comparison, comparison.choices.outcome)
    said = (
        (_who(comparison), _alike(comparison)),
        (
            _crude(row),
            times.sentence if times and row.difference.value is not None else "",
            _adjusted(comparison, adjusted, times),
            _left_over(comparison, adjusted),
        ),
        (_unmeasured(adjusted, times), NEVER_CAUSAL),
    )
    return tuple(" ".join(sentence for sentence in sentences if sentence) for sentences in said)


def _who(comparison: Comparison) -> str:
    sizes = {flow.arm: flow.total.hits for flow in comparison.who.flows}
    if any(size is None for size in sizes.values()):
        return "At least one of the two groups is too small for its size to be shown here."
    ways = {
        "intended": "by the route tried first",
        "first": "by the route of the first pump",
        "used": "by the route in place",
    }
    at = f" at {' and '.join(comparison.centres)}" if len(comparison.centres) > 1 else ""
    narrowed = f" ({', '.join(comparison.choices.narrowed)})" if comparison.choices.narrowed else ""
    return (
        f"Compared are {count(sizes['AXILLARY'])} axillary and {count(sizes['FEMORAL'])} femoral "
        f"{comparison.who.unit}{at}{narrowed}, {ways[comparison.choices.view]}."
    )


def _alike(comparison: Comparison) -> str:
    """The largest differences at the start, and what weighting left of them."""
    rows = [row for row in _baseline_rows(comparison) if row.before is not None]
    large = sorted(
        (row for row in rows if abs(row.before or 0.0) > limits.UNBALANCED),
        key=lambda row: -abs(row.before or 0.0),
    )
    if not rows:
        return ""
    if not large:
        return "The two groups were alike in everything that was recorded about them at the start."
    named = _named(large)
    return f"At the start the groups differed most in {', '.join(named)}; a crude figure mixes that in."


def _baseline_rows(comparison: Comparison) -> tuple[BaselineRow, ...]:
    return comparison.baseline.rows if comparison.baseline else ()


def _named(rows: list[BaselineRow]) -> list[str]:
    """Names without the level, each once."""
    names = dict.fromkeys(lower_first(row.label.partition(":")[0].partition(",")[0]) for row in rows)
    return list(names)[:NAMED_DIFFERENCES]


def _crude(row: CrudeRow) -> str:
    if row.axillary.hidden or row.femoral.hidden:
        return f"{row.label}: too few, with or without it, to show."
    if row.axillary.value is None or row.femoral.value is None:
        return f"{row.label}: too few to show or to compare."
    until = f" (to the end of {row.until})" if row.until else ""
    shares = (
        f"{row.label}{until}: {_share(row.axillary)} of the axillary and {_share(row.femoral)} of the "
        "femoral group"
    )
    return f"{shares}, a crude difference of {_points_and_limits(row.difference)}."


def _share(share: Share) -> str:
    """A percentage with what it is out of."""
    return f"{percent(share.value or 0.0, share.total)} ({count(share.hits)}/{count(share.total)})"


def _points_and_limits(contrast: Contrast) -> str:
    said = f"{points(contrast.value or 0.0)} percentage points"
    found = difference_limits(contrast)
    return f"{said} ({found})" if found else said


def _adjusted(comparison: Comparison, row: AdjustedRow, times: TimeAtRisk | None) -> str:
    overlap = comparison.adjusted.overlap if comparison.adjusted else None
    terms = ", ".join(overlap.terms) if overlap else ""
    if row.refusal or row.difference.value is None:
        reason = row.reason or row.difference.note
        if reason == HIDDEN:
            return "The adjusted figure is not shown here, as the counts under it are small."
        return (
            f"There is no adjusted figure ({reason}), so the crude difference cannot be told apart from a "
            "difference between the patients."
        )
    weighted = (
        f"Weighted so that both groups are alike in {terms}{_among(comparison)}, "
        f"the difference is {_points_and_limits(row.difference)}"
    )
    return f"{weighted}{_shift(row)}: {_verdict(row.difference, times)}."


def _among(comparison: Comparison) -> str:
    """Of whom the weighted figure speaks; how many they are is for the programme."""
    overlap = comparison.adjusted.overlap if comparison.adjusted else None
    if overlap is None or not overlap.restricted:
        return ""
    left = ""
    if None not in overlap.totals:
        axillary, femoral = (count(total) for total in overlap.totals)
        left = f"{axillary} axillary, {femoral} femoral; "
    without = ", ".join(restriction.what for restriction in overlap.restricted)
    return f", among those who could have had either route ({left}without: {without})"


def _shift(row: AdjustedRow) -> str:
    """How weighting changed the difference of the same patients."""
    before, after = row.crude.value, row.difference.value
    if before is None or after is None:
        return ""
    if abs(after - before) < SAME:
        return f", much as before weighting ({points(before)})"
    if before * after < 0:
        return f", on the other side of zero from before weighting ({points(before)})"
    return (
        f", {'nearer to' if abs(after) < abs(before) else 'further from'} zero than before ({points(before)})"
    )


def _verdict(contrast: Contrast, times: TimeAtRisk | None) -> str:
    """What the limits allow to be said; of events, no more than the times at risk allow."""
    low, high = contrast.lower, contrast.upper
    if low is None or high is None:
        why = f" ({contrast.note})" if contrast.note else ""
        return f"without limits{why}, it says nothing about chance"
    if low > 0.0 or high < 0.0:
        direction = f"{'more' if low > 0.0 else 'less'} often in the axillary group"
        if times and not times.bears_out(contrast):
            return f"the limits exclude zero, {direction}, but a share cannot tell more risk from more time"
        return f"more than chance alone would explain, {direction}"
    ends = f"{_in_points(-low)} fewer to {_in_points(high)} more"
    return f"the data fit no difference, and anything from {ends} in the axillary group"


def _in_points(value: float) -> str:
    said = number(value * 100, 0)
    return f"{said} {'point' if said == '1' else 'points'}"


def _left_over(comparison: Comparison, row: AdjustedRow) -> str:
    """What weighting could not make alike."""
    if row.refusal or row.difference.value is None:
        return ""
    large = sorted(
        (r for r in _baseline_rows(comparison) if abs(r.after or 0.0) > limits.UNBALANCED),
        key=lambda r: -abs(r.after or 0.0),
    )
    if not large:
        return "After weighting the groups are alike in everything recorded."
    return f"Weighting left them unlike in {', '.join(_named(large))}."


def _unmeasured(row: AdjustedRow, times: TimeAtRisk | None) -> str:
    """How strong something unmeasured would have to be, if there is anything to explain away."""
    if times and not times.bears_out(row.difference):
        return ""
    if row.e_limit is None or row.e_limit <= 1.0 or row.e_value is None:
        return ""
    return (
        "Something unmeasured, tied to both route and outcome by a risk ratio of "
        f"{number(row.e_value, 1)} each, could explain the whole difference; {number(row.e_limit, 1)} would "
        "be enough to bring its limits to no difference."
    )


def robustness(found: Sensitivity, unit: str, *, of_events: bool) -> tuple[str, ...]:
    """Whether the other ways to count agree, and what would settle the question: a few sentences at most.

    ``of_events`` says that the outcome is made of events, so that a longer stay gives more time for it.
    """
    said = _agreement(found, of_events=of_events), _needed(found, unit)
    return tuple(sentence for sentence in said if sentence)


def _agreement(found: Sensitivity, *, of_events: bool) -> str:
    """Whether the other ways to count point the same way, and which of them exclude zero."""
    known = [row for row in found.rows[1:] if row.adjusted.value is not None]
    main = found.rows[0].adjusted.value if found.rows else None
    if main is None or not known:
        return ""
    same = sum((row.adjusted.value or 0.0) * main > 0 for row in known)
    said = (
        f"Counted in {len(known)} other ways that could be adjusted, the difference points the same way in "
        f"{same}."
    )
    clear = [
        f"{lower_first(row.label)} ({points(row.adjusted.value or 0.0)})" for row in known if _is_clear(row)
    ]
    if not clear:
        return said
    unlike = "" if _is_clear(found.rows[0]) else ", unlike those of the usual way,"
    said = f"{said} The limits{unlike} exclude zero in {len(clear)}: {', '.join(clear)}."
    return f"{said} {OF_SHARES}" if of_events else said


def _is_clear(row: SensitivityRow) -> bool:
    low, high = row.adjusted.lower, row.adjusted.upper
    return low is not None and high is not None and not low <= 0.0 <= high


def _needed(found: Sensitivity, unit: str) -> str:
    wanted = next((w for w in found.wanted if w.half_width == ASKED_WIDTH), None)
    more = _more(wanted)
    if wanted is None or more is None:
        return ""
    width = number(ASKED_WIDTH * 100, 0)
    if more == 0:
        return f"The difference is already known to within {width} points either way."
    pace = found.pace
    years = f", about {number(more / pace, 0)} years at the present pace" if pace else ""
    return (
        f"To know the difference to within {width} points either way would take about {_round(more)} more "
        f"{unit}{years}."
    )


def _more(wanted: Wanted | None) -> int | None:
    if wanted is None:
        return None
    return wanted.crude_more if wanted.adjusted_more is None else wanted.adjusted_more


def _round(value: int) -> str:
    """Two figures are enough for a forecast."""
    digits = max(0, len(str(value)) - 2)
    return count(round(value, -digits))
