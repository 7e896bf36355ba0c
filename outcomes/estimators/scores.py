"""Score contrasts of two arms: what the data say against a stated difference or ratio.

Each function returns ``(contrast, variance)``: the observed contrast minus what the stated value predicts,
and its variance under the maximum-likelihood fit restricted to that value. Their quotient
contrast/sqrt(variance) is the score statistic. It gives limits (`differences`, `ratios`, `rates`) and tests
of homogeneity (`homogeneity`). All arguments are arrays that broadcast; arm 1 is compared with arm 2.
Contrast and variance are kept apart so that cells with no variance need no division.

Miettinen O, Nurminen M. Comparative analysis of two rates. Stat Med 1985;4:213-226,
doi:10.1002/sim.4780040211.
"""

from __future__ import annotations

import numpy as np

from outcomes.estimators.base import FloatArray

Score = tuple[FloatArray, FloatArray]


def risk_difference_score(
    difference: FloatArray, x1: FloatArray, n1: FloatArray, x2: FloatArray, n2: FloatArray
) -> Score:
    """Score of p1 - p2 = ``difference``, -1 ≤ difference ≤ 1."""
    p2 = _restricted_risk(difference, x1, n1, x2, n2)
    p1 = np.clip(p2 + difference, 0.0, 1.0)
    return x1 / n1 - x2 / n2 - difference, p1 * (1 - p1) / n1 + p2 * (1 - p2) / n2


def _restricted_risk(
    difference: FloatArray, x1: FloatArray, n1: FloatArray, x2: FloatArray, n2: FloatArray
) -> FloatArray:
    """Risk of arm 2 that fits best when p1 - p2 is fixed: one root of a cubic (appendix of that paper)."""
    n, x = n1 + n2, x1 + x2
    squared = ((n1 + 2 * n2) * difference - n - x) / (3 * n)
    linear = ((n2 * difference - n - 2 * x2) * difference + x) / (3 * n)
    constant = x2 * difference * (1 - difference) / n
    q = squared**3 - 1.5 * linear * squared + 0.5 * constant
    radius = np.copysign(np.sqrt(np.maximum(squared**2 - linear, 0.0)), q)
    cube = radius**3
    cosine = np.divide(q, cube, out=np.zeros_like(q), where=cube != 0)
    angle = (np.pi + np.arccos(np.clip(cosine, -1.0, 1.0))) / 3
    root = 2 * radius * np.cos(angle) - squared
    risk: FloatArray = np.clip(root, np.maximum(0.0, -difference), np.minimum(1.0, 1.0 - difference))
    return risk


def risk_ratio_score(
    ratio: FloatArray, x1: FloatArray, n1: FloatArray, x2: FloatArray, n2: FloatArray
) -> Score:
    """Score of p1 / p2 = ``ratio`` > 0, as p1 - ratio·p2."""
    a = (n1 + n2) * ratio
    b = n1 * ratio + x1 + n2 + x2 * ratio
    # Exactly a square when an arm is at 100 %; rounding must not push it below zero. The smaller root of
    # a·p² - b·p + x, in the form that does not cancel.
    p2 = 2 * (x1 + x2) / (b + np.sqrt(np.maximum(b * b - 4 * a * (x1 + x2), 0.0)))
    p2 = np.minimum(p2, 1.0)
    p1 = np.minimum(ratio * p2, 1.0)
    return x1 / n1 - ratio * x2 / n2, p1 * (1 - p1) / n1 + ratio**2 * p2 * (1 - p2) / n2


def odds_ratio_score(
    ratio: FloatArray, x1: FloatArray, n1: FloatArray, x2: FloatArray, n2: FloatArray
) -> Score:
    """Score of the odds ratio = ``ratio`` > 0, as events in arm 1 minus those expected given all margins."""
    x = x1 + x2
    # The odds of arm 2 solve a·o² + b·o - x = 0; with odds instead of risks nothing cancels near 0 or 1.
    a = ratio * (n1 + n2 - x)
    b = (n1 - x) * ratio + n2 - x
    odds = _positive_root(a, b, x)
    p1, p2 = ratio * odds / (1 + ratio * odds), odds / (1 + odds)
    v1, v2 = n1 * p1 / (1 + ratio * odds), n2 * p2 / (1 + odds)
    variance = np.divide(v1 * v2, v1 + v2, out=np.zeros_like(v1), where=v1 + v2 > 0)
    return x1 - n1 * p1, variance


def _positive_root(a: FloatArray, b: FloatArray, c: FloatArray) -> FloatArray:
    """The root ≥ 0 of a·y² + b·y - c, where a > 0 and c ≥ 0, by whichever of two forms does not cancel."""
    root = np.sqrt(b * b + 4 * a * c)
    up = b >= 0
    numerator, denominator = np.where(up, 2 * c, root - b), np.where(up, b + root, 2 * a)
    return np.divide(numerator, denominator, out=np.zeros_like(root), where=denominator > 0)


def rate_difference_score(
    difference: FloatArray, k1: FloatArray, t1: FloatArray, k2: FloatArray, t2: FloatArray
) -> Score:
    """Score of the rate difference k1/t1 - k2/t2 = ``difference`` for Poisson counts."""
    t = t1 + t2
    # Solve for the smaller of the two rates, which keeps the quadratic's last term from turning negative.
    rises = difference >= 0
    gap, k_low = np.abs(difference), np.where(rises, k2, k1)
    low = _positive_root(t, t * gap - (k1 + k2), k_low * gap)
    r1, r2 = np.where(rises, low + gap, low), np.where(rises, low, low + gap)
    return k1 / t1 - k2 / t2 - difference, r1 / t1 + r2 / t2


def rate_ratio_score(
    ratio: FloatArray, k1: FloatArray, t1: FloatArray, k2: FloatArray, t2: FloatArray
) -> Score:
    """Score of the rate ratio = ``ratio`` > 0, as events in arm 1 minus those expected given all events."""
    share = ratio * t1 / (ratio * t1 + t2)
    return k1 - (k1 + k2) * share, (k1 + k2) * share * (1 - share)
