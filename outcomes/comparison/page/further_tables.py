"""Tables of time, of the naive figure, of other ways to count and of published ranges."""

from __future__ import annotations

from collections.abc import Sequence

from outcomes.comparison.page.table import ROUTE_COLUMNS, Row, Table, plain
from outcomes.comparison.published import Band, Source
from outcomes.comparison.value import (
    Incidence,
    Naive,
    Sensitivity,
    Timing,
)
from outcomes.comparison.wording import (
    Said,
    say_days,
    say_difference,
    say_p,
    say_part,
    say_ratio,
    say_share,
)
from outcomes.wording import count, number


def risk_table(found: Incidence) -> Table:
    """Numbers at risk under a curve."""
    days = found.lines[0].risk_days
    rows = tuple(
        Row(
            ROUTE_COLUMNS[0] if line.arm == "AXILLARY" else ROUTE_COLUMNS[1],
            tuple(Said(instead="hidden") if n is None else Said(count(n)) for n in line.risk_counts),
            route=line.arm.lower(),
        )
        for line in found.lines
    )
    return Table(
        f"risk-{found.code}",
        f"{found.label}: still followed, without it, before day",
        tuple(f"{d:g}" for d in days),
        rows,
    )


def tests_table(timing: Timing) -> Table:
    """All ways out with Gray's test."""
    rows = [
        Row(found.label, (say_part(found.counts[0]), say_part(found.counts[1]), _test(found)))
        for found in (*timing.mobilisation, *timing.bridge)
    ]
    return Table(
        "tests",
        "How many, and whether the curves differ",
        (*ROUTE_COLUMNS, "Gray's test"),
        tuple(rows),
        "Of those followed from their first minute, at the data cut.",
        ("The test asks about the curves as they are: it adjusts for nobody's condition.",),
    )


def _test(found: Incidence) -> Said:
    """The p-value; where the counts under the curves are hidden, the test is not shown either."""
    if any(share.hidden for share in found.counts):
        return Said(instead="not shown")
    if found.p_value is None and found.note:
        return Said(instead=f"not estimable: {found.note}")
    return plain(say_p(found.p_value))


def means_table(timing: Timing) -> Table:
    """Restricted mean days to mobilisation."""
    rows = []
    for label, axillary, femoral, contrast in timing.restricted_means:
        days = [
            Said(f"{number(v, 1)} d") if v is not None else Said(instead="–") for v in (axillary, femoral)
        ]
        rows.append(Row(label, (*days, say_days(contrast))))
    method = dict.fromkeys(c.method for *_, c in timing.restricted_means if c.method)
    return Table(
        "means",
        "Mean days until mobilised, within the first 7",
        (*ROUTE_COLUMNS, "Difference"),
        tuple(rows),
        "Who died, left support or was never mobilised counts with all 7 days.",
        tuple(f"Limits: {text}." for text in method),
    )


def naive_table(naive: Naive) -> Table:
    """The wrong and the right way side by side."""
    rows = (
        Row("Died, ever axillary", (say_share(naive.ever),)),
        Row("Died, never axillary", (say_share(naive.never),)),
        Row("Risk ratio, ever over never", (say_ratio(naive.naive_ratio),), small="wrong"),
        Row("Hazard ratio, ever axillary from day 0", (say_ratio(naive.naive_hazard),), small="wrong"),
        Row(
            "Hazard ratio, axillary from the day it was reached",
            (say_ratio(naive.state_hazard),),
            small="without immortal time; not adjusted for who the patients were",
        ),
    )
    return Table("naive", "Death on support, or support withdrawn", ("Figure",), rows)


def sensitivity_table(found: Sensitivity) -> Table:
    """The chosen outcome counted other ways."""
    rows = [
        Row(
            row.label,
            (
                say_share(row.axillary),
                say_share(row.femoral),
                say_difference(row.crude),
                Said(instead=row.reason) if row.counted else say_difference(row.adjusted),
            ),
            small=row.why,
        )
        for row in found.rows
    ]
    return Table(
        "sensitivity",
        "The chosen outcome counted in other ways",
        (*ROUTE_COLUMNS, "Crude difference", "Adjusted"),
        tuple(rows),
        "Differences in percentage points, axillary minus femoral.",
        tuple(
            f"{row.label}: {row.adjusted.note}."
            for row in found.rows
            if row.adjusted.value is not None and row.adjusted.note
        ),
    )


def wanted_table(found: Sensitivity, unit: str) -> Table:
    """What would it take."""
    rows = []
    for wanted in found.wanted:
        years = f"{number(wanted.crude_years, 0)} y" if wanted.crude_years is not None else ""
        rows.append(
            Row(
                f"± {number(wanted.half_width * 100, 1).removesuffix('.0')} points",
                (
                    Said(count(wanted.crude_more), years)
                    if wanted.crude_more is not None
                    else Said(instead="–"),
                    Said(count(wanted.adjusted_more))
                    if wanted.adjusted_more is not None
                    else Said(instead="–"),
                ),
            )
        )
    now = f"Now: ± {number(found.now * 100, 0)} points. " if found.now is not None else ""
    return Table(
        "wanted", "What would it take", (f"More {unit}, crude", f"More {unit}, adjusted"), tuple(rows),
        f"{now}If shares, mix of routes and pace stay as they are.",
    )  # fmt: skip


def bands_table(bands: Sequence[Band], labels: dict[str, str]) -> Table:
    """Every published series behind the bands."""
    rows: list[Row] = []
    for band in bands:
        rows.append(Row(f"{labels[band.endpoint]}: {band.words}", small=band.what, group=True))
        rows += [
            Row(
                source.text,
                (
                    plain(count(source.n) if source.n else ""),
                    plain(source.period),
                    plain(source.access),
                    Said(_cited(source)),
                ),
            )
            for source in band.sources
        ]
    return Table(
        "bands",
        "Published ranges, mixed definitions, not targets",
        ("n", "Period", "Access", "Source"),
        tuple(rows),
        "Selection, era, definitions and time at risk differ between these series, so they say nothing about "
        "one route against the other.",
    )


def _cited(source: Source) -> str:
    year = "" if str(source.year) in source.journal else f" {source.year}"
    parts = [f"{source.title}. {source.journal}{year}."]
    if source.doi:
        parts.append(f"doi:{source.doi}.")
    if source.from_memory:
        parts.append(f"From memory: {source.from_memory}.")
    return " ".join(parts)
