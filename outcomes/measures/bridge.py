"""What support led to: cumulative incidence of the ways a course ends, and its final outcomes."""

from __future__ import annotations

import numpy as np

from outcomes.dataset import codes
from outcomes.dataset.clock import MINUTES_PER_DAY
from outcomes.estimators.arrays import Flags, Ints
from outcomes.measures.base import AALEN_JOHANSEN, CONVENTION, SUPPORT_END, WILSON, Measure
from outcomes.measures.incidence import Exits, incidence_figure, staying_figure
from outcomes.measures.making import Keys, count_figure, curve_of, key_of, proportion_figure
from outcomes.measures.scope import ROUTE_LABELS, Scope
from outcomes.measures.values import Curve, Figure, Findings
from registry.choices import Outcome
from registry.models.outcome import MET_INTENT

DAYS = (7.0, 14.0, 30.0, 60.0, 90.0)
RISK_DAYS = (0.0, *DAYS)
CAUSES = (
    ("transplant", "Transplant"),
    ("durable", "Durable pump"),
    ("weaned", "Weaned"),
    ("escalated", "Escalated"),
    ("died", "Died, or support withdrawn"),
    ("transferred", "Transferred on support"),
)
ESCALATED = 4
CAUSE_OF_OUTCOME = {
    Outcome.TRANSPLANT: 1,
    Outcome.DURABLE: 2,
    Outcome.WEANED: 3,
    Outcome.DIED: 5,
    Outcome.WITHDRAWN: 5,
    Outcome.TRANSFERRED: 6,
}
BRIDGED = (Outcome.TRANSPLANT, Outcome.DURABLE, Outcome.WEANED)
# Position -1, no outcome, reads the last entry: censored.
_CAUSES = np.array([*(CAUSE_OF_OUTCOME[outcome] for outcome in codes.OUTCOMES), 0])


def ways_out(scope: Scope) -> tuple[Ints, Ints]:
    """When each course left the clock, and by which cause (0: censored): the first of escalation and
    outcome.
    """
    courses = scope.dataset.courses
    end = np.where(courses.outcome >= 0, courses.outcome_at, courses.ended)
    escalated = courses.escalated_at <= end
    return np.where(escalated, courses.escalated_at, end), np.where(
        escalated, ESCALATED, _CAUSES[courses.outcome]
    )


def bridge_exits(scope: Scope, rows: Flags) -> Exits:
    """Courses on the bridge clock, in minutes from the first insertion."""
    courses = scope.dataset.courses
    end, cause = ways_out(scope)
    return Exits.of(
        "courses",
        courses.pk[rows],
        entry=(courses.observed_from - courses.began)[rows],
        exit=(end - courses.began)[rows],
        cause=cause[rows],
        causes=len(CAUSES),
        level=scope.level,
    )


def bridge(scope: Scope) -> Findings:
    """Cumulative incidence of each way out, and the share still supported, by first route."""
    figures: list[Figure] = []
    curves: list[Curve] = []
    for group, rows in scope.by_group(scope.analysed, scope.dataset.courses.route):
        exits = bridge_exits(scope, rows)
        for cause, (item, label) in enumerate(CAUSES, start=1):
            figures += [
                incidence_figure(
                    exits, measure="bridge", group=group, item=item, label=label, cause=cause,
                    day=day, per_day=MINUTES_PER_DAY, counted="courses",
                )
                for day in DAYS
            ]  # fmt: skip
        figures += [
            staying_figure(
                exits, measure="bridge", group=group, item="supported", label="Still supported",
                day=day, per_day=MINUTES_PER_DAY, counted="courses",
            )
            for day in DAYS
        ]  # fmt: skip
        curves += _curves(exits, group)
    return Findings(tuple(figures), tuple(curves))


def _curves(exits: Exits, group: str) -> list[Curve]:
    if not exits.size:
        return []
    return [
        curve_of(
            exits.curves.causes[cause],
            key=key_of("bridge", group, item),
            measure="bridge",
            label=f"{label}, {ROUTE_LABELS[group].lower()}",
            group=group,
            quantity="cumulative incidence",
            counted="courses",
            risk_days=RISK_DAYS,
            per_day=MINUTES_PER_DAY,
        )
        for cause, (item, label) in enumerate(CAUSES)
    ]


def outcomes(scope: Scope) -> Findings:
    """Final outcomes among courses begun, by first route; those without one are shown too."""
    courses = scope.dataset.courses
    figures = []
    for group, rows in scope.by_group(scope.analysed, courses.route):
        among = Keys("courses", courses.pk[rows])
        for position, outcome in [*enumerate(codes.OUTCOMES), (codes.UNRECORDED, None)]:
            some = Keys("courses", courses.pk[rows & (courses.outcome == position)])
            item, label = (outcome.value, str(outcome.label)) if outcome else ("NONE", "No outcome yet")
            figures.append(
                proportion_figure(scope, "outcomes", group, item, label, some, among, counted="courses")
            )
    return Findings(tuple(figures))


