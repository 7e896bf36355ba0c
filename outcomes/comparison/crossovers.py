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

TRIED = {AXILLARY: "Axillary tried first", FEMORAL: "Femoral tried first"}
PUMP = {AXILLARY: "Axillary pump", FEMORAL: "Femoral pump"}
OTHER_PUMP = "Pump by another route"
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
END_STATES = (*dict.fromkeys(ENDS.values()), NO_OUTCOME)
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
    """Every step of every course between the states of the diagram; a course may move more than once."""
    data = programme.dataset
    course, source, target = _steps(programme, chosen, intended)
    step = source * len(STATES) + target
    moves = [
        _move(
            STATES[code // len(STATES)],
            STATES[code % len(STATES)],
            "courses",
            data.courses.pk[course[step == code]],
        )
        for code in np.unique(step).tolist()
    ]
    if intended:
        for route, name in TRIED.items():
            lost = programme.unplaced[data.attempts.intended[programme.unplaced] == route]
            if lost.size:
                moves.append(_move(name, NO_PUMP, "failed attempts", data.attempts.pk[lost]))
    return tuple(moves)


def _move(source: str, target: str, record: Record, pks: Ints) -> Move:
    return Move(source=source, target=target, count=counted(f"move/{source}/{target}", record, pks))


def _steps(programme: Programme, chosen: Ints, intended: bool) -> tuple[Ints, Ints, Ints]:
    """Course, state left and state entered, as positions in ``STATES``, of each step."""
    courses, runs = programme.dataset.courses, programme.dataset.runs
    pumps = np.flatnonzero(runs.is_pump & np.isin(runs.course, chosen))
    course, state = runs.course[pumps], _PUMP_STATE[runs.route[pumps]]
    same_course = course[1:] == course[:-1]
    change = same_course & (state[1:] != state[:-1])
    starts, ends = np.append(True, ~same_course), np.append(~same_course, True)
    begins, leaves = np.flatnonzero(starts[: course.size]), np.flatnonzero(ends[: course.size])
    parts = [
        (course[1:][change], state[:-1][change], state[1:][change]),
        (course[leaves], state[leaves], _END_STATE[courses.outcome[course[leaves]]]),
    ]
    if intended:
        tried = _TRIED_STATE[programme.intended_route[course[begins]]]
        parts.append((course[begins], tried, state[begins]))
    moved, source, target = (np.concatenate(column) for column in zip(*parts, strict=True))
    return moved, source, target


STATES = (*TRIED.values(), *PUMP.values(), OTHER_PUMP, NO_PUMP, *END_STATES)
# Position -1, a route or outcome that is not recorded, reads the last entry.
_PUMP_STATE = np.array(
    [STATES.index(PUMP.get(k, OTHER_PUMP)) for k in range(len(codes.ROUTES))] + [STATES.index(OTHER_PUMP)]
)
_TRIED_STATE = np.array(
    [STATES.index(TRIED.get(k, OTHER_PUMP)) for k in range(len(codes.ROUTES))] + [STATES.index(OTHER_PUMP)]
)
_END_STATE = np.array(
    [STATES.index(ENDS[outcome]) for outcome in codes.OUTCOMES] + [STATES.index(NO_OUTCOME)]
)
