"""Find the roots of many monotone functions at once."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from outcomes.estimators.base import FloatArray

HALVINGS = 64  # more than the 53 bits of a double, so the bracket ends as narrow as numbers allow


def falling_roots(
    function: Callable[[FloatArray], FloatArray], low: FloatArray, high: FloatArray
) -> FloatArray:
    """Roots of functions that fall from positive at ``low`` to not positive at ``high``.

    ``function`` takes and returns one value per cell, shape as ``low`` and ``high``. Bisection is slower per
    step than cleverer methods but never leaves the bracket, and all cells are halved in one pass.
    """
    low, high = np.array(low, dtype=float), np.array(high, dtype=float)
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        above = function(middle) > 0.0
        low, high = np.where(above, middle, low), np.where(above, high, middle)
    return 0.5 * (low + high)
