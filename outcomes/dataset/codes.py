"""The order in which coded values are numbered in the dataset. A code of -1 means: not recorded."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from registry.choices import (
    ROUTE_GROUPS,
    AccessMethod,
    Aetiology,
    AttemptFailure,
    DeclineReason,
    DeviceClass,
    EndReason,
    ExchangeReason,
    FilmVerdict,
    Intent,
    Outcome,
    PacingDevice,
    PositionAction,
    Presentation,
    Relation,
    RouteGroup,
    Severity,
    Sex,
    ShockStage,
    Urgency,
)
from registry.choices_events import Barc, EventKind, Failure, KinkSite, NeuroKind, Precision, ReviewState

ROUTES = tuple(RouteGroup)
DEVICES = tuple(DeviceClass)
RELATIONS = tuple(Relation)
EXCHANGE_REASONS = tuple(ExchangeReason)
END_REASONS = tuple(EndReason)
OUTCOMES = tuple(Outcome)
INTENTS = tuple(Intent)
STAGES = tuple(ShockStage)
KINDS = tuple(EventKind)
FAILURES = tuple(Failure)
KINK_SITES = tuple(KinkSite)
# Each belongs to one kind of event, so they share a column.
DETAILS = (*NeuroKind, *Barc)
PRECISIONS = tuple(Precision)
REVIEWS = tuple(ReviewState)
ATTEMPT_FAILURES = tuple(AttemptFailure)
DECLINE_REASONS = tuple(DeclineReason)
VERDICTS = tuple(FilmVerdict)
POSITION_ACTIONS = tuple(PositionAction)
SEXES = tuple(Sex)
AETIOLOGIES = tuple(Aetiology)
PRESENTATIONS = tuple(Presentation)
PACING_DEVICES = tuple(PacingDevice)
ACCESS_METHODS = tuple(AccessMethod)
URGENCIES = tuple(Urgency)
SEVERITIES = tuple(Severity)

UNRECORDED = -1
BALLOON_PUMP = DEVICES.index(DeviceClass.IABP)


def numbered(column: str, codes: Sequence[str]) -> str:
    """SQL that turns a column of these codes into their positions."""
    return _case(column, ((code, position) for position, code in enumerate(codes)))


def numbered_detail(neuro_kind: str, barc: str) -> str:
    """SQL that turns the two columns, of which an event has one, into the position of its detail."""
    bleeding = _case(barc, ((code, DETAILS.index(code)) for code in Barc))
    return f"CASE WHEN {barc} <> '' THEN {bleeding} ELSE {numbered(neuro_kind, tuple(NeuroKind))} END"


def numbered_route(column: str) -> str:
    """SQL that turns a route with its side into the position of its route group."""
    return _case(column, ((route, ROUTES.index(group)) for route, group in ROUTE_GROUPS.items()))


def _case(column: str, positions: Iterable[tuple[str, int]]) -> str:
    # The codes are constants of this project, never input, so they may stand in the text.
    whens = " ".join(f"WHEN '{code}' THEN {position}" for code, position in positions)
    # An empty text, the commonest of most columns, is looked for first.
    return f"CASE {column} WHEN '' THEN {UNRECORDED} {whens} ELSE {UNRECORDED} END"
