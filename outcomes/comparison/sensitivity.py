"""The chosen outcome counted in other ways, and how much more would have to be seen to settle it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from outcomes.comparison import limits
from outcomes.comparison.adjusted import weighted
from outcomes.comparison.answers import answers
from outcomes.comparison.choices import Choices
from outcomes.comparison.crude import DIFFERENCE, difference_of
from outcomes.comparison.endpoints import BY_CODE, Endpoint
from outcomes.comparison.filters import LEVELS, let_in, level_of
from outcomes.comparison.propensity import OVERLAP, Refusal, Weighings
from outcomes.comparison.shares import both_arms, contrast, no_contrast
from outcomes.comparison.units import AXILLARY, Programme, Units, units_of
from outcomes.comparison.value import Contrast, Sensitivity, SensitivityRow, Share, Wanted
from outcomes.dataset.clock import MINUTES_PER_DAY
from outcomes.estimators.arrays import Flags
from outcomes.estimators.differences import risk_difference_limits
from registry.choices import AccessMethod

MOST_MORE = 1_000_000  # beyond this many rows the question is not one for this programme


# Adjusted figures by weights, rows and answers: several ways often compare the very same rows.
Known = dict[tuple[str, bytes, bytes], tuple[Contrast, Refusal]]


@dataclass(frozen=True, eq=False)
class Way:
    """Another way to count: its rows, and the weights used."""

    code: str
    label: str
    why: str
    units: Units
    weights: str


def sensitivity(programme: Programme, units: Units, choices: Choices, weighings: Weighings) -> Sensitivity:
    """All rows of the table, the usual way first, and what it would take."""
    endpoint = BY_CODE[choices.outcome]
    known: Known = {}
    listed = ways(programme, units, choices, weighings)
    rows = tuple(_row(programme, way, endpoint, known, weighings) for way in listed)
    return Sensitivity(
        rows=rows,
        wanted=_wanted(rows[0], _pace(programme, units), programme.level),
        now=_half_width(rows[0].crude),
        pace=_pace(programme, units),
    )


def ways(programme: Programme, units: Units, choices: Choices, weighings: Weighings) -> list[Way]:
    """The usual way and the others."""
    kind, other_kind = choices.weights, "ipw" if choices.weights == OVERLAP else OVERLAP
    percutaneous = level_of(programme, units, "access") == LEVELS["access"].index(AccessMethod.PERCUTANEOUS)
    complete = np.ones(units.size, dtype=np.bool_)
    fitted = weighings.of(units, kind)
    complete[fitted.rows] = fitted.design.complete
    learned = limits.LEARNING_RUNS
    found = [
        Way("main", "As above", "the comparison of this page", units, kind),
        Way(
            "first-run",
            "First run only",
            "events and days after the first exchange or change of route left out",
            units.first_runs_only(),
            kind,
        ),
        Way(
            "first-course",
            "First course of each patient",
            "every patient counts once",
            units.chosen(_first_of_patient(units)),
            kind,
        ),
        Way("percutaneous", "Percutaneous only", "open access left out", units.chosen(percutaneous), kind),
        Way(
            "no-transfers",
            "Without transfers in",
            "patients who arrived with the device left out: their first days were seen by nobody here",
            units.chosen(units.followed_from_start),
            kind,
        ),
        Way(
            "learned",
            f"Without the first {learned} axillary placements",
            "the programme's learning curve left out, and what was femoral meanwhile",
            units.chosen(_after_learning(programme, units)),
            kind,
        ),
        Way(
            "complete",
            "Complete cases",
            "rows with a gap in what is adjusted for left out",
            units.chosen(complete),
            kind,
        ),
        Way(
            "weights",
            "Inverse probability weights" if other_kind == "ipw" else "Overlap weights",
            "the other way to weigh",
            units,
            other_kind,
        ),
    ]
    return found + _other_views(programme, choices)


def _other_views(programme: Programme, choices: Choices) -> list[Way]:
    views = {
        "intended": ("As intended", "by the route tried first"),
        "first": ("By first route", "failed attempts before the first pump do not count"),
        "used": ("As used", "events belong to the route in place; spells, not courses"),
    }
    found = []
    for view, (label, why) in views.items():
        if view != choices.view:
            units = units_of(programme, view)
            found.append(
                Way(view, label, why, units.chosen(let_in(programme, units, choices)), choices.weights)
            )
    return found


def _first_of_patient(units: Units) -> Flags:
    order = np.lexsort((units.started, units.patient))
    rows = np.zeros(units.size, dtype=np.bool_)
    rows[order[np.unique(units.patient[order], return_index=True)[1]]] = True
    return rows


def _after_learning(programme: Programme, units: Units) -> Flags:
    """Rows begun after the last of the programme's first axillary placements."""
    runs = programme.dataset.runs
    placed = np.sort(runs.inserted[runs.is_pump & (runs.route == AXILLARY)])
    if not placed.size:
        return np.ones(units.size, dtype=np.bool_)
    return np.asarray(units.started > placed[min(limits.LEARNING_RUNS, placed.size) - 1])


