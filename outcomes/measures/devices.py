"""What happened to the catheters: repositions, faults by place, exchanges, changes of route, films."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from outcomes.dataset import codes
from outcomes.dataset.clock import MINUTES_PER_DAY
from outcomes.estimators.arrays import Flags, Ints
from outcomes.estimators.recurrent import MeanCumulativeCurve, mean_cumulative_function
from outcomes.measures.base import CONVENTION, GARWOOD, IN_PLACE, LAWLESS_NADEAU, RUN_END, WILSON, Measure
from outcomes.measures.complications import REPOSITION, event_figures, exposures
from outcomes.measures.making import (
    NO_INTERVAL,
    Keys,
    count_figure,
    curve_of,
    key_of,
    proportion_figure,
    rate_figure,
    reading_note,
)
from outcomes.measures.scope import ROUTE_LABELS, Scope, of_route
from outcomes.measures.values import ALL_ROUTES, Cases, Curve, Figure, Findings
from registry.choices import FilmVerdict, Relation
from registry.choices_events import EventKind

MEAN_DAYS = (1.0, 3.0, 7.0, 14.0, 30.0)
RISK_DAYS = (0.0, *MEAN_DAYS)
FAULT = codes.KINDS.index(EventKind.KINK)
EXCHANGES = [codes.RELATIONS.index(relation) for relation in (Relation.SAME_SITE, Relation.NEW_SITE)]
CROSSOVER = codes.RELATIONS.index(Relation.CROSSOVER)
OFF_LEVEL = [codes.VERDICTS.index(v) for v in (FilmVerdict.HIGH, FilmVerdict.LOW, FilmVerdict.ROTATED)]
CANNOT_TELL = codes.VERDICTS.index(FilmVerdict.CANNOT_TELL)


def repositions(scope: Scope) -> Findings:
    """Patients, events and rate of repositions in the period."""
    chosen = scope.attributed & (scope.dataset.events.kind == REPOSITION)
    exposed = exposures(scope)
    return Findings(tuple(event_figures(scope, "repositions", "REPOSITION", "Reposition", chosen, exposed)))


def repositions_over_time(scope: Scope) -> Findings:
    """Mean number of repositions per run by days since insertion."""
    runs = scope.dataset.runs
    figures: list[Figure] = []
    curves: list[Curve] = []
    # A run that ended at the very minute of arrival was never under observation.
    seen = scope.begun_pumps & ((runs.observed_from < runs.ended) | (runs.observed_from == runs.inserted))
    for group, rows in scope.by_group(seen, runs.route):
        if not rows.any():
            continue
        followed = Keys("runs", runs.pk[rows])
        curve, happened = _mean_repositions(scope, rows)
        figures += [_mean_figure(group, followed, curve, happened, day) for day in MEAN_DAYS]
        curves.append(
            curve_of(
                curve,
                key=key_of("repositions.mean", group),
                measure="repositions.mean",
                label=ROUTE_LABELS[group],
                group=group,
                quantity="mean events per run",
                counted="runs",
                risk_days=RISK_DAYS,
                per_day=MINUTES_PER_DAY,
                note=curve.note,
            )
        )
    return Findings(tuple(figures), tuple(curves))


@dataclass(frozen=True, eq=False)
class Happened:
    """Events by key, and their minutes since insertion."""

    pks: Ints
    since: Ints


def _mean_repositions(scope: Scope, rows: Flags) -> tuple[MeanCumulativeCurve, Happened]:
    runs, events = scope.dataset.runs, scope.dataset.events
    index = np.flatnonzero(rows)
    place = np.full(runs.size + 1, -1)  # position -1, no run, stays -1
    place[index] = np.arange(index.size)
    entry = (runs.observed_from - runs.inserted)[index]
    exit = (runs.ended - runs.inserted)[index]
    moves = np.flatnonzero((events.kind == REPOSITION) & ~events.refuted)
    of_run = place[events.run[moves]]
    moves, of_run = moves[of_run >= 0], of_run[of_run >= 0]
    since = events.onset[moves] - runs.inserted[events.run[moves]]
    kept = (since <= exit[of_run]) & ((since > entry[of_run]) | ((entry[of_run] <= 0) & (since >= 0)))
    moves, of_run, since = moves[kept], of_run[kept], since[kept]
    del place  # as long as the runs, and so much of what is held at once
    curve = mean_cumulative_function(
        exit,
        event_row=of_run,
        event_time=since,
        entry=entry,
        patient=runs.patient[index],
        level=scope.level,
    )
    return curve, Happened(events.pk[moves], since)


def _mean_figure(
    group: str, followed: Keys, curve: MeanCumulativeCurve, all_happened: Happened, day: float
) -> Figure:
    happened = Keys("events", all_happened.pks[all_happened.since <= day * MINUTES_PER_DAY])
    value, lower, upper, _ = curve.read(day * MINUTES_PER_DAY)
    notes = (reading_note(curve, day * MINUTES_PER_DAY, per_day=MINUTES_PER_DAY), curve.note)
    return Figure(
        key=key_of("repositions.mean", group, f"day-{day:g}"),
        measure="repositions.mean",
        label="Mean repositions per run",
        group=group,
        unit="events per run",
        counted="events",
        numerator=happened.distinct,
        out_of="runs",
        denominator=followed.distinct,
        estimate=value,
        lower=lower,
        upper=upper,
        at_day=day,
        method=curve.method,
        note="; ".join(note for note in notes if note),
        cases=Cases((happened.cases,), (followed.cases,)),
    )


def faults(scope: Scope) -> Findings:
    """Device faults by kind, and kinks by place, as shares of the events of that sort."""
    events = scope.dataset.events
    fault = scope.attributed & (events.kind == FAULT)
    kink = fault & (events.kink_site >= 0)
    parts = [
        (fault, events.failure, codes.FAILURES, "fault"),
        (kink, events.kink_site, codes.KINK_SITES, "kink"),
    ]
    figures = []
    for chosen, column, known, sort in parts:
        index = np.flatnonzero(chosen)
        route, what = scope.event_route[index], column[index]
        present = np.unique(what)
        for group in scope.groups:
            rows = of_route(route, group)
            among = Keys("events", events.pk[index[rows]])
            for position in present[present >= 0]:
                code = known[position]
                figures.append(
                    proportion_figure(
                        scope, "faults", group, f"{sort}/{code.value}", str(code.label),
                        Keys("events", events.pk[index[rows & (what == position)]]), among,
                        counted="events", interval=False,
                    )
                )  # fmt: skip
    return Findings(tuple(figures))


def exchanges(scope: Scope) -> Findings:
    """Patients with an exchange, exchanges per 100 patients and per 1,000 device-days, and why."""
    runs = scope.dataset.runs
    chosen = scope.begun_pumps & np.isin(runs.relation, EXCHANGES) & (runs.inserted >= runs.observed_from)
    figures: list[Figure] = []
    pairs = zip(scope.by_group(scope.at_risk, runs.route), scope.by_group(chosen, runs.route), strict=True)
    for (group, at_risk), (_, rows) in pairs:
        made, among = Keys("runs", runs.pk[rows]), Keys("patients", runs.patient[at_risk])
        hit = Keys("patients", runs.patient[rows])
        days = float(scope.device_days[at_risk].sum())
        figures += [
            proportion_figure(
                scope, "exchanges", group, "patients", "Patients with an exchange", hit, among,
                counted="patients",
            ),
            _per_100_patients(group, made, among),
            rate_figure(
                scope, "exchanges", group, "rate", "Exchanges", made, Keys("runs", runs.pk[at_risk]), days,
                counted="runs",
            ),
        ]  # fmt: skip
        figures += _exchange_reasons(scope, group, rows)
    return Findings(tuple(figures))


def _per_100_patients(group: str, made: Keys, among: Keys) -> Figure:
    total = among.distinct
    return Figure(
        key=key_of("exchanges", group, "per-100"),
        measure="exchanges",
        label="Exchanges per 100 patients",
        group=group,
        unit="per 100 patients",
        counted="runs",
        numerator=made.distinct,
        out_of="patients",
        denominator=total,
        estimate=100.0 * made.distinct / total if total else None,
        method="ratio of counts",
        note=NO_INTERVAL if total else "not estimable: no patients at risk",
        cases=Cases((made.cases,), (among.cases,)),
    )


def _exchange_reasons(scope: Scope, group: str, rows: Flags) -> list[Figure]:
    runs = scope.dataset.runs
    return [
        proportion_figure(
            scope, "exchanges", group, f"reason/{reason.value}", str(reason.label),
            Keys("runs", runs.pk[rows & (runs.exchange_reason == position)]), Keys("runs", runs.pk[rows]),
            counted="runs", interval=False,
        )
        for position, reason in enumerate(codes.EXCHANGE_REASONS)
        if (runs.exchange_reason[rows] == position).any()
    ]  # fmt: skip


def crossovers(scope: Scope) -> Findings:
    """Courses that changed route later, by first route; and changes of route in the period, by direction."""
    courses, runs = scope.dataset.courses, scope.dataset.runs
    change = runs.is_pump & (runs.relation == CROSSOVER)
    changed = np.zeros(courses.size, dtype=np.bool_)
    changed[runs.course[change]] = True
    figures = []
    for group, rows in scope.by_group(scope.analysed, courses.route):
        some, among = Keys("courses", courses.pk[rows & changed]), Keys("courses", courses.pk[rows])
        figures.append(
            proportion_figure(
                scope,
                "crossovers",
                group,
                "courses",
                "Courses that changed route",
                some,
                among,
                counted="courses",
            )
        )
    before = np.append(runs.route, codes.UNRECORDED)[runs.replaces]
    now = change & scope.begun_pumps
    for old, new in sorted(set(zip(before[now].tolist(), runs.route[now].tolist(), strict=True))):
        keys = Keys("runs", runs.pk[now & (before == old) & (runs.route == new)])
        item = f"{codes.ROUTES[old].value}-{codes.ROUTES[new].value}"
        label = f"{codes.ROUTES[old].label} to {codes.ROUTES[new].label.lower()}"
        figures.append(count_figure(scope, "crossovers", ALL_ROUTES, item, label, keys, counted="runs"))
    return Findings(tuple(figures))


def films(scope: Scope) -> Findings:
    """Films read off level, among films with a verdict that says something."""
    data = scope.dataset
    route = np.where(data.runs.is_pump, data.runs.route, codes.UNRECORDED)[data.films.run]
    on_pumps = scope.holds_days(data.films.read_on) & (route >= 0)
    readable = on_pumps & (data.films.verdict != CANNOT_TELL)
    off = readable & np.isin(data.films.verdict, OFF_LEVEL)
    figures = []
    for group, rows in scope.by_group(readable, route):
        some, among = Keys("films", data.films.pk[rows & off]), Keys("films", data.films.pk[rows])
        figures.append(
            proportion_figure(
                scope, "films", group, "off-level", "Films too high, too low, rotated or folded", some, among,
                counted="films", interval=False,
            )
        )  # fmt: skip
    return Findings(tuple(figures))


REPOSITIONS = Measure(
    id="repositions",
    title="Repositions",
    counted="patients",
    basis="in place in the period",
    who_counts=IN_PLACE,
    what_counts="patients with a reposition with onset in the period; repositions over device-days",
    time_zero="insertion of each run, or the start of the period",
    censoring="clipped to the period and the data cut",
    estimator="outcomes.estimators.proportions.proportion (Wilson); outcomes.estimators.rates.rate (Garwood)",
    unit="proportion of patients; events per 1,000 device-days",
    definition="The same catheter, moved. Counted like complications, and never as an exchange.",
    source=f"{CONVENTION}; {WILSON}; {GARWOOD}",
    compute=repositions,
)
REPOSITIONS_MEAN = Measure(
    id="repositions.mean",
    title="Repositions over time in place",
    counted="runs",
    basis="begun in the period",
    who_counts="balloon pump runs inserted in the period, by the route of the run",
    what_counts="all repositions of the run while it is in place, however many",
    time_zero="insertion; a transfer in is followed from arrival (delayed entry)",
    censoring=f"{RUN_END} Removal ends the counting: the mean is per run still in place.",
    estimator="outcomes.estimators.recurrent.mean_cumulative_function",
    unit="events per run",
    definition=(
        "Mean number of repositions a run has had by each day; limits allow for several runs of one patient."
    ),
    source=f"{CONVENTION}; {LAWLESS_NADEAU}",
    compute=repositions_over_time,
)
FAULTS = Measure(
    id="faults",
    title="Device faults, and kinks by place",
    counted="events",
    basis="in place in the period",
    who_counts="kink or malfunction events put down to a balloon pump; for places: kinks with a place",
    what_counts="events of that fault, or at that place",
    time_zero="onset in the period",
    censoring="none: counts",
    estimator="share of events, without an interval",
    unit="proportion of events",
    definition="A share of events, not of patients. How many patients and how often is under complications.",
    compute=faults,
)
EXCHANGE = Measure(
    id="exchanges",
    title="Exchanges",
    counted="patients",
    basis="in place in the period",
    who_counts=IN_PLACE,
    what_counts=(
        "balloon pumps inserted in the period as an exchange at the same site, or at a new site by the "
        "same route"
    ),
    time_zero="insertion of each run, or the start of the period",
    censoring="clipped to the period and the data cut",
    estimator="outcomes.estimators.proportions.proportion (Wilson); outcomes.estimators.rates.rate (Garwood)",
    unit="proportion of patients; exchanges per 100 patients; exchanges per 1,000 device-days",
    definition=(
        "An exchange is another catheter: a new run of the same course, never a new patient. Patients "
        "with an exchange and exchanges per 100 patients are two columns. Changes of route are counted "
        "apart."
    ),
    source=f"{CONVENTION}; {WILSON}; {GARWOOD}",
    compute=exchanges,
)
CROSSOVERS = Measure(
    id="crossovers",
    title="Changes of route",
    counted="courses",
    basis="begun in the period",
    who_counts="courses begun in the period with a balloon pump, by the route of the first run",
    what_counts=(
        "courses with a change of route by the data cut; changes of route made in the period, by direction"
    ),
    time_zero="first insertion",
    censoring="followed to the data cut",
    estimator="outcomes.estimators.proportions.proportion",
    unit="proportion of courses; runs",
    definition=(
        "A change of route is a new run. The course stays with its first route in every course measure."
    ),
    source=f"{CONVENTION}; {WILSON}",
    compute=crossovers,
)
FILMS = Measure(
    id="films",
    title="Films off level",
    counted="films",
    basis="in place in the period",
    who_counts=(
        "daily rows of balloon pumps with a film verdict in the period, those that could not tell left out"
    ),
    what_counts="verdicts of too high, too low, rotated or folded",
    time_zero="day of the film",
    censoring="none: counts",
    estimator="share of films, without an interval",
    unit="proportion of films",
    definition="A share of films, not of patients: who is filmed more often weighs more.",
    compute=films,
)
MEASURES = (REPOSITIONS, REPOSITIONS_MEAN, FAULTS, EXCHANGE, CROSSOVERS, FILMS)
