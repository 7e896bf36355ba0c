"""How each arm came about: tried, placed, moved to the other route, and how it ended; a state is a place in
time, never a label put on afterwards.
"""

from __future__ import annotations

import numpy as np

from outcomes.comparison.shares import counted
from outcomes.comparison.units import AXILLARY, FEMORAL, Programme, Units
from outcomes.comparison.value import ARMS, Flow, Move, Who
from outcomes.dataset import codes
from outcomes.estimators.arrays import Flags, Ints
from outcomes.measures.values import Record
from registry.choices import Outcome

COLUMNS = ("Tried first", "First pump", "Last pump", "Outcome")
ROUTES = {AXILLARY: "Axillary", FEMORAL: "Femoral"}
OTHER_ROUTE = "Other route"
NO_PUMP = "No pump placed"
ENDS = {
    Outcome.TRANSPLANT: "Transplant or durable pump",
    Outcome.DURABLE: "Transplant or durable pump",
    Outcome.WEANED: "Weaned",
    Outcome.DIED: "Died or support withdrawn",
    Outcome.WITHDRAWN: "Died or support withdrawn",
    Outcome.TRANSFERRED: "Transferred on support",
}
NO_OUTCOME = "No outcome yet"
STATES = (*ROUTES.values(), OTHER_ROUTE, *dict.fromkeys(ENDS.values()), NO_OUTCOME, NO_PUMP)
SAME, MOVED, CONVERTED = "stayed on that route", "moved to the other route later", "placed by the other route"


def who(programme: Programme, units: Units) -> Who:
    """Counts of the arms, of what happened to them, and of everything between."""
    courses = programme.dataset.courses
    chosen = np.unique(units.course)
    patients = np.unique(units.patient)
    return Who(
        unit=units.words,
        flows=tuple(_flow(programme, units, axillary) for axillary in (True, False)),
        moves=_moves(programme, chosen, units.view == "intended"),
        moved_twice=counted("who/moved-twice", "courses", moved_twice(programme, units)),
        patients=counted("who/patients", "patients", patients),
        other_route=counted("who/other-route", "courses", courses.pk[_other_route(programme, units)]),
        transfers_in=tuple(
            counted(
                f"who/transfers/{arm}",
                units.record,
                units.pks[units.arm(axillary) & ~units.followed_from_start],
                arm=arm,
                out_of=int(units.arm(axillary).sum()),
            )
            for axillary, arm in ((True, ARMS[0]), (False, ARMS[1]))
        ),
    )


def _other_route(programme: Programme, units: Units) -> Flags:
    """Courses that were followed but belong to neither route."""
    courses = programme.dataset.courses
    route = programme.intended_route if units.view == "intended" else courses.route
    return programme.scope.analysed & ~np.isin(route, (AXILLARY, FEMORAL))


def _flow(programme: Programme, units: Units, axillary: bool) -> Flow:
    """The arm's rows split by what became of the route; the parts add up to the arm."""
    arm = ARMS[0] if axillary else ARMS[1]
    rows = units.arm(axillary)
    total = int(rows.sum())
    own = AXILLARY if axillary else FEMORAL
    runs = programme.dataset.runs
    placed = runs.route[units.run] == own
    moved = placed & _left_route(programme, units, own)
    parts = [(SAME, placed & ~moved), (MOVED, moved), (CONVERTED, ~placed)]
    attempts = programme.dataset.attempts
    lost = programme.unplaced[attempts.intended[programme.unplaced] == own]
    return Flow(
        arm=arm,
        total=counted(f"who/{arm}", units.record, units.pks[rows], arm=arm),
        paths=tuple(
            (label, counted(f"who/{arm}/{k}", units.record, units.pks[rows & part], arm=arm, out_of=total))
            for k, (label, part) in enumerate(parts)
        ),
        unplaced=counted(f"who/{arm}/unplaced", "failed attempts", attempts.pk[lost], arm=arm),
    )


def _left_route(programme: Programme, units: Units, own: int) -> Flags:
    """Rows whose course had a balloon pump by another route after the row's first run."""
    runs = programme.dataset.runs
    other = np.flatnonzero(runs.is_pump & (runs.route != own))
    latest = np.full(programme.dataset.courses.size, -1)
    np.maximum.at(latest, runs.course[other], runs.inserted[other])
    return latest[units.course] > runs.inserted[units.run]


def _moves(programme: Programme, chosen: Ints, intended: bool) -> tuple[Move, ...]:
    """Counts between the columns of the diagram; every course passes each column once."""
    data = programme.dataset
    columns = _states(programme, chosen)
    first = 0 if intended else 1
    moves = []
    for stage in range(first, len(columns) - 1):
        step = columns[stage] * len(STATES) + columns[stage + 1]
        for code in np.unique(step).tolist():
            source, target = divmod(code, len(STATES))
            pks = data.courses.pk[chosen[step == code]]
            moves.append(_move(stage, STATES[source], STATES[target], "courses", pks))
    if intended:
        for route, name in ROUTES.items():
            lost = programme.unplaced[data.attempts.intended[programme.unplaced] == route]
            if lost.size:
                moves.append(_move(0, name, NO_PUMP, "failed attempts", data.attempts.pk[lost]))
    return tuple(moves)


def _move(stage: int, source: str, target: str, record: Record, pks: Ints) -> Move:
    key = f"move/{COLUMNS[stage]}/{source}/{target}"
    return Move(stage=stage, source=source, target=target, count=counted(key, record, pks))


def _states(programme: Programme, chosen: Ints) -> tuple[Ints, Ints, Ints, Ints]:
    """State of each chosen course in each column, as positions in ``STATES``."""
    courses = programme.dataset.courses
    first, last = _first_and_last_route(programme)
    return (
        _ROUTE_STATE[programme.intended_route[chosen]],
        _ROUTE_STATE[first[chosen]],
        _ROUTE_STATE[last[chosen]],
        _END_STATE[courses.outcome[chosen]],
    )


def _first_and_last_route(programme: Programme) -> tuple[Ints, Ints]:
    """Route of the first and of the last balloon pump of every course; -1 for none."""
    runs = programme.dataset.runs
    pumps = np.flatnonzero(runs.is_pump)  # sorted by course and insertion
    first, last = (np.full(programme.dataset.courses.size, -1) for _ in range(2))
    last[runs.course[pumps]] = runs.route[pumps]
    first[runs.course[pumps[::-1]]] = runs.route[pumps[::-1]]
    return first, last


def moved_twice(programme: Programme, units: Units) -> Ints:
    """Keys of courses whose route changed more than once."""
    data = programme.dataset
    pumps = np.flatnonzero(data.runs.is_pump)
    course, route = data.runs.course[pumps], data.runs.route[pumps]
    change = (course[1:] == course[:-1]) & (route[1:] != route[:-1])
    changes = np.bincount(course[1:][change], minlength=data.courses.size)
    chosen = np.unique(units.course)
    return data.courses.pk[chosen[changes[chosen] > 1]]


# Position -1, a route or outcome that is not recorded, reads the last entry.
_ROUTE_STATE = np.array(
    [STATES.index(ROUTES.get(k, OTHER_ROUTE)) for k in (*range(len(codes.ROUTES)), -1)], dtype=np.int64
)
_END_STATE = np.array(
    [STATES.index(end) for end in (*(ENDS[o] for o in codes.OUTCOMES), NO_OUTCOME)], dtype=np.int64
)
