"""Why nobody is called axillary from day 0 because an axillary pump came later.

A patient who was moved to axillary had to live through the femoral days first. To count those days, and that
survival, as axillary is immortal time bias. The naive figure is worked out only to show how wrong it is.
Suissa S, Am J Epidemiol 2008;167:492-499, "Immortal time bias in pharmaco-epidemiology",
doi:10.1093/aje/kwm324. The data set that made it famous: Crowley J, Hu M, J Am Stat Assoc 1977;72:27-36,
"Covariance analysis of heart transplant survival data", doi:10.1080/01621459.1977.10479903.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from outcomes.comparison import limits
from outcomes.comparison.answers import DEATHS
from outcomes.comparison.crude import RATIO
from outcomes.comparison.shares import contrast, counted, no_contrast, share
from outcomes.comparison.units import AXILLARY, Programme, Units
from outcomes.comparison.value import Contrast, Naive
from outcomes.dataset.clock import MINUTES_PER_DAY, NEVER
from outcomes.estimators.arrays import Flags, Floats, Ints
from outcomes.estimators.base import EstimatorError
from outcomes.estimators.ratios import risk_ratio
from outcomes.estimators.timevarying import HazardRatio, cox

HAZARD = "hazard ratio"
EVER, REACHED = "ever axillary", "axillary reached"


@dataclass(frozen=True, eq=False)
class Histories:
    """Courses from start to end in days: death or not at ``ended``, and when axillary was reached.

    ``reached`` is infinite for courses that never had an axillary pump, 0 for those that began with one.
    """

    patient: Ints
    entered: Floats
    ended: Floats
    died: Flags
    reached: Floats


def naive_hazard(histories: Histories, level: float) -> HazardRatio:
    """The wrong one: ever axillary as if it had been so from day 0. Raises EstimatorError as ``cox`` does."""
    ever = np.isfinite(histories.reached).astype(np.float64)
    fit = cox(
        exit=histories.ended,
        event=histories.died,
        covariates=ever[:, None],
        names=[EVER],
        entry=histories.entered,
        patient=histories.patient,
    )
    return fit.hazard_ratio(EVER, level=level)


def state_hazard(histories: Histories, level: float) -> HazardRatio:
    """The right one: femoral until axillary is reached, axillary from then on. Raises EstimatorError."""
    rows = _split(histories)
    fit = cox(
        exit=rows.ended,
        event=rows.died,
        covariates=np.isfinite(rows.reached).astype(np.float64)[:, None],
        names=[REACHED],
        entry=rows.entered,
        patient=rows.patient,
    )
    return fit.hazard_ratio(REACHED, level=level)


def _split(histories: Histories) -> Histories:
    """Each course cut at the moment axillary was reached; rows without length are dropped."""
    h = histories
    moves = (h.reached > h.entered) & (h.reached < h.ended)
    before = Histories(
        h.patient, h.entered, np.where(moves, h.reached, h.ended), h.died & ~moves,
        np.where(moves | (h.reached >= h.ended), np.inf, h.reached),
    )  # fmt: skip
    after = Histories(h.patient[moves], h.reached[moves], h.ended[moves], h.died[moves], h.reached[moves])
    joined = [np.concatenate([getattr(part, name) for part in (before, after)]) for name in _COLUMNS]
    lasting = joined[2] > joined[1]
    return Histories(*(column[lasting] for column in joined))


_COLUMNS = ("patient", "entered", "ended", "died", "reached")


def histories_of(programme: Programme, units: Units) -> Histories:
    """The courses of the rows, in days from their first insertion."""
    courses = programme.dataset.courses
    chosen = np.unique(units.course)
    began = courses.began[chosen]
    has_outcome = courses.outcome[chosen] >= 0
    ended = np.where(has_outcome, courses.outcome_at[chosen], courses.ended[chosen])
    reached = first_axillary(programme)[chosen]
    per_day = float(MINUTES_PER_DAY)
    found = Histories(
        patient=courses.patient[chosen],
        entered=(courses.observed_from[chosen] - began) / per_day,
        ended=(ended - began) / per_day,
        died=np.isin(courses.outcome[chosen], DEATHS),
        reached=np.where(reached < NEVER, (reached - began) / per_day, np.inf),
    )
    lasting = found.ended > found.entered
    return Histories(*(getattr(found, name)[lasting] for name in _COLUMNS))


def first_axillary(programme: Programme) -> Ints:
    """Minute of the first axillary balloon pump of each course; NEVER where there was none."""
    runs = programme.dataset.runs
    first = np.full(programme.dataset.courses.size, NEVER)
    chosen = runs.is_pump & (runs.route == AXILLARY)
    np.minimum.at(first, runs.course[chosen], runs.inserted[chosen])
    return first


def naive(programme: Programme, units: Units) -> Naive:
    """Both ways of counting deaths on support, on the programme's own courses."""
    courses = programme.dataset.courses
    chosen = np.unique(units.course)
    rows = _by_course(units, chosen, first_axillary(programme)[chosen] < NEVER, courses.pk[chosen])
    known = courses.outcome[chosen] >= 0
    died = known & np.isin(courses.outcome[chosen], DEATHS)
    ever = replace(
        share("naive", rows, died, known, axillary=True, level=programme.level), key="naive/ever", arm=""
    )
    never = replace(
        share("naive", rows, died, known, axillary=False, level=programme.level), key="naive/never", arm=""
    )
    late = rows.axillary & (first_axillary(programme)[chosen] > courses.began[chosen])
    immortal = (first_axillary(programme)[chosen] - courses.began[chosen])[late].sum() / MINUTES_PER_DAY
    hazards = _hazards(programme, units, int(died.sum()))
    return Naive(
        ever=ever,
        never=never,
        crossed=counted(
            "naive/crossed", "courses", courses.pk[chosen][late], out_of=int(rows.axillary.sum())
        ),
        immortal_days=float(immortal),
        naive_ratio=_ratio(ever.hits, ever.total, never.hits, never.total, programme.level),
        naive_hazard=hazards[0],
        state_hazard=hazards[1],
    )


