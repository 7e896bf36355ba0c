"""Limits for the difference and the ratio of two weighted means."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from outcomes.estimators.arrays import Floats
from outcomes.estimators.base import Estimate
from outcomes.estimators.refit import Resamples

LARGEST_FAILED_SHARE = 0.05
_NO_RATIO = "a mean is not above 0: ratio not estimable"

Means = tuple[float, float]  # treated, control


@dataclass(frozen=True, kw_only=True)
class WeightedContrast(Estimate):
    """A difference or ratio of weighted means; ``standard_error`` is that of the log for a ratio."""

    standard_error: float | None


@dataclass(frozen=True)
class Remark:
    """Words that go with a result, and whether limits can be given at all."""

    text: str
    estimable: bool


@dataclass(frozen=True)
class _Frame:
    """What every contrast of one comparison shares."""

    level: float
    method: str
    note: str

    def contrast(
        self,
        value: float | None,
        lower: float | None = None,
        upper: float | None = None,
        error: float | None = None,
        note: str | None = None,
    ) -> WeightedContrast:
        return WeightedContrast(
            value=value,
            lower=lower,
            upper=upper,
            standard_error=error,
            level=self.level,
            method=self.method,
            note=self.note if note is None else note,
        )

    def without_limits(self, means: Means) -> tuple[WeightedContrast, WeightedContrast]:
        ratio = _ratio(means)
        return self.contrast(means[0] - means[1]), self.contrast(ratio, note=None if ratio else _NO_RATIO)


def _ratio(means: Means) -> float | None:
    return means[0] / means[1] if min(means) > 0.0 else None


def normal_contrasts(
    means: Means, covariance: Floats, level: float, method: str, remark: Remark
) -> tuple[WeightedContrast, WeightedContrast]:
    """Difference with normal limits, ratio with normal limits on the log scale.

    ``covariance`` (2, 2) is that of the treated and the control mean.
    """
    frame = _Frame(level, method, remark.text)
    if not remark.estimable:
        return frame.without_limits(means)
    z = float(ndtri(0.5 + level / 2.0))
    value, error = means[0] - means[1], _error(np.array([1.0, -1.0]), covariance)
    difference = frame.contrast(value, value - z * error, value + z * error, error)
    ratio = _ratio(means)
    if ratio is None:
        return difference, frame.contrast(None, note=_NO_RATIO)
    log_error = _error(np.array([1.0 / means[0], -1.0 / means[1]]), covariance)
    factor = float(np.exp(z * log_error))
    return difference, frame.contrast(ratio, ratio / factor, ratio * factor, log_error)


def _error(slope: Floats, covariance: Floats) -> float:
    return float(np.sqrt(slope @ covariance @ slope))


def percentile_contrasts(
    means: Means, drawn: Resamples, level: float, method: str, remark: Remark
) -> tuple[WeightedContrast, WeightedContrast]:
    """Difference and ratio with percentile limits; none when too many resamples could not be refitted."""
    total = drawn.treated.size + drawn.failed
    if remark.estimable and drawn.failed > LARGEST_FAILED_SHARE * total:
        text = f"the arms are separated in {drawn.failed} of {total} resamples: limits not estimable"
        remark = Remark(text, False)
    frame = _Frame(level, method, remark.text)
    if not remark.estimable:
        return frame.without_limits(means)
    draws = drawn.treated - drawn.control
    difference = frame.contrast(means[0] - means[1], *percentiles(draws, level), float(draws.std(ddof=1)))
    ratio = _ratio(means)
    if ratio is None:
        return difference, frame.contrast(None, note=_NO_RATIO)
    return difference, _percentile_ratio(ratio, drawn, frame)


def _percentile_ratio(ratio: float, drawn: Resamples, frame: _Frame) -> WeightedContrast:
    """Limits on the log scale, so that they invert when the arms swap. A resample without an event in one
    arm has an infinite log ratio and sorts to its end; one without any event says nothing and is left out.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        logs = np.log(drawn.treated) - np.log(drawn.control)
    logs = logs[~np.isnan(logs)]
    error = float(logs.std(ddof=1)) if np.isfinite(logs).all() else None
    lower, upper = (float(np.exp(limit)) for limit in percentiles(logs, frame.level))
    if np.isfinite(upper):
        return frame.contrast(ratio, lower, upper, error)
    return frame.contrast(ratio, lower, None, error, "resamples without a control event: no upper limit")


def percentiles(draws: Floats, level: float) -> tuple[float, float]:
    """The two tail quantiles (type 7), safe for infinite draws.

    Hyndman RJ, Fan Y. Am Stat 1996;50:361-365, "Sample quantiles in statistical packages",
    doi:10.1080/00031305.1996.10473566.
    """
    ordered = np.sort(draws)
    return _quantile(ordered, 0.5 - level / 2.0), _quantile(ordered, 0.5 + level / 2.0)


def _quantile(ordered: Floats, p: float) -> float:
    place = (ordered.size - 1) * p
    low, high = float(ordered[int(np.floor(place))]), float(ordered[int(np.ceil(place))])
    if low == high or np.isinf(low):
        return low
    return high if np.isinf(high) else low + (high - low) * float(place - np.floor(place))
