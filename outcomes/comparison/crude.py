"""The arms side by side, nothing adjusted: differences, ratios, rates per device-day, early and later."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from outcomes.comparison.answers import Answers, Counts, answers, counts
from outcomes.comparison.endpoints import ENDPOINTS
from outcomes.comparison.shares import both_plain, limited, limited_rates, no_contrast, rate_share
from outcomes.comparison.units import Programme, Units
from outcomes.comparison.value import Contrast, Crude, CrudeRow, RateRow, Share
from outcomes.estimators.arrays import Flags, Floats
from outcomes.estimators.differences import risk_difference_limits
from outcomes.estimators.exact_tables import fisher_test
from outcomes.estimators.multiplicity import holm
from outcomes.estimators.rates import rate_ratio_limits
from outcomes.estimators.ratios import risk_ratio_limits
from outcomes.wording import lower_first

DIFFERENCE, RATIO, RATE_RATIO = "risk difference", "risk ratio", "rate ratio"
STRETCHES = (("all", "Whole stay"), ("early", "Days 0 to 2"), ("later", "From day 3 on"))
NO_REFERENCE_EVENT = "no event in the femoral arm"
ONE_ARM = "an arm is empty"


def crude(programme: Programme, units: Units) -> Crude:
    """All outcomes in both arms."""
    level = programme.level
    found = [answers(programme, units, endpoint) for endpoint in ENDPOINTS]
    rows = crude_rows(units, [(a, a.hit, a.known) for a in found], level, "risk")
    early = [(a, a.early, a.known & units.followed_from_start) for a in found if a.early is not None]
    rates = rate_rows(
        units, [(a, counts(programme, units, a.endpoint)) for a in found if a.endpoint.of_events], level
    )
    return Crude(
        rows=rows,
        early=crude_rows(units, early, level, "early"),
        rates=rates,
        multiplicity=multiplicity(rows),
    )


def crude_rows(
    units: Units, asked: Sequence[tuple[Answers, Flags, Flags]], level: float, key: str
) -> tuple[CrudeRow, ...]:
    """A row for each outcome; limits of all of them at once."""
    plain = [both_plain(f"{key}/{a.endpoint.code}", units, hit, known) for a, hit, known in asked]
    arms = _pairs(limited([share for pair in plain for share in pair], level))
    differences, ratios = _differences(arms, level), _ratios(arms, level)
    return tuple(
        CrudeRow(
            code=a.endpoint.code,
            label=a.endpoint.label,
            family=a.endpoint.family,
            harm=a.endpoint.harm,
            axillary=axillary,
            femoral=femoral,
            difference=difference,
            ratio=ratio,
        )
        for (a, _, _), (axillary, femoral), difference, ratio in zip(
            asked, arms, differences, ratios, strict=True
        )
    )


def _pairs(shares: Sequence[Share]) -> list[tuple[Share, Share]]:
    """Axillary and femoral, one pair after the other."""
    return list(zip(shares[::2], shares[1::2], strict=True))


def crude_contrasts(arms: Sequence[tuple[Share, Share]], level: float) -> list[tuple[Contrast, Contrast]]:
    """Risk difference and risk ratio of each pair of arms."""
    return list(zip(_differences(arms, level), _ratios(arms, level), strict=True))


def difference_of(arms: tuple[Share, Share], level: float) -> Contrast:
    """Risk difference of one pair of arms."""
    return _differences([arms], level)[0]


def _differences(arms: Sequence[tuple[Share, Share]], level: float) -> list[Contrast]:
    if not arms:
        return []
    x1, n1, x2, n2 = _cells(arms)
    lower, upper = risk_difference_limits(
        events=x1, totals=n1, reference_events=x2, reference_totals=n2, level=level
    )
    found = []
    for (a, f), low, high in zip(arms, lower.tolist(), upper.tolist(), strict=True):
        if a.value is None or f.value is None:
            found.append(no_contrast(DIFFERENCE, ONE_ARM))
        else:
            value = a.value - f.value
            found.append(Contrast(measure=DIFFERENCE, value=value, lower=low, upper=high, method="Newcombe"))
    return found


def _cells(arms: Sequence[tuple[Share, Share]]) -> tuple[Floats, Floats, Floats, Floats]:
    """Counts of the pairs; an empty arm is given one row, so that the arrays stay whole, and left out."""
    cells = [(a.hits or 0, max(a.total or 0, 1), f.hits or 0, max(f.total or 0, 1)) for a, f in arms]
    x1, n1, x2, n2 = np.array(cells, dtype=np.float64).T
    return x1, n1, x2, n2


def _ratios(arms: Sequence[tuple[Share, Share]], level: float) -> list[Contrast]:
    if not arms:
        return []
    x1, n1, x2, n2 = _cells(arms)
    lower, upper = risk_ratio_limits(
        events=x1, totals=n1, reference_events=x2, reference_totals=n2, level=level
    )
    found = []
    for (a, f), low, high in zip(arms, lower.tolist(), upper.tolist(), strict=True):
        if a.value is None or f.value is None:
            found.append(no_contrast(RATIO, ONE_ARM))
        else:
            found.append(_open_ratio(RATIO, a, f, (low, high), "Koopman"))
    return found


def rate_rows(units: Units, asked: Sequence[tuple[Answers, Counts]], level: float) -> tuple[RateRow, ...]:
    """Three rows for each outcome: the whole stay, days 0 to 2, and later."""
    parts = [(a, label, _rates(units, a, c, code)) for a, c in asked for code, label in STRETCHES]
    arms = _pairs(limited_rates([share for *_, pair in parts for share in pair], level))
    ratios = _rate_ratios(arms, level)
    return tuple(
        RateRow(
            code=a.endpoint.code,
            label=a.endpoint.label,
            stretch=label,
            axillary=axillary,
            femoral=femoral,
            ratio=ratio,
        )
        for (a, label, _), (axillary, femoral), ratio in zip(parts, arms, ratios, strict=True)
    )


def _rates(units: Units, a: Answers, c: Counts, stretch: str) -> tuple[Share, Share]:
    taken, days = {
        "all": (np.ones(c.row.size, dtype=np.bool_), c.early_days + c.later_days),
        "early": (c.is_early, c.early_days),
        "later": (~c.is_early, c.later_days),
    }[stretch]
    key, of_arm = f"rate-{stretch}/{a.endpoint.code}", units.axillary[c.row]
    axillary, femoral = (
        rate_share(
            key,
            units,
            c.events[taken & (of_arm == arm)],
            float(days[units.arm(arm)].sum()),
            axillary=arm,
        )
        for arm in (True, False)
    )
    return axillary, femoral


def _rate_ratios(arms: Sequence[tuple[Share, Share]], level: float) -> list[Contrast]:
    if not arms:
        return []
    lower, upper = rate_ratio_limits(
        events=[a.hits or 0 for a, _ in arms],
        times=[a.total or 1.0 for a, _ in arms],
        reference_events=[f.hits or 0 for _, f in arms],
        reference_times=[f.total or 1.0 for _, f in arms],
        level=level,
    )
    found = []
    for (a, f), low, high in zip(arms, np.atleast_1d(lower), np.atleast_1d(upper), strict=True):
        if a.value is None or f.value is None:
            found.append(no_contrast(RATE_RATIO, ONE_ARM))
        else:
            found.append(_open_ratio(RATE_RATIO, a, f, (float(low), float(high)), "mid-P conditional"))
    return found


def _open_ratio(
    measure: str, axillary: Share, femoral: Share, limits: tuple[float, float], method: str
) -> Contrast:
    """A ratio whose upper end stays open when nothing happened in the femoral arm."""
    above, below = axillary.value or 0.0, femoral.value or 0.0
    return Contrast(
        measure=measure,
        value=above / below if below else None,
        lower=limits[0],
        upper=limits[1] if np.isfinite(limits[1]) else None,
        method=method,
        note="" if below else NO_REFERENCE_EVENT,
    )


def multiplicity(rows: Sequence[CrudeRow]) -> str:
    """How many kinds of complication differ once all that are shown are asked about together."""
    family = [
        row for row in rows if row.family == "complication" and row.axillary.total and row.femoral.total
    ]
    family = [row for row in family if (row.axillary.hits or 0) + (row.femoral.hits or 0) > 0]
    if not family:
        return "No kind of complication to compare."
    if len(family) == 1:
        return f"One kind of complication is compared: {lower_first(family[0].label)}."
    p_values = {row.label: _fisher(row) for row in family}
    differing = holm(p_values, family="kinds of complication").rejected()
    said = ", ".join(lower_first(name) for name in differing) if differing else "none"
    return (
        f"{len(family)} kinds of complication are compared at once, so limits that exclude zero are expected "
        "in one of twenty by chance alone. After Holm's step-down over these kinds (Fisher, mid-P), still "
        f"different, before any adjustment for who the patients were: {said}."
    )


def _fisher(row: CrudeRow) -> float:
    found = fisher_test(
        events=row.axillary.hits or 0,
        total=int(row.axillary.total or 0),
        reference_events=row.femoral.hits or 0,
        reference_total=int(row.femoral.total or 0),
        mid_p=True,
    )
    return min(1.0, found.p_value if found.p_value is not None else 1.0)