def success(scope: Scope) -> Findings:
    """Any bridge, one without escalation, and the one intended, among courses that have their outcome."""
    courses = scope.dataset.courses
    reached = np.isin(courses.outcome, [codes.OUTCOMES.index(outcome) for outcome in BRIDGED])
    alone = ways_out(scope)[1] != ESCALATED
    wanted = _wanted(courses.intent)
    figures = []
    for group, rows in scope.by_group(scope.analysed, courses.route):
        finished, named = rows & (courses.outcome >= 0), rows & (courses.outcome >= 0) & (wanted >= 0)
        going_on = int(np.count_nonzero(rows & (courses.outcome < 0)))
        other = int(np.count_nonzero(finished & ~named))
        left_out = [f"{going_on} without an outcome yet"] if going_on else []
        unnamed = [f"{other} whose intent named no therapy"] if other else []
        note, note_intended = _not_in_it(left_out), _not_in_it([*left_out, *unnamed])
        for item, label, some, among, said in (
            ("any", "Any bridge", finished & reached, finished, note),
            (
                "unescalated",
                "Any bridge, never escalated",
                finished & reached & alone,
                finished,
                note,
            ),
            (
                "intended",
                "Bridge to the intended therapy",
                named & (courses.outcome == wanted),
                named,
                note_intended,
            ),
        ):
            figures.append(
                proportion_figure(
                    scope, "success", group, item, label,
                    Keys("courses", courses.pk[some]), Keys("courses", courses.pk[among]),
                    counted="courses", note=said,
                )
            )  # fmt: skip
    return Findings(tuple(figures))


def _not_in_it(left_out: list[str]) -> str:
    """A note on who is left out; none where nobody is."""
    return f"not in it: {'; '.join(left_out)}" if left_out else ""


def intent_by_outcome(scope: Scope) -> Findings:
    """How many courses of each intent ended in each outcome, all routes."""
    courses = scope.dataset.courses
    figures = []
    for intent, wanted in enumerate(codes.INTENTS):
        for position, outcome in [*enumerate(codes.OUTCOMES), (codes.UNRECORDED, None)]:
            rows = scope.analysed & (courses.intent == intent) & (courses.outcome == position)
            if rows.any():
                item, label = (outcome.value, str(outcome.label)) if outcome else ("NONE", "no outcome yet")
                figures.append(
                    count_figure(
                        scope, "intent", "ALL", f"{wanted.value}/{item}", f"{wanted.label}: {label}",
                        Keys("courses", courses.pk[rows]), counted="courses",
                    )
                )  # fmt: skip
    return Findings(tuple(figures))


def _wanted(intent: Ints) -> Ints:
    """Position of the outcome that the intent names; -1 where it names none."""
    named = [MET_INTENT.get(code) for code in codes.INTENTS]
    table = np.array([codes.OUTCOMES.index(Outcome(code)) if code else -1 for code in named])
    return table[intent]


BRIDGE = Measure(
    id="bridge",
    title="Bridge to therapy",
    counted="courses",
    basis="begun in the period",
    who_counts="courses begun in the period with a balloon pump, by the route of the first run",
    what_counts=(
        "transplant, durable pump, weaned, first escalation, died or withdrawn, transferred on support"
    ),
    time_zero="first insertion; a transfer in is followed from arrival (delayed entry)",
    censoring=f"{SUPPORT_END} The six causes compete; none censors another.",
    estimator="outcomes.estimators.competing.cumulative_incidence",
    unit="proportion of courses",
    definition=(
        "The first of escalation and outcome ends the clock here: escalation is the insertion of a device "
        "for greater support, or the end of a run for that reason. Still supported is 1 less the sum of "
        "the six, so that they add up to 1 on every day. A course stays with the route of its first run; "
        "nobody is axillary from day 0 because an axillary pump came later."
    ),
    source=f"{CONVENTION}; {AALEN_JOHANSEN}",
    compute=bridge,
)
OUTCOMES = Measure(
    id="outcomes",
    title="Final outcomes",
    counted="courses",
    basis="begun in the period",
    who_counts="courses begun in the period with a balloon pump, by the route of the first run",
    what_counts="the one terminal outcome of the course, escalated or not",
    time_zero="first insertion",
    censoring="courses without an outcome at the data cut are a line of their own",
    estimator="outcomes.estimators.proportions.proportion",
    unit="proportion of courses",
    definition="As recorded at the data cut. An escalated course is counted under what finally became of it.",
    source=f"{CONVENTION}; {WILSON}",
    compute=outcomes,
)
SUCCESS = Measure(
    id="success",
    title="Bridging success",
    counted="courses",
    basis="begun in the period",
    who_counts="courses begun in the period with a balloon pump that have their outcome",
    what_counts=(
        "any bridge: transplant, durable pump or weaned; intended: the outcome named by the intent at the "
        "start"
    ),
    time_zero="first insertion",
    censoring=(
        "courses without an outcome are left out and their number is stated; the bridge curves include them"
    ),
    estimator="outcomes.estimators.proportions.proportion",
    unit="proportion of courses",
    definition=(
        "All are shown. Never escalated means that the pump alone bridged: nobody counts who needed greater "
        "support on the way. The intent is the one frozen at the start, so that a later change of plan does "
        "not turn into a success. A bridge to decision or another intent names no outcome and counts only "
        "under any bridge."
    ),
    source=f"{CONVENTION}; {WILSON}",
    compute=success,
)
INTENT = Measure(
    id="intent",
    title="Intended and achieved",
    counted="courses",
    basis="begun in the period",
    who_counts="courses begun in the period with a balloon pump",
    what_counts="courses of each intent at the start, by outcome",
    time_zero="first insertion",
    censoring="courses without an outcome at the data cut are a line of their own",
    estimator="count",
    unit="courses",
    definition="Counts only; combinations that do not occur are not listed.",
    compute=intent_by_outcome,
)
MEASURES = (BRIDGE, OUTCOMES, SUCCESS, INTENT)
