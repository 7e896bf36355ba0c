"""The intervals compared: ours, and beside them the textbook ones that are not offered."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy.special import ndtri

from outcomes.estimators.differences import risk_difference_limits
from outcomes.estimators.proportions import (
    clopper_pearson_limits,
    mid_p_limits,
    wilson_cc_limits,
    wilson_limits,
)
from outcomes.estimators.rates import (
    garwood_limits,
    rate_mid_p_limits,
    rate_ratio_limits,
    rate_score_limits,
)
from outcomes.estimators.ratios import risk_ratio_limits

Z = float(ndtri(0.975))
PLAIN = " (not offered)"


def wald(x, n):
    """p ± 1.96 standard errors."""
    reach = Z * np.sqrt(x / n * (1 - x / n) / n)
    return x / n - reach, x / n + reach


def rate_wald(k, t):
    return (k - Z * np.sqrt(k)) / t, (k + Z * np.sqrt(k)) / t


def difference_wald(events, totals, reference_events, reference_totals):
    p, q = events / totals, reference_events / reference_totals
    reach = Z * np.sqrt(p * (1 - p) / totals + q * (1 - q) / reference_totals)
    return p - q - reach, p - q + reach


def ratio_log(events, totals, reference_events, reference_totals):
    """Katz's limits on the log scale; without events in either arm they do not exist and hold nothing."""
    with np.errstate(divide="ignore", invalid="ignore"):
        log_ratio = np.log(events / totals) - np.log(reference_events / reference_totals)
        reach = Z * np.sqrt(1 / events - 1 / totals + 1 / reference_events - 1 / reference_totals)
        return np.exp(log_ratio - reach), np.exp(log_ratio + reach)


def rate_ratio_log(events, times, reference_events, reference_times):
    with np.errstate(divide="ignore", invalid="ignore"):
        log_ratio = np.log(events / times) - np.log(reference_events / reference_times)
        reach = Z * np.sqrt(1 / events + 1 / reference_events)
        return np.exp(log_ratio - reach), np.exp(log_ratio + reach)


def _named(function: Callable, method: str) -> Callable:
    return lambda **counts: function(**counts, method=method)


PROPORTIONS = {
    "Wilson": wilson_limits,
    "Wilson, continuity-corrected": wilson_cc_limits,
    "Clopper-Pearson": clopper_pearson_limits,
    "mid-P": mid_p_limits,
    f"p ± 1.96 SE{PLAIN}": wald,
}
RATES = {
    "exact (Garwood)": garwood_limits,
    "mid-P": rate_mid_p_limits,
    "score": rate_score_limits,
    f"k ± 1.96 √k{PLAIN}": rate_wald,
}
DIFFERENCES = {
    **{
        method: _named(risk_difference_limits, method)
        for method in ("Newcombe", "Newcombe, continuity-corrected", "Miettinen-Nurminen", "Mee")
    },
    f"difference ± 1.96 SE{PLAIN}": lambda **counts: difference_wald(**counts),
}
RATIOS = {
    **{method: _named(risk_ratio_limits, method) for method in ("Koopman", "Miettinen-Nurminen")},
    f"log ratio ± 1.96 SE{PLAIN}": lambda **counts: ratio_log(**counts),
}
RATE_RATIOS = {
    **{
        method: _named(rate_ratio_limits, method)
        for method in ("exact conditional", "mid-P conditional", "score")
    },
    f"log ratio ± 1.96 SE{PLAIN}": lambda **counts: rate_ratio_log(**counts),
}
