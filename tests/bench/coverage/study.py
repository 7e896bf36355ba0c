"""Run the study: what each interval covers over the sizes and risks of a pump programme."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from tests.bench.coverage import intervals
from tests.bench.coverage.drawing import Panel, figure
from tests.bench.coverage.enumeration import (
    MEANS,
    REFERENCE_RISKS,
    RISKS,
    of_proportion,
    of_rate,
    of_two_arms,
    of_two_rates,
)

SIZES = (20, 60, 200)  # runs of one route in a quarter, a year, several years
ARMS = ((15, 30), (40, 80), (60, 60))
LEAST = 0.02  # rarer events are drawn, but not in the tables
RATIO_MEANS = np.round(np.arange(0.5, 20.01, 0.25), 2)


@dataclass(frozen=True)
class Row:
    """One line of a table: a method at a size, and its coverage over the truths tried."""

    size: str
    method: str
    coverage: np.ndarray
    width: float | None = None

    @property
    def cells(self) -> list[str]:
        cover = self.coverage[np.isfinite(self.coverage)]
        short = float((cover < 0.93).mean())
        cells = [self.size, self.method, *(f"{100 * v:.1f} %" for v in (cover.mean(), cover.min(), short))]
        return cells if self.width is None else [*cells, f"{self.width:.3f}"]


@dataclass(frozen=True)
class Part:
    """One family of intervals: its figure, its table, and the truths that were tried."""

    name: str
    title: str
    tried: str
    drawing: str
    rows: list[Row]


def parts() -> Iterator[Part]:
    """All parts in the order of the page."""
    yield proportions()
    yield rates()
    yield two_arms(
        "differences", "Risk difference", intervals.DIFFERENCES, (0.0, 0.1, 0.2),
        lambda delta: lambda q: q + delta, np.subtract, "difference {:g}",
    )  # fmt: skip
    yield two_arms(
        "risk-ratios", "Risk ratio", intervals.RATIOS, (1.0, 1.5, 2.0),
        lambda ratio: lambda q: q * ratio, np.divide, "ratio {:g}",
    )  # fmt: skip
    yield rate_ratios()


def proportions() -> Part:
    rows, panels = [], []
    for method, limits in intervals.PROPORTIONS.items():
        drawn = []
        for n in SIZES:
            coverage, width = of_proportion(limits, n)
            drawn.append(Panel(f"{method}, n = {n}", RISKS, (coverage,)))
            rows.append(
                Row(f"n = {n}", method, coverage[RISKS >= LEAST], float(width[RISKS >= LEAST].mean()))
            )
        panels.append(drawn)
    tried = f"Risks from {RISKS[0]:g} to 0.5 are drawn; the table is over 0.02 to 0.5."
    rows.sort(key=lambda row: [f"n = {n}" for n in SIZES].index(row.size))
    title = "One proportion: coverage of 95 % intervals"
    return Part("proportions", "One proportion", tried, figure(title, panels, "true risk"), rows)


def rates() -> Part:
    rows, panels = [], []
    for method, limits in intervals.RATES.items():
        coverage, width = of_rate(limits)
        panels.append(Panel(method, MEANS, (coverage,)))
        for low, high in ((0, 3), (3, 10), (10, 31)):
            held = (low < MEANS) & (high >= MEANS)
            size = f"{MEANS[held][0]:g} to {MEANS[held][-1]:g} events expected"
            rows.append(Row(size, method, coverage[held], float(width[held].mean())))
    rows.sort(key=lambda row: float(row.size.split()[0]))
    tried = "Expected events from 0.2 to 30; at 10 per 1,000 device-days that is 20 to 3,000 device-days."
    title = "One rate: coverage of 95 % intervals"
    drawing = figure(title, [panels[:2], panels[2:]], "expected events")
    return Part("rates", "One rate", tried, drawing, rows)


def two_arms(
    name: str,
    title: str,
    methods: dict[str, Callable],
    truths: tuple[float, ...],
    truth: Callable[[float], Callable[[np.ndarray], np.ndarray]],
    contrast: Callable,
    legend: str,
) -> Part:
    rows, panels = [], []
    for method, limits in methods.items():
        drawn = []
        for arm, reference in ARMS:
            lines = tuple(of_two_arms(limits, arm, reference, truth(t), contrast) for t in truths)
            drawn.append(Panel(f"{method}, {arm} against {reference}", REFERENCE_RISKS, lines))
            rows.append(
                Row(
                    f"{arm} against {reference}",
                    method,
                    np.concatenate([v[REFERENCE_RISKS >= LEAST] for v in lines]),
                )
            )
        panels.append(drawn)
    order = [f"{arm} against {reference}" for arm, reference in ARMS]
    rows.sort(key=lambda row: order.index(row.size))
    words = tuple(legend.format(t) for t in truths)
    first = f"{REFERENCE_RISKS[0]:g}"
    tried = f"True {'; '.join(words)}, at reference risks from {first} to 0.5 (drawn), 0.02 to 0.5 (table)."
    heading = f"{title}: coverage of 95 % intervals"
    return Part(name, title, tried, figure(heading, panels, "risk in the reference arm", words), rows)


def rate_ratios() -> Part:
    rows, panels = [], []
    ratios = (1.0, 2.0, 4.0)
    for method, limits in intervals.RATE_RATIOS.items():
        drawn = []
        for share in (0.5, 1.0):
            lines = tuple(of_two_rates(limits, share, ratio, RATIO_MEANS) for ratio in ratios)
            drawn.append(Panel(f"{method}, time × {share:g}", RATIO_MEANS, lines))
            rows.append(Row(f"time × {share:g}", method, np.concatenate(lines)))
        panels.append(drawn)
    rows.sort(key=lambda row: row.size)
    words = tuple(f"ratio {ratio:g}" for ratio in ratios)
    tried = (
        f"True {'; '.join(words)}, at 0.5 to 20 expected reference events; the arm has half their time, "
        "or the same."
    )
    heading = "Rate ratio: coverage of 95 % intervals"
    drawing = figure(heading, panels, "expected reference events", words)
    return Part("rate-ratios", "Rate ratio", tried, drawing, rows)
