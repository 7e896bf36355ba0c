"""Adjusted figures: weighted by the propensity score, and pooled over strata; each with its refusals."""

from __future__ import annotations

import math

import numpy as np

from outcomes.comparison import limits
from outcomes.comparison.answers import Answers, answers
from outcomes.comparison.choices import FACTORS, Choices
from outcomes.comparison.crude import DIFFERENCE, RATIO, difference_of
from outcomes.comparison.endpoints import ANY, BRIDGED, BY_CODE, DIED, SERIOUS, WALKED, Endpoint
from outcomes.comparison.filters import LEVELS, calendar_years, level_of
from outcomes.comparison.propensity import (
    OVERLAP,
    Refusal,
    Weighings,
    Weighting,
    comparable_rows,
    too_few_events,
)
from outcomes.comparison.shares import both_arms, contrast, no_contrast
from outcomes.comparison.units import Programme, Units
from outcomes.comparison.value import Adjusted, AdjustedRow, Contrast, Overlap, Share, Stratified
from outcomes.dataset import codes
from outcomes.estimators.base import EstimatorError
from outcomes.estimators.evalue import EValue, e_value
from outcomes.estimators.homogeneity import risk_homogeneity_test
from outcomes.estimators.pooling import pooled_risk_difference, pooled_risk_ratio
from outcomes.estimators.weighting import WeightedComparison, compare_by_model, effective_sample_size
from registry.choices import Sex, Urgency

ALWAYS_ADJUSTED = (SERIOUS, ANY, DIED, BRIDGED, WALKED)
BIN_EDGES = tuple(np.linspace(0.0, 1.0, 11).tolist())
MOST_LEVELS = 100  # more than any factor has
WEIGHT_KINDS = {"overlap": "overlap", "ipw": "stabilised inverse probability"}
FACTOR_LABELS: dict[str, tuple[str, ...]] = {
    "stage": tuple(str(code.label) for code in codes.STAGES),
    "urgency": tuple(str(code.label) for code in Urgency),
    "intent": tuple(str(code.label) for code in codes.INTENTS),
    "sex": tuple(str(code.label) for code in Sex),
    "size": ("Under 165 cm", "165 to 179 cm", "180 cm or more"),
}


def adjusted(programme: Programme, units: Units, choices: Choices, weighings: Weighings) -> Adjusted:
    """Overlap of the arms, the weighted figures of the main outcomes and the chosen one, and strata."""
    asked = dict.fromkeys((choices.outcome, *ALWAYS_ADJUSTED))
    return Adjusted(
        overlap=overlap(units, weighings.of(units, choices.weights), choices.weights),
        rows=tuple(adjusted_row(programme, units, BY_CODE[code], choices, weighings) for code in asked),
        stratified=stratified(programme, units, BY_CODE[choices.outcome], choices.factor),
    )


def overlap(units: Units, weighting: Weighting, kind: str) -> Overlap:
    """How the chances of axillary are spread in each arm."""
    units = units.chosen(weighting.rows)
    arms = (units.axillary, ~units.axillary)
    totals = tuple(int(arm.sum()) for arm in arms)
    model, weights = weighting.model, weighting.weights
    if model is None or weights is None:
        binned: list[tuple[int, ...]] = [(), ()]
        comparable: tuple[int | None, ...] = (None, None)
        effective: tuple[float | None, ...] = (None, None)
    else:
        binned = [tuple(np.histogram(model.scores[arm], BIN_EDGES)[0].tolist()) for arm in arms]
        comparable = tuple(int((comparable_rows(model.scores) & arm).sum()) for arm in arms)
        effective = tuple(effective_sample_size(weights[arm]) for arm in arms)
    return Overlap(
        edges=BIN_EDGES,
        axillary=binned[0],
        femoral=binned[1],
        comparable=(comparable[0], comparable[1]),
        totals=(totals[0], totals[1]),
        effective=(effective[0], effective[1]),
        weights=WEIGHT_KINDS[kind],
        terms=weighting.design.names,
        not_adjusted=weighting.design.not_adjusted,
        restricted=weighting.restricted,
        kept=weighting.kept,
        refusal=weighting.refusal,
        counted=weighting.counted,
    )


