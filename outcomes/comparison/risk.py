"""Expected risks of an outcome from who the patients were, frozen on the programme's first courses."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import expit

from outcomes.comparison import limits
from outcomes.comparison.answers import Answers
from outcomes.comparison.covariates import recorded, terms_of
from outcomes.comparison.units import Programme, Units
from outcomes.estimators.arrays import Flags, Floats
from outcomes.estimators.base import EstimatorError
from outcomes.estimators.propensity import fit_propensity

NOT_RISK = ("calendar", "transferred")  # when it was, and how the patient came: no property of the patient
# Peduzzi P et al., J Clin Epidemiol 1996;49:1373-1379, "A simulation study of the number of events per
# variable in logistic regression analysis", doi:10.1016/S0895-4356(96)00236-3 (from memory).
EVENTS_PER_TERM = 10
LOWEST_RISK = 0.005


@dataclass(frozen=True, eq=False)
class Expected:
    """Expected risk (N,) of every row, the terms used, and how many rows it was frozen on."""

    risks: Floats
    terms: tuple[str, ...]
    cases: int
    events: int


def expected_risks(programme: Programme, units: Units, found: Answers) -> Expected | None:
    """Risks frozen on the first courses of both routes with a known answer; None without any event there.

    As many terms as ten events for each allow; without room for one, everybody has the same risk.
    """
    order = np.argsort(units.started, kind="stable")
    base = order[found.known[order]][: limits.CUSUM_RISK_CASES]
    events = int(found.hit[base].sum())
    if base.size < limits.CUSUM_RISK_CASES or events in (0, base.size):
        return None
    allowed = min(events, base.size - events) // EVENTS_PER_TERM
    names, columns = _columns(programme, units, base, allowed)
    flat = np.full(units.size, events / base.size)
    if not names:
        return Expected(_bounded(flat), (), base.size, events)
    try:
        model = fit_propensity(columns[base], found.hit[base], terms=names)
    except EstimatorError:
        return Expected(_bounded(flat), (), base.size, events)
    risks = np.asarray(expit(np.column_stack([np.ones(units.size), columns]) @ model.coefficients))
    return Expected(_bounded(risks), names, base.size, events)


def _columns(
    programme: Programme, units: Units, base: np.ndarray, allowed: int
) -> tuple[tuple[str, ...], Floats]:
    names: list[str] = []
    columns: list[Floats] = []
    for term in terms_of(programme):
        if len(names) == allowed:
            break
        values = term.values(programme, units)
        known: Flags = recorded(values)
        if term.name in NOT_RISK or known[base].mean() < limits.KNOWN_SHARE:
            continue
        filled = np.where(known, values, values[base][known[base]].mean())
        if np.ptp(filled[base]) > 0.0:
            names.append(term.label)
            columns.append(filled)
    return tuple(names), np.column_stack(columns) if columns else np.zeros((units.size, 0))


def _bounded(risks: Floats) -> Floats:
    """A risk of exactly 0 or 1 would make one surprise weigh without end."""
    return np.clip(risks, LOWEST_RISK, 1.0 - LOWEST_RISK)
