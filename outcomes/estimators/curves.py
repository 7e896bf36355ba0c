"""What the step curves have in common: limits, reading a curve at given times, the area under it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import ClassVar, Literal, get_args

import numpy as np
from scipy.special import expit, logit

from outcomes.estimators.arrays import Floats, Ints
from outcomes.estimators.base import Estimate, EstimatorError, two_sided_z
from outcomes.estimators.tally import Tally

Transform = Literal["plain", "log", "log-log", "logit", "arcsine"]

NO_EVENT_YET = "no event by then; the method gives no limit on this side before the first event"
NOT_FOLLOWED = "nobody was followed that long; the value is the last one reached, at {last:g}"
TOO_FEW_EARLY = "fewer than {minimum} at risk until {start:g}; the curve starts there"


@dataclass(frozen=True, kw_only=True)
class CurvePoint(Estimate):
    """A curve read at ``time``, with those ``at_risk`` just before it and ``events`` up to and with it."""

    time: float
    std_error: float | None
    at_risk: int
    events: int
    subjects: int


@dataclass(frozen=True, kw_only=True, eq=False)
class StepCurve:
    """A curve that jumps at ``times`` (D,) to ``values`` (D,), with its limits; all arrays have shape (D,).

    ``at_risk`` counts rows just before each time, ``events`` those that happen at it. ``group``, ``tally``
    and ``level`` are the inputs. ``starts_at`` is set when the curve is conditional on reaching that time.
    """

    tally: Tally
    group: int
    times: Floats
    values: Floats
    std_error: Floats
    lower: Floats
    upper: Floats
    at_risk: Ints
    events: Ints
    level: float
    method: str
    minimum_at_risk: int = 0
    starts_at: float | None = None
    note: str = ""

    start: ClassVar[float] = 0.0  # the value before the first event

    @property
    def label(self) -> str:
        """Name of the group."""
        return self.tally.groups[self.group]

    @property
    def subjects(self) -> int:
        """Rows counted in this curve."""
        return int(self.tally.subjects[self.group])

    @property
    def last_follow_up(self) -> float:
        """Latest time at which somebody was still followed."""
        return self.tally.last_follow_up(self.group)

    @property
    def settled(self) -> bool:
        """Whether it stays at its last value because all have left by a cause, not for want of data."""
        return self.tally.settled(self.group)

    def at(self, times: Iterable[float]) -> tuple[CurvePoint, ...]:
        """The curve at each given time. Past the last follow-up it stays flat, and the note says so
        unless that is known.
        """
        return tuple(self._point(float(time)) for time in times)

    def _point(self, time: float) -> CurvePoint:
        value, lower, upper, error = self.read(time)
        return CurvePoint(
            value=value,
            lower=lower,
            upper=upper,
            std_error=error,
            level=self.level,
            method=self.method,
            note=self._note(value, time),
            time=time,
            at_risk=int(self.tally.at_risk_at(time, self.group)),
            events=int(self.events[: self._steps(time)].sum()),
            subjects=self.subjects,
        )

    def _steps(self, time: float) -> int:
        """How many steps the curve has taken by a time."""
        return int(np.searchsorted(self.times, time, side="right"))

    def read(self, time: float) -> tuple[float | None, ...]:
        """Value, lower, upper and standard error at a time; one limit is open until the first event."""
        index = self._steps(time) - 1
        if self.starts_at is not None and time < self.starts_at:
            return None, None, None, None
        if index < 0 or self.values[index] == self.start:
            return self.start, *((0.0, None) if self.start == 0.0 else (None, self.start)), None
        return tuple(float(row[index]) for row in (self.values, self.lower, self.upper, self.std_error))

    def _note(self, value: float | None, time: float) -> str:
        if value is None:
            return self.note
        parts = [self.note, NO_EVENT_YET if value == self.start else ""]
        if time > self.last_follow_up and not self.settled:
            parts.append(NOT_FOLLOWED.format(last=self.last_follow_up))
        return "; ".join(part for part in parts if part)


def check_transform(transform: str) -> None:
    """Refuse a transform without a formula here."""
    if transform not in get_args(Transform):
        raise EstimatorError("transform", f"must be one of {', '.join(get_args(Transform))}")


def probability_limits(
    values: Floats, std_error: Floats, *, level: float, transform: Transform
) -> tuple[Floats, Floats]:
    """Limits of probabilities, delta method on a transformed scale: lower and upper, shape as ``values``.

    Each limit keeps within [0, 1]. Where the value is 0 or 1 both limits equal it, as no transform has a
    slope there; callers say what that means for their curve.

    Source: Borgan and Liestøl, Scand J Stat 1990;17:35-41 (log-log, arcsine); Kalbfleisch and Prentice, The
    Statistical Analysis of Failure Time Data, 2nd ed. 2002, doi 10.1002/9781118032985 (log-log).
    """
    check_transform(transform)
    z = two_sided_z(level)
    lower, upper = values.copy(), values.copy()
    inner = (values > 0.0) & (values < 1.0)
    p, error = values[inner], z * std_error[inner]
    low, high = _transformed(p, error, transform)
    lower[inner], upper[inner] = np.clip(low, 0.0, 1.0), np.clip(high, 0.0, 1.0)
    return lower, upper


def _transformed(p: Floats, error: Floats, transform: Transform) -> tuple[Floats, Floats]:
    with np.errstate(over="ignore"):
        if transform == "plain":
            return p - error, p + error
        if transform == "log":
            return p * np.exp(-error / p), p * np.exp(error / p)
        if transform == "log-log":
            power = np.exp(-error / (p * np.log(p)))
            return p**power, p ** (1.0 / power)
        if transform == "logit":
            width = error / (p * (1.0 - p))
            return expit(logit(p) - width), expit(logit(p) + width)
    angle, width = np.arcsin(np.sqrt(p)), error / (2.0 * np.sqrt(p * (1.0 - p)))
    ends = np.clip([angle - width, angle + width], 0.0, np.pi / 2.0)
    return np.sin(ends[0]) ** 2, np.sin(ends[1]) ** 2


def first_usable(at_risk: Ints, minimum: int) -> int:
    """Position of the first time used when an early risk set must hold ``minimum`` rows.

    With delayed entry the risk set grows before it shrinks. Times up to the last small risk set before the
    largest one are left out; small risk sets after it are not, since dropping late events would flatten the
    curve.
    """
    if not at_risk.size or minimum <= 1:
        return 0
    largest = int(np.argmax(at_risk))
    if at_risk[largest] < minimum:
        raise EstimatorError("minimum_at_risk", f"exceeds the largest risk set ({at_risk[largest]})")
    small = np.flatnonzero(at_risk[:largest] < minimum)
    return int(small[-1]) + 1 if small.size else 0


def area_under(times: Floats, values: Floats, *, start: float, tau: float) -> float:
    """Area from 0 to ``tau`` under the step curve that is ``start`` and then ``values`` from ``times`` on."""
    kept = times < tau
    edges = np.concatenate([[0.0], times[kept], [tau]])
    return float(np.concatenate([[start], values[kept]]) @ np.diff(edges))
