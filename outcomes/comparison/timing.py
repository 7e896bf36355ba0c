"""When it happened: mobilisation and the ways support ended, as cumulative incidence by route.

Only rows followed from their first minute: Gray's test has no agreed form for delayed entry, and curves,
test and restricted means should speak of the same patients. How many were left out is stated.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from outcomes.comparison import limits
from outcomes.comparison.answers import mobilised_by
from outcomes.comparison.shares import both_arms, both_plain, no_contrast
from outcomes.comparison.units import AXILLARY, FEMORAL, Programme, Units
from outcomes.comparison.value import ARMS, Contrast, Incidence, Line, Share, Timing
from outcomes.dataset.clock import MINUTES_PER_DAY, NEVER
from outcomes.estimators.arrays import Flags, Floats, Ints
from outcomes.estimators.competing import cumulative_incidence, gray_test
from outcomes.estimators.curves import StepCurve
from outcomes.estimators.refit import block_size, resample_counts
from outcomes.estimators.tally import Tally, tally_exits
from outcomes.estimators.weighted_limits import LARGEST_FAILED_SHARE, percentiles
from outcomes.measures.bridge import CAUSES
from outcomes.measures.mobilisation import MOBILISED, ROUTE_CHANGED, route_clock
from outcomes.measures.mobilisation import levels as level_days

STAY_CAUSES = ROUTE_CHANGED  # mobilised, died, support ended, route changed
BRIDGE_DAYS = tuple(float(day) for day in range(91))
BRIDGE_RISK_DAYS = (0.0, 7.0, 14.0, 30.0, 60.0, 90.0)
STAY_DAYS = tuple(float(day) for day in range(15))
STAY_RISK_DAYS = (0.0, 1.0, 2.0, 3.0, 5.0, 7.0, 10.0, 14.0)
RESTRICTED = "difference in restricted mean days"
LOST = "follow-up ends before {days} days are over, with people still waiting, in {where}"
OFTEN_LOST = "follow-up to the last of the days hangs on too few patients for limits"
TOO_FEW = "too few followed from the start: at least {fewest} in each arm are needed"


def timing(programme: Programme, units: Units) -> Timing:
    """Mobilisation, ways out and restricted means."""
    followed = units.chosen(units.followed_from_start)
    other = _first_on_other_route(programme, followed)
    everybody = np.ones(units.size, dtype=np.bool_)
    levels = (
        ("out-of-bed", "First out of bed", followed.out_of_bed_day),
        ("walk", "First walk", followed.walk_day),
    )
    return Timing(
        mobilisation=tuple(
            replace(_mobilisation(followed, *level, programme.level), moved=_moved(followed, *level, other))
            for level in levels
        ),
        bridge=_bridge(followed, programme.level),
        restricted_means=tuple(
            (label, *_restricted(followed, first, programme.level)) for _, label, first in levels
        ),
        not_followed=both_arms("not-followed", units, ~units.followed_from_start, everybody, programme.level),
    )


def _too_few(units: Units) -> str:
    counts = [int(units.arm(axillary).sum()) for axillary in (True, False)]
    if min(counts) >= limits.FEWEST_ON_A_CURVE:
        return ""
    return TOO_FEW.format(fewest=limits.FEWEST_ON_A_CURVE)


def _stay_exits(units: Units, first_day: Ints) -> tuple[Ints, Ints]:
    """Day number and cause at which each row left the mobilisation clock."""
    reached = mobilised_by(first_day, units.over_day)
    return np.where(reached, first_day, units.over_day), np.where(reached, MOBILISED, units.stay_cause)


def _mobilisation(units: Units, code: str, label: str, first_day: Ints, level: float) -> Incidence:
    day, cause = _stay_exits(units, first_day)
    shares = both_arms(f"time/{code}", units, cause == MOBILISED, np.ones(units.size, np.bool_), level)
    refusal = _too_few(units)
    if refusal:
        return _refused(code, label, shares, refusal)
    tally = _tally(units, day, cause, STAY_CAUSES)
    return _incidence(code, label, tally, MOBILISED, shares, level, 1, STAY_DAYS, STAY_RISK_DAYS)


def _first_on_other_route(programme: Programme, units: Units) -> dict[str, Flags]:
    """By level of mobilisation: rows that reached it first while a pump by the other route was in place.

    On the day of the change itself the own route has it, if both do.
    """
    clock, first_run = route_clock(programme.scope)
    runs, courses = programme.dataset.runs, programme.dataset.courses
    axillary = np.zeros(courses.size, dtype=np.bool_)
    axillary[units.course] = units.axillary
    route = runs.route[first_run]
    own = route == np.where(axillary[clock.course], AXILLARY, FEMORAL)
    other = np.isin(route, (AXILLARY, FEMORAL)) & ~own
    found = {}
    for item, _, level, days_of_run in level_days(programme.dataset.bedside):
        day = clock.first_day(level, days_of_run)
        firsts = []
        for spells in (own, other):
            first = np.full(courses.size, NEVER)
            np.minimum.at(first, clock.course[spells], day[spells])
            firsts.append(first[units.course])
        found[item] = firsts[1] < firsts[0]
    return found


def _moved(
    units: Units, code: str, label: str, first_day: Ints, on_other: dict[str, Flags]
) -> tuple[Share, ...]:
    """Of those of each arm who were mobilised, how many first on a pump by the other route.

    None as used, where nobody has another route.
    """
    if units.record == "runs":
        return ()
    return both_plain(f"time/{code}-moved", units, on_other[code], mobilised_by(first_day, units.over_day))


def _bridge(units: Units, level: float) -> tuple[Incidence, ...]:
    """Each way out, and transplant and durable pump joined."""
    everybody = np.ones(units.size, np.bool_)
    joined = np.isin(units.way_out, (1, 2))
    found = [_way("replaced", "Transplant or durable pump", units, joined, level, everybody)]
    for cause, (code, label) in enumerate(CAUSES, start=1):
        if code not in ("transplant", "durable", "transferred"):
            found.append(_way(code, label, units, units.way_out == cause, level, everybody))
    return tuple(found)


def _way(code: str, label: str, units: Units, this: Flags, level: float, everybody: Flags) -> Incidence:
    """One way out against all others: the joint risk of the rest does not depend on how it is split."""
    shares = both_arms(f"time/{code}", units, this, everybody, level)
    refusal = _too_few(units)
    if refusal:
        return _refused(code, label, shares, refusal)
    cause = np.where(this, 1, np.where(units.way_out > 0, 2, 0))
    tally = _tally(units, units.exit_minutes, cause, 2)
    return _incidence(code, label, tally, 1, shares, level, MINUTES_PER_DAY, BRIDGE_DAYS, BRIDGE_RISK_DAYS)


def _tally(units: Units, exit: Ints, cause: Ints, causes: int) -> Tally:
    group = np.where(units.axillary, 0, 1)
    return tally_exits(exit, cause, group=group, groups=ARMS, causes=causes)


def _refused(code: str, label: str, shares: tuple[Share, Share], refusal: str) -> Incidence:
    return Incidence(code=code, label=label, lines=(), counts=shares, p_value=None, method="", note=refusal)


def _incidence(
    code: str,
    label: str,
    tally: Tally,
    cause: int,
    shares: tuple[Share, Share],
    level: float,
    per_day: int,
    days: tuple[float, ...],
    risk_days: tuple[float, ...],
) -> Incidence:
    lines = []
    for arm in ARMS:
        curve = cumulative_incidence(tally, group=arm, level=level).causes[cause - 1]
        lines.append(_line(curve, arm, per_day, days, risk_days))
    test = gray_test(tally, cause=cause)
    return Incidence(
        code=code,
        label=label,
        lines=tuple(lines),
        counts=shares,
        p_value=test.p_value,
        method=f"{curve.method}; test: {test.method}",
        note=test.note,
    )


def _line(
    curve: StepCurve, arm: str, per_day: int, days: tuple[float, ...], risk_days: tuple[float, ...]
) -> Line:
    """The curve read on the grid, up to the day on which the last one was followed."""
    last = curve.last_follow_up / per_day
    grid = np.array([day for day in days if day < last + 1.0])
    place = np.searchsorted(curve.times, grid * per_day, side="right") - 1
    seen = place >= 0
    values = np.where(seen, np.append(curve.values, 0.0)[place], 0.0)
    drawn = seen & (values > 0.0)
    return Line(
        arm=arm,
        subjects=curve.subjects,
        days=tuple(grid.tolist()),
        values=tuple(values.tolist()),
        lower=_limits(curve.lower, place, drawn),
        upper=_limits(curve.upper, place, drawn),
        reached=tuple(np.append(np.cumsum(curve.events), 0)[place].tolist()),
        risk_days=risk_days,
        risk_counts=tuple(curve.tally.at_risk_at(np.array(risk_days) * per_day, curve.group).tolist()),
    )


def _limits(edge: Floats, place: Ints, drawn: Flags) -> tuple[float | None, ...]:
    read = np.append(edge, np.nan)[place]
    return tuple(float(value) if known else None for value, known in zip(read, drawn, strict=True))


# Restricted mean


def _restricted(units: Units, first_day: Ints, level: float) -> tuple[float | None, float | None, Contrast]:
    """Mean days to mobilisation of both arms, counted up to the horizon, and their difference.

    Who died, left support or was never mobilised counts with the whole horizon: the area above the
    cumulative incidence, not above a curve that censors the dead. Andersen PK, Stat Med 2013;32:5278-5285,
    "Decomposition of number of life years lost according to causes of death", doi:10.1002/sim.5903.
    """
    refusal = _too_few(units)
    if refusal:
        return None, None, no_contrast(RESTRICTED, refusal)
    cells = _cells(units.patient, units.axillary, *_stay_exits(units, first_day))
    axillary, femoral = (None if np.isnan(mean) else float(mean) for mean in _mean_days(cells.sum(axis=0)))
    if axillary is None or femoral is None:
        return axillary, femoral, no_contrast(RESTRICTED, _lost(axillary, femoral))
    found = _resampled(cells, level)
    if found is None:
        return axillary, femoral, no_contrast(RESTRICTED, OFTEN_LOST)
    horizon = limits.MOBILISED_WITHIN_DAYS
    return (
        axillary,
        femoral,
        Contrast(
            measure=RESTRICTED,
            value=axillary - femoral,
            lower=found[0],
            upper=found[1],
            method=(
                f"area above the cumulative incidence to day {horizon}; percentile bootstrap of "
                f"{limits.RESAMPLES:,} resamples of patients"
            ),
        ),
    )


def _lost(axillary: float | None, femoral: float | None) -> str:
    """Why a mean is missing."""
    both = axillary is None and femoral is None
    where = "both groups" if both else f"the {'axillary' if axillary is None else 'femoral'} group"
    return LOST.format(days=limits.MOBILISED_WITHIN_DAYS, where=where)


def _resampled(cells: Ints, level: float) -> tuple[float, float] | None:
    """Limits of the difference from resamples of patients, each with all rows; None if too many fail."""
    drawn = resample_counts(limits.SEED, len(cells), limits.RESAMPLES, block=block_size(len(cells)))
    flat = cells.reshape(len(cells), -1).astype(np.float64)
    means = np.concatenate([_mean_days((counts @ flat).reshape(-1, *cells.shape[1:])) for counts in drawn])
    differences = means[:, 0] - means[:, 1]
    known = differences[~np.isnan(differences)]
    few = known.size < (1.0 - LARGEST_FAILED_SHARE) * differences.size
    return None if few else percentiles(known, level)


def _cells(patient: Ints, axillary: Flags, day: Ints, cause: Ints) -> Ints:
    """Rows (P, 2, 3, days) of each patient, axillary and femoral, that were censored, mobilised, or left
    otherwise, by day; later ones last.
    """
    patients, place = np.unique(patient, return_inverse=True)
    kind = np.where(cause == 0, 0, np.where(cause == MOBILISED, 1, 2))
    last = limits.MOBILISED_WITHIN_DAYS + 1
    cells = np.zeros((patients.size, 2, 3, last + 1), dtype=np.int64)
    np.add.at(cells, (place, np.where(axillary, 0, 1), kind, np.clip(day, 0, last)), 1)
    return cells


def _mean_days(cells: Ints | Floats) -> Floats:
    """Restricted mean days (...) from counts (..., 3, days).

    NaN where the last was followed to a day before the horizon and not all had been mobilised or had left:
    nothing is known of the days after that.
    """
    horizon = limits.MOBILISED_WITHIN_DAYS
    followed = cells.sum(axis=-2)[..., ::-1].cumsum(axis=-1)[..., ::-1]
    at_risk = np.maximum(followed, 1)
    mobilised, gone = cells[..., 1, :], cells[..., 2, :]
    after = np.cumprod(1.0 - (mobilised + gone) / at_risk, axis=-1)
    before = np.concatenate([np.ones_like(after[..., :1]), after[..., :-1]], axis=-1)
    incidence = np.cumsum(before * mobilised / at_risk, axis=-1)
    known = (followed[..., horizon - 1] > 0) | (after[..., horizon - 1] == 0.0)
    return np.where(known, horizon - incidence[..., :horizon].sum(axis=-1), np.nan)
