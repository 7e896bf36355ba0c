"""What every estimator returns, and how it refuses."""

from __future__ import annotations

from dataclasses import dataclass


class EstimatorError(ValueError):
    """An argument breaks a rule of the method. ``parameter`` names it, ``rule`` says what it must satisfy."""

    def __init__(self, parameter: str, rule: str) -> None:
        super().__init__(f"{parameter}: {rule}")
        self.parameter = parameter
        self.rule = rule


@dataclass(frozen=True, kw_only=True)
class Estimate:
    """A point with its limits. ``None`` means "not estimable"; ``note`` then says why in words.

    Subclasses add the inputs (counts, exposure), so that a printed figure can always show its n/N.
    """

    value: float | None
    lower: float | None
    upper: float | None
    level: float
    method: str
    note: str = ""


def check_level(level: float) -> None:
    """Refuse a confidence level outside (0, 1)."""
    if not 0.0 < level < 1.0:
        raise EstimatorError("level", "must lie strictly between 0 and 1")


def check_count(name: str, count: int, *, at_most: int | None = None) -> None:
    """Refuse a negative count, or one above its denominator."""
    if count < 0:
        raise EstimatorError(name, "must not be negative")
    if at_most is not None and count > at_most:
        raise EstimatorError(name, f"must not exceed its denominator ({at_most})")
