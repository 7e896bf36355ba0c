"""The charts of the comparison, described once: page, print and slide draw from these."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from outcomes.comparison import limits
from outcomes.comparison.published import Band
from outcomes.comparison.value import (
    ARMS,
    Adjusted,
    BaselineRow,
    Contrast,
    CrudeRow,
    Incidence,
    Overlap,
    Share,
)
from outcomes.comparison.value_over_time import LearningCurve, Trend
from outcomes.figures import ROUTE_NAMES, Chart, Series
from outcomes.wording import lower_first, number
from registry.choices import RouteGroup

NAMES = {arm: ROUTE_NAMES[RouteGroup(arm)] for arm in ARMS}
BEFORE, AFTER = "Before weighting", "After weighting"
MOST_CASES_DRAWN = 250


@dataclass(frozen=True)
class ComparisonChart(Chart):
    """A chart of one of the further kinds of the comparison.

    ``differences`` are rows around 0 with limits; ``balance`` rows of two marks around 0; ``bins`` bars of
    both arms; ``sums`` cumulative sums with thresholds; ``control`` points with a centre and limits, of which
    the first ``baseline_points`` made them. ``starts`` are positions at which a quarter begins, ``signals``
    positions of points that signal. ``bands`` lie under rows of shares.
    """

    shape: str = ""
    starts: tuple[int, ...] = ()
    signals: tuple[int, ...] = ()
    baseline_points: int = 0
    centre: float | None = None
    thresholds: tuple[float, ...] = ()
    bands: tuple[tuple[str, float, float], ...] = ()


def forest(rows: Sequence[CrudeRow], *, id: str, finding: str, label: str) -> ComparisonChart:
    """Risk differences of all rows that have one, axillary minus femoral."""
    kept = [row for row in rows if row.difference.value is not None]
    return _differences(
        [(row.label, row.difference, _out_of(row.axillary, row.femoral)) for row in kept], id, finding, label
    )


def _out_of(axillary: Share, femoral: Share) -> str:
    return f"{axillary.hits}/{axillary.total:.0f} v {femoral.hits}/{femoral.total:.0f}"


def _differences(
    rows: Sequence[tuple[str, Contrast, str]], id: str, finding: str, label: str
) -> ComparisonChart:
    series = Series(
        name="Axillary minus femoral",
        group="",
        x=tuple(name for name, _, _ in rows),
        y=tuple(contrast.value or 0.0 for _, contrast, _ in rows),
        lower=tuple(contrast.lower for _, contrast, _ in rows),
        upper=tuple(contrast.upper for _, contrast, _ in rows),
        notes=tuple(note for _, _, note in rows),
    )
    methods = dict.fromkeys(contrast.method for _, contrast, _ in rows if contrast.method)
    return ComparisonChart(
        id=id,
        kind="dots",
        finding=finding,
        label=label,
        x_title="Percentage points, axillary minus femoral",
        y_title="",
        percent=False,
        series=(series,) if rows else (),
        method="; ".join(methods),
        shape="differences",
    )


def adjusted_forest(adjusted: Adjusted, *, id: str, finding: str, label: str) -> ComparisonChart:
    """Each outcome before and after weighting of the same patients."""
    rows = [row for row in adjusted.rows if row.difference.value is not None]
    parts = [
        (BEFORE, [(row.label, row.crude, "") for row in rows if row.crude.value is not None]),
        (AFTER, [(row.label, row.difference, "") for row in rows]),
    ]
    charts = [(name, _differences(found, id, finding, label)) for name, found in parts]
    series = tuple(
        Series(name, "", s.x, s.y, s.lower, s.upper, s.notes) for name, chart in charts for s in chart.series
    )
    return ComparisonChart(
        id=id,
        kind="dots",
        finding=finding,
        label=label,
        x_title="Percentage points, axillary minus femoral",
        y_title="",
        percent=False,
        series=series,
        method=_sentence("; ".join(dict.fromkeys(row.difference.method for row in rows))),
        shape="differences",
    )


def balance(rows: Sequence[BaselineRow], *, id: str, finding: str, label: str) -> ComparisonChart:
    """Standardised differences before and after weighting, the largest before on top."""
    kept = sorted((row for row in rows if row.before is not None), key=lambda row: -abs(row.before or 0.0))
    after = [row for row in kept if row.after is not None]
    series = [
        Series(BEFORE, "", tuple(_short(r) for r in kept), tuple(r.before or 0.0 for r in kept)),
        Series(AFTER, "", tuple(_short(r) for r in after), tuple(r.after or 0.0 for r in after)),
    ]
    return ComparisonChart(
        id=id,
        kind="dots",
        finding=finding,
        label=label,
        x_title="Standardised difference, axillary minus femoral",
        y_title="",
        percent=False,
        series=tuple(s for s in series if s.x),
        method=f"Shaded: within ±{limits.UNBALANCED:g}. In standard deviations of the unweighted arms.",
        shape="balance",
    )


def _short(row: BaselineRow) -> str:
    """The name of a characteristic, or of its level where that says enough, for the margin of a chart."""
    group, _, level = row.label.partition(": ")
    if level and level != "Other":
        return level
    return f"{group}: other" if level else group.partition(",")[0]


def overlap(found: Overlap, *, id: str, finding: str, label: str) -> ComparisonChart:
    """How many of each arm had which chance of axillary."""
    names = tuple(
        f"{number(low * 100, 0)} to {number(high * 100, 0)}%"
        for low, high in zip(found.edges, found.edges[1:], strict=False)
    )
    series = tuple(
        Series(NAMES[arm], arm, names, tuple(float(count) for count in counts))
        for arm, counts in ((ARMS[0], found.axillary), (ARMS[1], found.femoral))
        if counts
    )
    return ComparisonChart(
        id=id,
        kind="dots",
        finding=finding,
        label=label,
        x_title="Chance of axillary, given who the patient was",
        y_title="",
        percent=False,
        series=series,
        method="Logistic regression; counts of the rows compared",
        routes=ARMS,
        shape="bins",
    )


def incidence(found: Incidence, *, id: str, finding: str, x_title: str, y_title: str) -> Chart:
    """Cumulative incidence of both arms with limits and numbers at risk."""
    series = tuple(
        Series(
            name=NAMES[line.arm],
            group=line.arm,
            x=line.days,
            y=line.values,
            lower=line.lower,
            upper=line.upper,
        )
        for line in found.lines
        if line.days
    )
    return Chart(
        id=id,
        kind="steps",
        finding=finding,
        label=f"Cumulative incidence: {lower_first(found.label)}, by route",
        x_title=x_title,
        y_title=y_title,
        percent=True,
        series=series,
        method=found.method,
        routes=tuple(line.arm for line in found.lines),
    )


def shares(
    rows: Sequence[CrudeRow], bands: Sequence[Band], *, id: str, finding: str, label: str
) -> ComparisonChart:
    """Shares of both arms by outcome; published ranges under them, where asked for."""
    series = []
    for arm in ARMS:
        kept = [(row.label, row.axillary if arm == ARMS[0] else row.femoral) for row in rows]
        kept = [(name, share) for name, share in kept if share.value is not None]
        series.append(
            Series(
                name=NAMES[arm],
                group=arm,
                x=tuple(name for name, _ in kept),
                y=tuple(share.value or 0.0 for _, share in kept),
                lower=tuple(share.lower for _, share in kept),
                upper=tuple(share.upper for _, share in kept),
                notes=tuple(f"{share.hits}/{share.total:.0f}" for _, share in kept),
            )
        )
    named = {row.code: row.label for row in rows}
    return ComparisonChart(
        id=id,
        kind="dots",
        finding=finding,
        label=label,
        x_title="Share with the outcome",
        y_title="",
        percent=True,
        series=tuple(s for s in series if s.x),
        method="Wilson",
        routes=ARMS,
        shape="shares",
        rows=tuple(row.label for row in rows if any(row.label in s.x for s in series)),
        bands=tuple((named[b.endpoint], b.low, b.high) for b in bands if b.endpoint in named),
    )


def sums(found: LearningCurve, *, id: str, finding: str, label: str) -> ComparisonChart:
    """Both cumulative sums over the sequence of axillary courses."""
    kept = _drawn_cases(found)
    at = tuple(float(k + 1) for k in kept)
    series = (
        Series("Twice the expected odds", "", at, tuple(found.worse[k] for k in kept)),
        Series("Half the expected odds", "", at, tuple(found.better[k] for k in kept)),
    )
    place = {k: position for position, k in enumerate(kept)}
    return ComparisonChart(
        id=id,
        kind="trend",
        finding=finding,
        label=label,
        x_title="Axillary courses in the order of the programme",
        y_title="Cumulative sum",
        percent=False,
        series=series if at else (),
        method=_sentence(found.method),
        shape="sums",
        signals=tuple(place[case - 1] for _, case in found.signals if case),
        thresholds=found.thresholds,
    )


def _drawn_cases(found: LearningCurve) -> list[int]:
    """Positions drawn: all, or one in several of a long sequence, and every signal."""
    cases = len(found.worse)
    step = max(1, -(-cases // MOST_CASES_DRAWN))
    signals = {case - 1 for _, case in found.signals if case}
    return sorted(signals | set(range(0, cases, step)) | set(range(cases - 1, cases)))


CONTROL_VALUES = {
    "u": "Events per 1,000 device-days",
    "t": "Days since the event before",
    "g": "Pumps without the event since the one before",
}


def control(found: Trend, *, id: str, finding: str, label: str) -> ComparisonChart:
    """Points of a control chart with centre and limits; the quarters are marked."""
    known = [k for k, value in enumerate(found.values) if value is not None]
    at = found.at if found.kind == "u" else tuple(str(k + 1) for k in range(len(found.at)))
    series = Series(
        name=NAMES[found.arm],
        group=found.arm,
        x=tuple(at[k] for k in known),
        y=tuple(found.values[k] or 0.0 for k in known),
        lower=tuple(found.lower[k] for k in known),
        upper=tuple(found.upper[k] for k in known),
        notes=tuple(found.at[k] for k in known),
    )
    place = {k: position for position, k in enumerate(known)}
    return ComparisonChart(
        id=id,
        kind="trend",
        finding=finding,
        label=label,
        x_title="Month" if found.kind == "u" else "Event, in order",
        y_title=CONTROL_VALUES[found.kind],
        percent=False,
        series=(series,) if known else (),
        method=_sentence(f"{found.method}; limits frozen on {found.baseline}"),
        routes=(found.arm,),
        shape="control",
        starts=tuple(place[k] for k in found.quarters if k in place),
        signals=tuple(sorted({place[k] for k, _ in found.signals if k in place})),
        baseline_points=sum(k < found.baseline_points for k in known),
        centre=found.centre,
    )


def _sentence(text: str) -> str:
    """The text with a capital in front."""
    return text[:1].upper() + text[1:]
