"""How the balloon pumps begun in the period were placed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from outcomes.dataset import codes
from outcomes.estimators.arrays import Floats, Ints
from outcomes.measures.base import CONVENTION, WILSON, Measure
from outcomes.measures.characteristics import positive
from outcomes.measures.scope import Scope
from outcomes.measures.summaries import Arranged, Item, arranged, median_figure, share_figure
from outcomes.measures.values import Figure, Findings
from registry.choices import AccessMethod, FilmVerdict, Guidance

STANDBY = "standby"


@dataclass(frozen=True)
class Line:
    """One line of the table: a share if ``limits`` is set or ``share``, else a median."""

    name: str
    label: str
    values: Callable[[Scope], Floats]
    share: bool = False
    limits: bool = False
    scale: str = ""
    decimals: int = 0


def _column(name: str, scale: float = 1.0) -> Callable[[Scope], Floats]:
    return lambda scope: positive(scope.dataset.clinical.run[name], scale)


def _one_of(name: str, position: int, *, unless: int = codes.UNRECORDED) -> Callable[[Scope], Floats]:
    """1 where the column holds the position, NaN where it holds none or the one that tells nothing."""

    def values(scope: Scope) -> Floats:
        column = scope.dataset.clinical.run[name]
        unknown = (column < 0) | (column == unless)
        return np.where(unknown, np.nan, column == position)

    return values


_ACCEPTABLE, _CANNOT_TELL = (
    codes.VERDICTS.index(verdict) for verdict in (FilmVerdict.ACCEPTABLE, FilmVerdict.CANNOT_TELL)
)
LINES = (
    Line("success", "Technical success", _column("technical_success"), share=True, limits=True),
    Line(
        "position",
        "First position acceptable",
        _one_of("first_position", _ACCEPTABLE, unless=_CANNOT_TELL),
        share=True,
        limits=True,
    ),
    *(
        Line(f"access/{code.value}", f"Access: {code.label}", _one_of("access", position), share=True)
        for position, code in enumerate(AccessMethod)
    ),
    *(
        Line(f"guidance/{code.value}", f"Guidance: {code.label}", _column(code.value), share=True)
        for code in Guidance
    ),
    Line("punctures", "Skin punctures", _column("puncture_attempts")),
    Line("time", "Procedure time", _column("procedure_min"), scale="min"),
    Line("fluoroscopy", "Fluoroscopy", _column("fluoroscopy_min", 10.0), scale="min", decimals=1),
    Line("contrast", "Contrast", _column("contrast_ml"), scale="mL"),
    Line(STANDBY, "Old pump on standby, exchanges and changes of route", _column("standby_min"), scale="min"),
)


def procedure(scope: Scope) -> Findings:
    """Every line, by the route of the run."""
    runs = scope.dataset.runs
    here = scope.begun_pumps & (runs.observed_from <= runs.inserted)
    again = here & (runs.replaces >= 0)
    placed, replacing = (arranged(scope, rows, runs.route) for rows in (here, again))
    pks, pks_replacing = runs.pk[placed[0]], runs.pk[replacing[0]]  # one array for all figures to keep
    found = [
        _figures(scope, line, replacing, pks_replacing)
        if line.name == STANDBY
        else _figures(scope, line, placed, pks)
        for line in LINES
    ]
    return Findings(tuple(figure for figures in found for figure in figures))


def _figures(scope: Scope, line: Line, arrangement: Arranged, pks: Ints) -> list[Figure]:
    chosen, groups = arrangement
    values = line.values(scope)[chosen]
    item = Item(
        "procedure", line.name, line.label, "runs", pks, lambda: line.values(scope)[chosen],
        line.scale, line.decimals,
    )  # fmt: skip
    if not line.share:
        return [median_figure(item, values, rows, group) for group, rows in groups.items()]
    level = scope.level if line.limits else None
    return [share_figure(item, values, rows, group, level=level) for group, rows in groups.items()]


PROCEDURE = Measure(
    id="procedure",
    title="Placing the pump",
    counted="runs",
    basis="begun in the period",
    who_counts="balloon pumps inserted here in the period, by the route of the run",
    what_counts="share of runs, and median with quartiles of what is measured",
    time_zero="insertion",
    censoring="none: as recorded; runs without a value are counted as missing, not filled in",
    estimator="outcomes.estimators.proportions.proportion; outcomes.estimators.order.quartiles",
    unit="proportion of runs; punctures, minutes, mL",
    definition=(
        "Exchanges count as placements too. Technical success is a pump working through the artery at the "
        "end of the procedure; attempts after which none was in are under considered and attempted. The "
        "first position is the first film verdict, those that could not tell being missing. One placement "
        "may have several kinds of guidance, so they do not add up. Pumps placed elsewhere before a "
        "transfer in are left out. Balloon volumes are a table of their own."
    ),
    source=f"{CONVENTION}; {WILSON}",
    compute=procedure,
)
MEASURES = (PROCEDURE,)
