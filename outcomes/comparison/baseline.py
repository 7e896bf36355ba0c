"""How alike the arms were at the start: characteristics with standardised differences, and no p-values."""

from __future__ import annotations

import numpy as np

from outcomes.comparison.covariates import COVARIATES, Covariate, recorded
from outcomes.comparison.filters import calendar_years
from outcomes.comparison.propensity import Weighting
from outcomes.comparison.shares import both_plain
from outcomes.comparison.units import Programme, Units
from outcomes.comparison.value import Baseline, BaselineRow, Share
from outcomes.estimators.arrays import Flags, Floats
from outcomes.estimators.balance import (
    StandardisedDifference,
    binary_difference,
    categorical_difference,
    continuous_difference,
)


def baseline(programme: Programme, units: Units, weighting: Weighting) -> Baseline:
    """All characteristics recorded in either arm; those recorded in nobody are named."""
    if not units.axillary.any() or units.axillary.all():
        return Baseline(rows=(), unrecorded=(), by_year=_by_year(programme, units))
    weights = weighting.every_weight
    rows: list[BaselineRow] = []
    unrecorded = []
    for covariate in COVARIATES:
        values = covariate.values(programme, units)
        if not recorded(values).any():
            unrecorded.append(covariate.label)
            continue
        rows += _rows(units, covariate, values, weights, covariate.name in weighting.design.shows)
    return Baseline(rows=tuple(rows), unrecorded=tuple(unrecorded), by_year=_by_year(programme, units))


def _difference(
    covariate: Covariate, values: Floats, treated: Flags, weights: Floats | None
) -> StandardisedDifference:
    if covariate.kind == "continuous":
        return continuous_difference(covariate.name, values, treated, weights=weights)
    if covariate.kind == "binary":
        return binary_difference(covariate.name, values, treated, weights=weights)
    codes = np.where(np.isnan(values), -1.0, values)
    return categorical_difference(covariate.name, codes, covariate.levels, treated, weights=weights)


def _rows(
    units: Units, covariate: Covariate, values: Floats, weights: Floats | None, adjusted: bool
) -> list[BaselineRow]:
    """One row, or for a characteristic with levels one for each level that occurs."""
    before = _difference(covariate, values, units.axillary, None)
    after = None if weights is None else _difference(covariate, values, units.axillary, weights)
    if covariate.kind != "categorical":
        return [_row(units, covariate, values, before, after, adjusted)]
    rows = []
    for k, label in enumerate(covariate.levels):
        if (values == k).any():
            level = Covariate(
                f"{covariate.name}-{k}", f"{covariate.label}: {label}", "binary", covariate.values
            )
            own = np.where(np.isnan(values), np.nan, (values == k).astype(np.float64))
            later = after.levels[k] if after else None
            rows.append(_row(units, level, own, before.levels[k], later, adjusted))
    return rows


def _row(
    units: Units,
    covariate: Covariate,
    values: Floats,
    before: StandardisedDifference,
    after: StandardisedDifference | None,
    adjusted: bool,
) -> BaselineRow:
    known = recorded(values)
    binary = covariate.kind == "binary"
    axillary, femoral = both_plain(f"baseline/{covariate.name}", units, values == 1.0, known)
    if not binary:
        axillary, femoral = (
            _mean(share, values[known & units.arm(arm)])
            for share, arm in ((axillary, True), (femoral, False))
        )
    return BaselineRow(
        name=covariate.name,
        label=covariate.label,
        unit="%" if binary else covariate.unit,
        kind=covariate.kind,
        axillary=axillary,
        femoral=femoral,
        spread=(None, None) if binary else (_spread(units, values, True), _spread(units, values, False)),
        missing=(before.treated.missing, before.control.missing),
        before=before.value,
        after=after.value if after else None,
        adjusted=adjusted,
        note=before.note,
    )


def _mean(share: Share, values: Floats) -> Share:
    """The mean of a measured characteristic in place of a share."""
    return Share(
        key=share.key,
        arm=share.arm,
        hits=None,
        total=share.total,
        value=float(values.mean()) if values.size else None,
        note=share.note,
        cases=share.cases,
    )


def _spread(units: Units, values: Floats, axillary: bool) -> float | None:
    known = values[units.arm(axillary) & recorded(values)]
    return float(known.std(ddof=1)) if known.size > 1 else None


def _by_year(programme: Programme, units: Units) -> tuple[tuple[int, Share, Share], ...]:
    """Rows of each arm begun in each calendar year: how the choice of route drifted."""
    years = calendar_years(programme, units)
    everybody = np.ones(units.size, dtype=np.bool_)
    return tuple(
        (int(year), *both_plain(f"year/{year}", units, years == year, everybody)) for year in np.unique(years)
    )
