"""The diagram of routes: columns in the order of time, bands as wide as the number of courses in them."""

from __future__ import annotations

from dataclasses import dataclass

from outcomes.comparison.crossovers import COLUMNS, OTHER_ROUTE, ROUTES, STATES
from outcomes.comparison.value import Move

WIDTH, TOP, GAP, NODE = 980, 46, 24, 14
PIXELS = 300  # height of all courses together
MARGIN_LEFT, MARGIN_RIGHT = 108, 236
SMALLEST_LABELLED = 11  # a thinner band carries its number beside it in the table only


@dataclass(frozen=True)
class Node:
    x: float
    y: float
    height: float
    label: str
    count: int
    route: str
    label_x: float
    label_y: float
    above_y: float
    anchor: str
    end: bool


@dataclass(frozen=True)
class Ribbon:
    path: str
    route: str
    count: int
    title: str
    label_x: float
    label_y: float
    labelled: bool
    moved: bool


@dataclass(frozen=True)
class Diagram:
    """Geometry ready to draw."""

    width: int
    height: float
    columns: tuple[tuple[float, str], ...]
    nodes: tuple[Node, ...]
    ribbons: tuple[Ribbon, ...]
    description: str


@dataclass
class _Place:
    """A state within a column: where its bands leave and arrive."""

    x: float
    y: float
    height: float
    count: int
    leaves: float
    arrives: float


def diagram(moves: tuple[Move, ...]) -> Diagram | None:
    """The picture of all moves; None when there is none to draw."""
    drawn = [move for move in moves if move.count.hits]
    if not drawn:
        return None
    first = min(move.stage for move in drawn)
    stages = list(range(first, len(COLUMNS)))
    scale = PIXELS / max(1, sum(move.count.hits or 0 for move in drawn if move.stage == first))
    step = (WIDTH - MARGIN_LEFT - MARGIN_RIGHT - NODE) / (len(stages) - 1)
    at = {stage: MARGIN_LEFT + k * step for k, stage in enumerate(stages)}
    places = {
        (stage, state): place
        for stage in stages
        for state, place in _column(drawn, stage, at[stage], scale).items()
    }
    ribbons = tuple(_ribbon(move, places, scale) for move in sorted(drawn, key=_order))
    return Diagram(
        width=WIDTH,
        height=max(place.y + place.height for place in places.values()) + 14,
        columns=tuple((at[stage] + NODE / 2, COLUMNS[stage]) for stage in stages),
        nodes=tuple(_node(stage, state, place, stages) for (stage, state), place in places.items()),
        ribbons=ribbons,
        description="; ".join(f"{m.count.hits} {m.source} to {m.target}" for m in drawn),
    )


def _order(move: Move) -> tuple[int, int, int]:
    return move.stage, STATES.index(move.source), STATES.index(move.target)


def _column(moves: list[Move], stage: int, x: float, scale: float) -> dict[str, _Place]:
    """States of a column from top to bottom."""
    counts: dict[str, int] = {}
    for move in moves:
        hits = move.count.hits or 0
        if move.stage == stage:
            counts[move.source] = counts.get(move.source, 0) + hits
        elif move.stage == stage - 1 and (stage == len(COLUMNS) - 1 or _ends_here(moves, stage, move.target)):
            counts[move.target] = counts.get(move.target, 0) + hits
    y = float(TOP)
    places = {}
    for state in sorted(counts, key=STATES.index):
        height = max(2.0, counts[state] * scale)
        places[state] = _Place(x, y, height, counts[state], y, y)
        y += height + GAP
    return places


def _ends_here(moves: list[Move], stage: int, state: str) -> bool:
    """Whether nothing leaves a state of this column."""
    return not any(move.stage == stage and move.source == state for move in moves)


def _ribbon(move: Move, places: dict[tuple[int, str], _Place], scale: float) -> Ribbon:
    count = move.count.hits or 0
    left, right = places[move.stage, move.source], places[move.stage + 1, move.target]
    thick = count * scale
    x0, x1, middle = left.x + NODE, right.x, (left.x + NODE + right.x) / 2
    y0, y1 = left.leaves, right.arrives
    left.leaves, right.arrives = y0 + thick, y1 + thick
    path = (
        f"M{x0:.1f} {y0:.1f}C{middle:.1f} {y0:.1f} {middle:.1f} {y1:.1f} {x1:.1f} {y1:.1f}"
        f"V{y1 + thick:.1f}C{middle:.1f} {y1 + thick:.1f} {middle:.1f} {y0 + thick:.1f} {x0:.1f} "
        f"{y0 + thick:.1f}Z"
    )
    return Ribbon(
        path=path,
        route=_route(move.source),
        count=count,
        title=f"{move.source} to {move.target}: {count}",
        label_x=x0 + 8,
        label_y=y0 + thick / 2 + 4.5,
        labelled=thick >= SMALLEST_LABELLED,
        moved=move.stage < len(COLUMNS) - 2 and move.source != move.target,
    )


def _route(state: str) -> str:
    return state.lower() if state in ("Axillary", "Femoral") else "other"


def _node(stage: int, state: str, place: _Place, stages: list[int]) -> Node:
    """The label stands left of the first column, right of the others."""
    first = stage == stages[0]
    return Node(
        x=place.x,
        y=place.y,
        height=place.height,
        label=state,
        count=place.count,
        route=_route(state),
        label_x=place.x - 8 if first else place.x + NODE + 8,
        label_y=place.y + place.height / 2 + 4.5,
        above_y=place.y - 5,
        anchor="end" if first else "start",
        end=stage == stages[-1] or state not in (*ROUTES.values(), OTHER_ROUTE),
    )
