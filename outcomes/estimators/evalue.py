"""How strong an unmeasured confounder would have to be to explain a comparison away."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from outcomes.estimators.base import EstimatorError

RatioScale = Literal["risk or rate ratio", "odds ratio, common outcome", "hazard ratio, common outcome"]


@dataclass(frozen=True, kw_only=True)
class EValue:
    """E-values for the estimate and for the limit nearer 1; 1 means that nothing needs explaining.

    Each is the risk ratio that a confounder would need with both route and outcome, beyond those measured.
    """

    value: float
    limit: float
    ratio: float
    lower: float
    upper: float
    scale: RatioScale


def e_value(*, ratio: float, lower: float, upper: float, scale: RatioScale) -> EValue:
    """E-value of a ratio and of whichever limit lies nearer 1.

    RR + sqrt(RR·(RR - 1)), for RR < 1 of its inverse: VanderWeele TJ, Ding P. Ann Intern Med
    2017;167:268-274, doi:10.7326/M16-2607. For an outcome in more than about 15 % an odds ratio is first
    taken to its square root and a hazard ratio HR to (1 - 0.5^sqrt(HR))/(1 - 0.5^sqrt(1/HR)), as given
    there; for a rarer one pass either as a risk ratio. ``lower`` may be 0 and ``upper`` ``math.inf``.
    Raises EstimatorError naming the argument.
    """
    if not 0.0 < ratio < math.inf:
        raise EstimatorError("ratio", "must be above zero and finite")
    if not 0.0 <= lower <= ratio:
        raise EstimatorError("lower", "must lie between 0 and the ratio")
    if not upper >= ratio:
        raise EstimatorError("upper", "must not lie below the ratio")
    nearer = min(max(1.0, lower), upper)
    convert = _TO_RISK_RATIO[scale]
    return EValue(
        value=_e_value(convert(ratio)),
        limit=_e_value(convert(nearer)),
        ratio=ratio,
        lower=lower,
        upper=upper,
        scale=scale,
    )


def _e_value(risk_ratio: float) -> float:
    away = max(risk_ratio, 1 / risk_ratio)
    return away + math.sqrt(away * (away - 1))


def _hazard_to_risk_ratio(hazard_ratio: float) -> float:
    root = math.sqrt(hazard_ratio)
    return (1 - math.pow(0.5, root)) / (1 - math.pow(0.5, 1 / root))


_TO_RISK_RATIO: dict[RatioScale, Callable[[float], float]] = {
    "risk or rate ratio": float,
    "odds ratio, common outcome": math.sqrt,
    "hazard ratio, common outcome": _hazard_to_risk_ratio,
}