def _by_course(units: Units, chosen: Ints, ever: Flags, pks: Ints) -> Units:
    """One row per course with ever axillary as its arm; only what ``share`` reads is kept in order."""
    first = np.unique(units.course, return_index=True)[1]
    rows = np.zeros(units.size, dtype=np.bool_)
    rows[first] = True
    # Rows of courses come in the order of courses, which np.unique keeps.
    return replace(units.chosen(rows), view="first", record="courses", pks=pks, axillary=ever)


def _hazards(programme: Programme, units: Units, deaths: int) -> tuple[Contrast, Contrast]:
    if deaths < limits.FEWEST_DEATHS:
        note = f"too few deaths: at least {limits.FEWEST_DEATHS} are needed"
        return no_contrast(HAZARD, note), no_contrast(HAZARD, note)
    histories = histories_of(programme, units)
    found = []
    for estimate in (naive_hazard, state_hazard):
        try:
            found.append(contrast(HAZARD, estimate(histories, programme.level)))
        except EstimatorError as error:
            found.append(no_contrast(HAZARD, f"not estimable ({error.rule})"))
    return found[0], found[1]


def _ratio(
    hits: int | None, total: float | None, others: int | None, other_total: float | None, level: float
) -> Contrast:
    if not total or not other_total:
        return no_contrast(RATIO, "one of the two groups is empty")
    found = contrast(
        RATIO,
        risk_ratio(
            events=hits or 0,
            total=int(total),
            reference_events=others or 0,
            reference_total=int(other_total),
            level=level,
        ),
    )
    open_end = found.upper is not None and not np.isfinite(found.upper)
    return replace(found, upper=None) if open_end else found


def histories(
    *,
    ended: npt.ArrayLike,
    died: npt.ArrayLike,
    reached: npt.ArrayLike,
) -> Histories:
    """Histories of subjects followed from day 0, one row each; ``reached`` infinite for never."""
    end = np.asarray(ended, dtype=np.float64)
    return Histories(
        patient=np.arange(end.size),
        entered=np.zeros(end.size),
        ended=end,
        died=np.asarray(died, dtype=np.bool_),
        reached=np.asarray(reached, dtype=np.float64),
    )