def _row(
    programme: Programme, way: Way, endpoint: Endpoint, known: Known, weighings: Weighings
) -> SensitivityRow:
    units, key = way.units, f"sensitivity/{way.code}"
    found = answers(programme, units, endpoint)
    axillary, femoral = both_arms(key, units, found.hit, found.known, programme.level)
    adjusted, refusal = _adjusted(programme, way, endpoint, known, weighings)
    return SensitivityRow(
        code=way.code,
        label=way.label,
        why=way.why,
        axillary=axillary,
        femoral=femoral,
        crude=difference_of((axillary, femoral), programme.level),
        adjusted=adjusted,
        refusal=refusal.words,
        counted=refusal.counted,
    )


def _adjusted(
    programme: Programme, way: Way, endpoint: Endpoint, known: Known, weighings: Weighings
) -> tuple[Contrast, Refusal]:
    units = way.units
    if not units.size or units.axillary.all() or not units.axillary.any():
        empty = Refusal("an arm is empty")
        return no_contrast(DIFFERENCE, empty.words), empty
    found = answers(programme, units, endpoint)
    fitted = weighings.of(units.chosen(found.known), way.weights)
    compared = units.chosen(found.known).chosen(fitted.rows)
    same = (way.weights, compared.pks.tobytes(), found.hit[found.known][fitted.rows].tobytes())
    if same not in known:
        resamples = limits.RESAMPLES if way.code == "main" else limits.RESAMPLES_ELSEWHERE
        result, refusal = weighted(programme, units, found, fitted, way.weights, resamples)
        known[same] = (
            (no_contrast(DIFFERENCE, refusal.words), refusal)
            if result is None
            else (contrast(DIFFERENCE, result.difference), refusal)
        )
    return known[same]


# What would it take


def _half_width(difference: Contrast) -> float | None:
    if difference.lower is None or difference.upper is None:
        return None
    return (difference.upper - difference.lower) / 2.0


def _pace(programme: Programme, units: Units) -> float | None:
    """Rows a year, over the last year before the data cut."""
    cut = programme.dataset.cut
    span = limits.PACE_DAYS * MINUTES_PER_DAY
    recent = int((units.started > cut - span).sum())
    return float(recent) if recent else None


def _wanted(row: SensitivityRow, pace: float | None, level: float) -> tuple[Wanted, ...]:
    """More rows at the present shares and the present mix of routes."""
    inflation = _inflation(row)
    found = []
    for width in limits.WANTED_HALF_WIDTHS:
        more = rows_needed(row.axillary, row.femoral, width, level)
        adjusted = None
        if more is not None and inflation is not None:
            adjusted = rows_needed(row.axillary, row.femoral, width / np.sqrt(inflation), level)
        found.append(
            Wanted(
                half_width=width,
                crude_more=more,
                crude_years=more / pace if more is not None and pace else None,
                adjusted_more=adjusted,
            )
        )
    return tuple(found)


def _inflation(row: SensitivityRow) -> float | None:
    """How many times wider, squared, the adjusted limits are than the crude ones."""
    crude, adjusted = _half_width(row.crude), _half_width(row.adjusted)
    if not crude or not adjusted:
        return None
    return max(1.0, (adjusted / crude) ** 2)


def rows_needed(axillary: Share, femoral: Share, half_width: float, level: float) -> int | None:
    """How many more rows until Newcombe's limits lie within plus or minus ``half_width``.

    The shares and the mix of the routes are taken to stay as they are. None if an arm is empty or the number
    is beyond reason.
    """
    if not axillary.total or not femoral.total:
        return None
    now = axillary.total + femoral.total
    low, high = 1.0, 1.0
    while _width_at(axillary, femoral, high, level) > half_width:
        low, high = high, high * 2.0
        if now * high > MOST_MORE:
            return None
    while (high - low) * now > 0.5:
        middle = (low + high) / 2.0
        wide = _width_at(axillary, femoral, middle, level) > half_width
        low, high = (middle, high) if wide else (low, middle)
    return int(np.ceil(now * (high - 1.0) - 1e-9)) if high > 1.0 else 0


def _width_at(axillary: Share, femoral: Share, times: float, level: float) -> float:
    """Half the width of the limits if there were ``times`` as many rows."""
    lower, upper = risk_difference_limits(
        events=(axillary.hits or 0) * times,
        totals=(axillary.total or 0.0) * times,
        reference_events=(femoral.hits or 0) * times,
        reference_totals=(femoral.total or 0.0) * times,
        level=level,
    )
    return float(upper - lower) / 2.0
