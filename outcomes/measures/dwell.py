"""How long catheters and courses last, those still going on included."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from outcomes.dataset.clock import MINUTES_PER_DAY
from outcomes.estimators.arrays import Flags, Ints
from outcomes.estimators.survival import SurvivalCurve, kaplan_meier, quantile
from outcomes.estimators.tally import tally_exits
from outcomes.measures.base import CONVENTION, KAPLAN_MEIER, RUN_END, Measure
from outcomes.measures.making import Keys, count_figure, curve_of, early_minimum, key_of
from outcomes.measures.scope import ROUTE_LABELS, Scope
from outcomes.measures.values import Cases, Counted, Curve, Figure, Findings, Record

QUANTILES = (
    ("quartile-1", "First quartile", 0.25),
    ("median", "Median", 0.5),
    ("quartile-3", "Third quartile", 0.75),
)
RISK_DAYS = (0.0, 7.0, 14.0, 30.0, 60.0, 90.0)


@dataclass(frozen=True, eq=False)
class Stays:
    """Stays of one group in minutes from insertion: observed over (entry, exit], ended or censored."""

    keys: Keys
    entry: Ints
    exit: Ints
    ended: Flags

    @property
    def size(self) -> int:
        return self.exit.size


def run_dwell(scope: Scope) -> Findings:
    """Time in place of balloon pump runs begun in the period, by route of the run."""
    runs = scope.dataset.runs
    figures: list[Figure] = []
    curves: list[Curve] = []
    for group, rows in scope.by_group(scope.begun_pumps, runs.route):
        stays = Stays(
            Keys("runs", runs.pk[rows]),
            (runs.observed_from - runs.inserted)[rows],
            (runs.ended - runs.inserted)[rows],
            runs.removed_known[rows],
        )
        _add(scope, "dwell.run", group, stays, "runs", figures, curves)
    return Findings(tuple(figures), tuple(curves))


def course_dwell(scope: Scope) -> Findings:
    """Time from the first device in to the last device out, by route of the first run."""
    courses = scope.dataset.courses
    figures: list[Figure] = []
    curves: list[Curve] = []
    for group, rows in scope.by_group(scope.analysed, courses.route):
        stays = Stays(
            Keys("courses", courses.pk[rows]),
            (courses.observed_from - courses.began)[rows],
            (courses.ended - courses.began)[rows],
            courses.removed[rows],
        )
        _add(scope, "dwell.course", group, stays, "courses", figures, curves)
    return Findings(tuple(figures), tuple(curves))


def _add(
    scope: Scope,
    measure: str,
    group: str,
    stays: Stays,
    counted: Record,
    figures: list[Figure],
    curves: list[Curve],
) -> None:
    tally = (
        tally_exits(stays.exit, stays.ended.astype(np.int64), entry=stays.entry, groups=(group,), causes=1)
        if stays.size
        else None
    )
    curve = None
    if tally is not None and tally.subjects[0]:
        curve = kaplan_meier(tally, level=scope.level, minimum_at_risk=early_minimum(tally))
    figures += [_quantile_figure(scope, measure, group, stays, curve, *which) for which in QUANTILES]
    figures += _plain(scope, measure, group, stays, counted)
    if curve is not None:
        curves.append(
            curve_of(
                curve,
                key=key_of(measure, group),
                measure=measure,
                label=ROUTE_LABELS[group],
                group=group,
                quantity="still in place",
                counted=counted,
                risk_days=RISK_DAYS,
                per_day=MINUTES_PER_DAY,
            )
        )


def _quantile_figure(
    scope: Scope,
    measure: str,
    group: str,
    stays: Stays,
    curve: SurvivalCurve | None,
    item: str,
    label: str,
    share: float,
) -> Figure:
    counted: Counted = stays.keys.record
    found = quantile(curve, share) if curve is not None else None
    ended = Keys(stays.keys.record, stays.keys.pks[stays.ended])
    return Figure(
        key=key_of(measure, group, item),
        measure=measure,
        label=f"{label} dwell",
        group=group,
        unit="days",
        counted=counted,
        numerator=ended.distinct,
        out_of=counted,
        denominator=stays.keys.distinct,
        estimate=_days(found.value if found else None),
        lower=_days(found.lower if found else None),
        upper=_days(found.upper if found else None),
        method=found.method if found else "",
        note=(f"not estimable: {found.note}" if found.value is None else found.note)
        if found
        else f"not estimable: no {counted} under observation",
        cases=Cases((ended.cases,), (stays.keys.cases,)),
    )


def _plain(scope: Scope, measure: str, group: str, stays: Stays, counted: Counted) -> list[Figure]:
    """How many, how many still going on, the shortest that is over and the longest as it stands."""
    going_on = Keys(stays.keys.record, stays.keys.pks[~stays.ended])
    figures = [
        count_figure(scope, measure, group, "n", counted.capitalize(), stays.keys, counted=counted),
        count_figure(
            scope, measure, group, "going-on", "Still in place or end not recorded", going_on, counted=counted
        ),
    ]
    if stays.ended.any():
        over = np.flatnonzero(stays.ended)
        shortest = int(over[np.argmin(stays.exit[over])])
        figures.append(_extreme(measure, group, stays, counted, "shortest", "Shortest dwell", shortest))
    if stays.size:
        longest = int(np.argmax(stays.exit))
        figures.append(_extreme(measure, group, stays, counted, "longest", "Longest dwell", longest))
    return figures


def _extreme(
    measure: str, group: str, stays: Stays, counted: Counted, item: str, label: str, index: int
) -> Figure:
    going_on = not stays.ended[index]
    return Figure(
        key=key_of(measure, group, item),
        measure=measure,
        label=label,
        group=group,
        unit="days",
        counted=counted,
        numerator=1,
        out_of=counted,
        denominator=stays.size,
        estimate=_days(float(stays.exit[index])),
        method="observed value",
        note="still in place, or end not recorded: at least this long" if going_on else "",
        cases=Cases((Keys(stays.keys.record, stays.keys.pks[index : index + 1]).cases,), (stays.keys.cases,)),
    )


def _days(minutes: float | None) -> float | None:
    return None if minutes is None else minutes / MINUTES_PER_DAY


RUN_DWELL = Measure(
    id="dwell.run",
    title="Run dwell",
    counted="runs",
    basis="begun in the period",
    who_counts="balloon pump runs inserted in the period, by the route of the run",
    what_counts="removal, for whatever reason",
    time_zero="insertion; a transfer in is followed from arrival (delayed entry)",
    censoring=RUN_END,
    estimator="outcomes.estimators.survival.kaplan_meier, quantile",
    unit="elapsed days (hours divided by 24)",
    definition=(
        "How long one catheter stays in. Removal ends it whether for transplant, exchange, death or "
        "weaning, so all of these are the event here. Runs still in place are kept and censored. The "
        "shortest is that of the runs that are over; the longest may still be in place, and then says so."
    ),
    source=f"{CONVENTION}; {KAPLAN_MEIER}",
    compute=run_dwell,
)
COURSE_DWELL = Measure(
    id="dwell.course",
    title="Course dwell",
    counted="courses",
    basis="begun in the period",
    who_counts="courses begun in the period with a balloon pump, by the route of the first run",
    what_counts="removal of the last device, for whatever reason",
    time_zero="first insertion; a transfer in is followed from arrival (delayed entry)",
    censoring=(
        "Courses with a device in place are censored at the data cut; with the outcome known but a "
        "removal missing, at the outcome."
    ),
    estimator="outcomes.estimators.survival.kaplan_meier, quantile",
    unit="elapsed days (hours divided by 24)",
    definition=(
        "From the first device in to the last device out, exchanges, changes of route, escalations and "
        "the gaps between devices of one course included: femoral 4 days then axillary 15 days is a "
        "course of 19 days."
    ),
    source=f"{CONVENTION}; {KAPLAN_MEIER}",
    compute=course_dwell,
)
MEASURES = (RUN_DWELL, COURSE_DWELL)
