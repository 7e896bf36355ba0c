"""p-values of several questions asked together, such as one per complication in a quarter."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from outcomes.estimators.base import EstimatorError


@dataclass(frozen=True, kw_only=True)
class HolmFamily:
    """``adjusted`` p-values by question, in the order given, within the ``family`` named beforehand."""

    family: str
    raw: Mapping[str, float]
    adjusted: Mapping[str, float]
    method: str = "Holm"

    def rejected(self, level: float = 0.95) -> tuple[str, ...]:
        """Questions answered "a difference", with a chance of any false one of at most 1 - level."""
        return tuple(name for name, p in self.adjusted.items() if p <= 1 - level)


def holm(p_values: Mapping[str, float], *, family: str) -> HolmFamily:
    """Step-down adjustment that bounds the chance of any false rejection in the family, however dependent.

    The smallest p-value is multiplied by the number of questions, the next by one fewer, and so on, never
    letting an adjusted value fall below one before it. Holm S. Scand J Stat 1979;6:65-70
    (https://www.jstor.org/stable/4615733). Raises EstimatorError naming ``family`` or ``p_values``.
    """
    if not family.strip():
        raise EstimatorError("family", "must be named")
    adjusted: dict[str, float] = {}
    largest = 0.0
    for place, (name, p) in enumerate(sorted(p_values.items(), key=lambda item: item[1])):
        largest = max(largest, min(1.0, (len(p_values) - place) * _checked(name, p)))
        adjusted[name] = largest
    return HolmFamily(family=family, raw=dict(p_values), adjusted={name: adjusted[name] for name in p_values})


def _checked(name: str, p: float) -> float:
    if not 0.0 <= p <= 1.0:
        raise EstimatorError("p_values", f"must lie between 0 and 1 ({name})")
    return p
