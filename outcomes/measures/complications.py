"""Complications of the balloon pumps in place in the period, by kind and route."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from outcomes.dataset import codes
from outcomes.estimators.arrays import Flags
from outcomes.measures.base import CONVENTION, GARWOOD, IN_PLACE, WILSON, Measure
from outcomes.measures.making import Keys, count_figure, proportion_figure, rate_figure
from outcomes.measures.scope import Scope, of_route
from outcomes.measures.values import ALL_ROUTES, Figure, Findings
from registry.choices_events import Barc, EventKind, NeuroKind

REPOSITION = codes.KINDS.index(EventKind.REPOSITION)
FAULT = codes.KINDS.index(EventKind.KINK)
SUMS = ("HARM", "ANY", "SERIOUS")  # lines that take kinds together
COMPLICATIONS = tuple(kind for kind in EventKind if kind != EventKind.REPOSITION)
NEURO_ARC = (
    "Lansky AJ et al., J Am Coll Cardiol 2017;69:679-691, doi:10.1016/j.jacc.2016.11.045 (from memory)"
)
BARC = "Mehran R et al., Circulation 2011;123:2736-2747, doi:10.1161/CIRCULATIONAHA.110.009449"


@dataclass(frozen=True)
class Part:
    """The graver events of a kind, on a line of their own."""

    code: str
    label: str
    of: EventKind
    details: tuple[NeuroKind | Barc, ...]


PARTS = (
    Part(
        "BARC_3_5",
        "Bleeding, BARC 3 or 5",
        EventKind.BLEEDING,
        (Barc.T3A, Barc.T3B, Barc.T3C, Barc.T5A, Barc.T5B),
    ),
    Part(
        "STROKE",
        "Stroke",
        EventKind.NEURO,
        (
            NeuroKind.ISCHAEMIC,
            NeuroKind.ISCHAEMIC_BLEED,
            NeuroKind.INTRACEREBRAL,
            NeuroKind.SUBARACHNOID,
            NeuroKind.STROKE_OTHER,
        ),
    ),
)


@dataclass(frozen=True, eq=False)
class Exposure:
    """Who of a route group was at risk, and for how long."""

    group: str
    patients: Keys
    runs: Keys
    device_days: float


def exposures(scope: Scope) -> list[Exposure]:
    """Patients and runs at risk and their device-days, in each route group."""
    runs = scope.dataset.runs
    return [
        Exposure(
            group,
            Keys("patients", runs.patient[rows]),
            Keys("runs", runs.pk[rows]),
            float(scope.device_days[rows].sum()),
        )
        for group, rows in scope.by_group(scope.at_risk, runs.route)
    ]


def complications(scope: Scope) -> Findings:
    """Patients, events and rate of every kind, and of any of them together."""
    exposed = exposures(scope)
    figures: list[Figure] = []
    for item, label, chosen in _items(scope):
        figures += event_figures(scope, "complications", item, label, chosen, exposed)
    return Findings(tuple(figures))


def _items(scope: Scope) -> Iterator[tuple[str, str, Flags]]:
    """The lines of the table: each kind, its graver events below it, then any of them together."""
    events = scope.dataset.events
    for kind in COMPLICATIONS:
        of_kind = scope.attributed & (events.kind == codes.KINDS.index(kind))
        yield kind.value, str(kind.label), of_kind
        for part in PARTS:
            if part.of == kind:
                details = [codes.DETAILS.index(detail) for detail in part.details]
                yield part.code, part.label, of_kind & np.isin(events.detail, details)
    any_kind = scope.attributed & (events.kind != REPOSITION)
    yield "HARM", "Any but a device fault", any_kind & (events.kind != FAULT)
    yield "ANY", "Any complication", any_kind
    yield "SERIOUS", "Any serious complication", any_kind & (events.serious == 1)


def event_figures(
    scope: Scope, measure: str, item: str, label: str, chosen: Flags, exposed: Sequence[Exposure]
) -> list[Figure]:
    """Patients with an event, events, and events per 1,000 device-days, in each route group."""
    events = scope.dataset.events
    index = np.flatnonzero(chosen)
    route = scope.event_route[index]
    figures = []
    for at_risk in exposed:
        group, rows = at_risk.group, index[of_route(route, at_risk.group)]
        hit, happened = Keys("patients", events.patient[rows]), Keys("events", events.pk[rows])
        figures += [
            proportion_figure(
                scope, measure, group, f"{item}/patients", label, hit, at_risk.patients, counted="patients"
            ),
            rate_figure(
                scope, measure, group, f"{item}/rate", label, happened, at_risk.runs, at_risk.device_days
            ),
        ]
    return figures


def late_events(scope: Scope) -> Findings:
    """Events after more than 24 h without their device, by kind."""
    events = scope.dataset.events
    figures = []
    for kind in np.unique(events.kind[scope.late]):
        code = codes.KINDS[kind]
        keys = Keys("events", events.pk[scope.late & (events.kind == kind)])
        figures.append(
            count_figure(
                scope, "complications.late", ALL_ROUTES, code.value, str(code.label), keys, counted="events"
            )
        )
    total = Keys("events", events.pk[scope.late])
    all_kinds = count_figure(
        scope, "complications.late", ALL_ROUTES, "ANY", "All kinds", total, counted="events"
    )
    return Findings((*figures, all_kinds))


COMPLICATION = Measure(
    id="complications",
    title="Complications by kind and route",
    counted="patients",
    basis="in place in the period",
    who_counts=IN_PLACE,
    what_counts=(
        "patients with an event of the kind with onset in the period, put down to the run in place at "
        "onset, or removed up to 24 h before; events of the same, over device-days in place in the period"
    ),
    time_zero="insertion of each run, or the start of the period",
    censoring="clipped to the period and the data cut",
    estimator="outcomes.estimators.proportions.proportion (Wilson); outcomes.estimators.rates.rate (Garwood)",
    unit="proportion of patients; events per 1,000 device-days",
    definition=(
        "An event belongs to the run it names, else to the pump in place at onset, else to the one removed "
        "up to 24 h before; at the minute of an exchange, to the new one. What is left happened on another "
        "device or in a gap, and is listed. Two columns that are never mixed: patients with at least one "
        "event over patients at risk, and all events over device-days. The 24 h after removal add to the "
        "patients at risk, not to the device-days. Any complication counts a patient once, however many "
        "events; repositions are not in it, device faults are, with a line without them above it. Stroke "
        "is NeuroARC type 1a to 1d; it and bleeding of BARC type 3 or 5 are also counted in the kind above "
        "them. A patient with pumps by two routes is at risk under each and once under all. Events that "
        "review refuted are left out."
    ),
    source=f"{CONVENTION}; {WILSON}; {GARWOOD}; {BARC}; {NEURO_ARC}",
    compute=complications,
)
LATE = Measure(
    id="complications.late",
    title="Late events",
    counted="events",
    basis="in place in the period",
    who_counts="none: a count without a denominator",
    what_counts="events with onset in the period, more than 24 h after the removal of their device",
    time_zero="removal",
    censoring="none: counts",
    estimator="count",
    unit="events",
    definition="Counted and listed apart, never in the rates of a route, as nothing was in place.",
    compute=late_events,
)
MEASURES = (COMPLICATION, LATE)