def adjusted_row(
    programme: Programme, units: Units, endpoint: Endpoint, choices: Choices, weighings: Weighings
) -> AdjustedRow:
    """One outcome weighted, or the reason why not."""
    found = answers(programme, units, endpoint)
    fitted = weighings.of(units.chosen(found.known), choices.weights)
    compared, refusal = weighted(programme, units, found, fitted, choices.weights, limits.RESAMPLES)
    same = found.known.copy()
    same[found.known] = fitted.rows
    arms = both_arms(f"compared/{endpoint.code}", units, found.hit, same, programme.level)
    bias = _e_value(compared) if compared else None
    return AdjustedRow(
        code=endpoint.code,
        label=endpoint.label,
        harm=endpoint.harm,
        crude=difference_of(arms, programme.level),
        crude_axillary=arms[0],
        crude_femoral=arms[1],
        axillary=compared.treated.weighted if compared else None,
        femoral=compared.control.weighted if compared else None,
        difference=contrast(DIFFERENCE, compared.difference)
        if compared
        else no_contrast(DIFFERENCE, refusal.words),
        ratio=contrast(RATIO, compared.ratio) if compared else no_contrast(RATIO, refusal.words),
        e_value=bias.value if bias else None,
        e_limit=bias.limit if bias else None,
        refusal=refusal.words,
        counted=refusal.counted,
    )


def weighted(
    programme: Programme, units: Units, found: Answers, fitted: Weighting, kind: str, resamples: int
) -> tuple[WeightedComparison | None, Refusal]:
    """The weighted comparison under a weighting of the known rows, or the reason why there is none."""
    units, hit = units.chosen(found.known).chosen(fitted.rows), found.hit[found.known][fitted.rows]
    refusal = Refusal(fitted.refusal, fitted.counted)
    if not refusal.words:
        refusal = too_few_events(hit, restricted=not fitted.rows.all())
    if refusal.words or fitted.model is None:
        return None, refusal
    closed = units.size >= limits.CLOSED_FORM_FROM_ROWS
    try:
        return compare_by_model(
            fitted.model,
            hit,
            units.patient,
            kind="overlap" if kind == OVERLAP else "stabilised inverse probability",
            seed=limits.SEED,
            interval="closed form" if closed else "converged refit",
            resamples=resamples,
            level=programme.level,
        ), Refusal()
    except EstimatorError as error:
        return None, Refusal(f"not estimable ({error})")


def _e_value(compared: WeightedComparison) -> EValue | None:
    ratio = compared.ratio
    if ratio.value is None or ratio.lower is None:
        return None
    upper = math.inf if ratio.upper is None else ratio.upper
    if not ratio.lower <= ratio.value <= upper:
        return None
    return e_value(ratio=ratio.value, lower=ratio.lower, upper=upper, scale="risk or rate ratio")


def stratified(programme: Programme, units: Units, endpoint: Endpoint, factor: str) -> Stratified:
    """Mantel-Haenszel over factor, calendar year and centre, with the arms in each level of the factor."""
    found = answers(programme, units, endpoint)
    level = level_of(programme, units, factor)
    known = found.known & (level >= 0)
    labels = FACTOR_LABELS[factor]
    shares = tuple(
        (
            labels[k],
            *both_arms(
                f"stratum/{factor}-{LEVELS[factor][k]}/{endpoint.code}",
                units,
                found.hit,
                known & (level == k),
                programme.level,
            ),
        )
        for k in range(len(labels))
        if (known & (level == k)).any()
    )
    name = dict(FACTORS)[factor].lower()
    refusal = too_few_events(found.hit[known]).words
    cells = _strata(programme, units, found, known, level)
    if refusal:
        none = no_contrast(DIFFERENCE, refusal), no_contrast(RATIO, refusal)
        return _stratified(name, 0, none, None, shares, refusal)
    difference = pooled_risk_difference(**cells, level=programme.level)
    ratio = pooled_risk_ratio(**cells, level=programme.level)
    test = risk_homogeneity_test(**cells, measure="risk difference")
    pooled = contrast(DIFFERENCE, difference), contrast(RATIO, ratio)
    return _stratified(name, difference.strata, pooled, test.p_value, shares, "")


def _stratified(
    factor: str,
    strata: int,
    pooled: tuple[Contrast, Contrast],
    homogeneity: float | None,
    levels: tuple[tuple[str, Share, Share], ...],
    refusal: str,
) -> Stratified:
    return Stratified(
        factor=factor,
        strata=strata,
        difference=pooled[0],
        ratio=pooled[1],
        homogeneity=homogeneity,
        levels=levels,
        refusal=refusal,
    )


def _strata(
    programme: Programme, units: Units, found: Answers, known: np.ndarray, level: np.ndarray
) -> dict[str, np.ndarray]:
    """Counts of both arms in every level of the factor, calendar year and centre."""
    years = calendar_years(programme, units)
    _, centre = np.unique(programme.dataset.courses.centre[units.course], return_inverse=True)
    stratum = (centre * MOST_LEVELS + level) * 10_000 + years
    _, index = np.unique(stratum[known], return_inverse=True)
    size = int(index.max()) + 1 if index.size else 1
    arm, hit = units.axillary[known], found.hit[known]
    return {
        "events": np.bincount(index[arm & hit], minlength=size),
        "totals": np.bincount(index[arm], minlength=size),
        "reference_events": np.bincount(index[~arm & hit], minlength=size),
        "reference_totals": np.bincount(index[~arm], minlength=size),
    }
