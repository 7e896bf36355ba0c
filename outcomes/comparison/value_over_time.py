"""The part of the comparison's value that looks at one route in time: learning curve and control charts."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class LearningCurve:
    """Risk-adjusted cumulative sums over the axillary courses in the programme's sequence."""

    cases: int
    events: int | None
    expected: float | None
    worse: tuple[float, ...]
    better: tuple[float, ...]
    happened: tuple[bool, ...]
    thresholds: tuple[float, float]
    run_lengths: tuple[float, float]
    signals: tuple[tuple[str, int], ...]
    risk_terms: tuple[str, ...]
    method: str
    refusal: str = ""
    drawn: bool = True


@dataclass(frozen=True, kw_only=True)
class Trend:
    """A control chart of one arm: ``at`` are months of the points, or of the events that end gaps."""

    arm: str
    kind: str
    at: tuple[str, ...]
    quarters: tuple[int, ...]
    values: tuple[float | None, ...]
    lower: tuple[float | None, ...]
    upper: tuple[float | None, ...]
    centre: float | None
    baseline: str
    baseline_points: int
    signals: tuple[tuple[int, str], ...]
    method: str
    refusal: str = ""


@dataclass(frozen=True, kw_only=True)
class OverTime:
    """Learning curve and trend charts of the chosen outcome."""

    learning: LearningCurve
    trends: tuple[Trend, ...]
