"""Life after a transplant or a durable pump: survival from that day, graft dysfunction, days to discharge."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from outcomes.dataset import codes
from outcomes.dataset.clock import NEVER, local_days
from outcomes.estimators.arrays import Flags, Floats, Ints
from outcomes.measures.base import CONVENTION, KAPLAN_MEIER, WILSON, Measure
from outcomes.measures.incidence import Exits, staying_figure
from outcomes.measures.making import curve_of, key_of
from outcomes.measures.scope import ROUTE_LABELS, Scope
from outcomes.measures.summaries import Item, arranged, median_figure, share_figure
from outcomes.measures.values import Curve, Figure, Findings
from registry.choices import Outcome, Severity

DAYS = (30.0, 365.0)
RISK_DAYS = (0.0, 30.0, 90.0, 180.0, 365.0)
THERAPIES = (
    ("transplant", "Alive after transplant", Outcome.TRANSPLANT),
    ("durable", "Alive after durable pump", Outcome.DURABLE),
)
THERAPY_WORDS = {"transplant": "transplant", "durable": "durable pump"}
DIED = 1
KOBASHIGAWA = "Kobashigawa J et al., J Heart Lung Transplant 2014;33:327-340 (grades as entered, from memory)"


@dataclass(frozen=True, eq=False)
class Aftermath:
    """Days since 1970, by course: of the therapy, of death, and until when the patient was known alive.

    Only courses with a therapy have a day of it; NEVER elsewhere.
    """

    scope: Scope

    @cached_property
    def therapy_on(self) -> Ints:
        courses, zone = self.scope.dataset.courses, self.scope.dataset.zone
        found = np.full(courses.size, NEVER)
        had = self.had(*(outcome for _, _, outcome in THERAPIES))
        found[had] = local_days(courses.outcome_at[had], zone)
        return found

    def had(self, *outcomes: Outcome) -> Flags:
        """Courses analysed that ended in one of these outcomes."""
        wanted = [codes.OUTCOMES.index(outcome) for outcome in outcomes]
        return self.scope.analysed & np.isin(self.scope.dataset.courses.outcome, wanted)

    @cached_property
    def died_on(self) -> Ints:
        """The day of death; where only its finding is known, that day, or that of leaving hospital dead."""
        rows = self.scope.dataset.clinical.aftermath
        left_dead = np.where(rows["left_alive"] == 0, rows["discharged_on"], NEVER)
        learnt = np.minimum(rows["found_dead_on"], left_dead)
        return np.where(rows["died_on"] < NEVER, rows["died_on"], learnt)

    @cached_property
    def seen_alive_on(self) -> Ints:
        """The last day known alive: seen at follow-up, leaving hospital alive, or the day of therapy."""
        rows = self.scope.dataset.clinical.aftermath
        left_alive = np.where(rows["left_alive"] == 1, rows["discharged_on"], -1)
        return np.maximum(np.maximum(rows["alive_on"], left_alive), self.therapy_on)

    @cached_property
    def days_to_leaving(self) -> Floats:
        """Days from therapy to leaving hospital alive; NaN for those who have not."""
        rows = self.scope.dataset.clinical.aftermath
        left = (rows["left_alive"] == 1) & (rows["discharged_on"] < NEVER) & (self.therapy_on < NEVER)
        days = np.where(left, rows["discharged_on"] - self.therapy_on, 0)
        return np.where(left & (days >= 0), days, np.nan)

    @cached_property
    def died_before(self) -> Flags:
        """Courses with a therapy whose patient is recorded dead before it: one of the two is wrong."""
        return (self.therapy_on < NEVER) & (self.died_on < self.therapy_on)

    def exits(self, rows: Flags) -> Exits:
        """Survival of these courses in days from therapy, without those dead before it."""
        rows = rows & ~self.died_before
        died = self.died_on < NEVER
        exit = np.where(died, self.died_on, self.seen_alive_on)[rows] - self.therapy_on[rows]
        return Exits.of(
            "courses",
            self.scope.dataset.courses.pk[rows],
            entry=np.zeros(exit.size, dtype=np.int64),
            exit=exit,
            cause=np.where(died[rows], DIED, 0),
            causes=1,
            level=self.scope.level,
        )


def survival(scope: Scope) -> Findings:
    """Survival after each therapy, by the route of the first run."""
    after = Aftermath(scope)
    figures: list[Figure] = []
    curves: list[Curve] = []
    for item, label, outcome in THERAPIES:
        for group, rows in scope.by_group(after.had(outcome), scope.dataset.courses.route):
            exits = after.exits(rows)
            figures += [_alive(exits, group, item, label, day) for day in DAYS]
            if exits.size:
                curves.append(_curve(exits, group, item, label))
    return Findings(tuple(figures), tuple(curves))


def _alive(exits: Exits, group: str, item: str, label: str, day: float) -> Figure:
    """Survival at a day; nothing is said beyond the longest follow-up, unless all have died."""
    figure = staying_figure(
        exits, measure="after.survival", group=group, item=item, label=label, day=day, per_day=1,
        counted="courses",
    )  # fmt: skip
    if not figure.estimate or day <= exits.exit.max():
        return figure
    longest = f"not estimable: nobody was followed beyond day {exits.exit.max()}"
    return replace(figure, estimate=None, lower=None, upper=None, method="", note=longest)


def _curve(exits: Exits, group: str, item: str, label: str) -> Curve:
    return curve_of(
        exits.curves.event_free,
        key=key_of("after.survival", group, item),
        measure="after.survival",
        label=f"{label}, {ROUTE_LABELS[group].lower()}",
        group=group,
        quantity="alive",
        counted="courses",
        risk_days=RISK_DAYS,
        per_day=1,
    )


def recovery(scope: Scope) -> Findings:
    """Graft dysfunction after transplant, and days from therapy to leaving hospital alive."""
    after, courses = Aftermath(scope), scope.dataset.courses
    grades = scope.dataset.clinical.aftermath["graft_dysfunction"]
    moderate = codes.SEVERITIES.index(Severity.MODERATE)
    chosen, groups = arranged(scope, after.had(Outcome.TRANSPLANT), courses.route)
    grafts = np.where(grades < 0, np.nan, grades >= moderate)[chosen]
    item = Item(
        "after.recovery", "graft", "Moderate or severe graft dysfunction", "courses", courses.pk[chosen],
        lambda: grafts,
    )  # fmt: skip
    figures = [share_figure(item, grafts, rows, group, level=scope.level) for group, rows in groups.items()]
    for name, _, outcome in THERAPIES:
        figures += _leaving(after, name, outcome)
    return Findings(tuple(figures))


def _leaving(after: Aftermath, name: str, outcome: Outcome) -> list[Figure]:
    """Days from one therapy to leaving hospital alive."""
    courses = after.scope.dataset.courses
    chosen, groups = arranged(after.scope, after.had(outcome), courses.route)
    days = after.days_to_leaving[chosen]
    label = f"Days from {THERAPY_WORDS[name]} to leaving hospital alive"
    item = Item("after.recovery", f"{name}/leaving", label, "courses", courses.pk[chosen], lambda: days, "d")
    return [median_figure(item, days, rows, group) for group, rows in groups.items()]


_CONDITIONAL = "Conditional on the therapy: those who died waiting, or never had it, are not in it."
_WHO = "courses begun in the period that ended in transplant or durable pump, by the route of the first run"
SURVIVAL = Measure(
    id="after.survival",
    title="Survival after transplant or durable pump",
    counted="courses",
    basis="begun in the period",
    who_counts=_WHO,
    what_counts="death from any cause after that therapy",
    time_zero="calendar day of the transplant or of the durable pump, which is day 0",
    censoring=(
        "the last day known alive: seen at follow-up, leaving hospital alive, else the day of the therapy; a "
        "second therapy does not end it"
    ),
    estimator="outcomes.estimators.survival.kaplan_meier",
    unit="proportion of courses",
    definition=(
        f"{_CONDITIONAL} Where only the finding of a death is known it counts on the day it was learnt. "
        "Patients who are not followed leave the curve on the day they were last known alive, which is "
        "right only if they fare as the others do. Beyond the longest follow-up nothing is said. A patient "
        "recorded dead before the therapy is left out and named."
    ),
    source=f"{CONVENTION}; {KAPLAN_MEIER}",
    compute=survival,
)
RECOVERY = Measure(
    id="after.recovery",
    title="Recovery after transplant or durable pump",
    counted="courses",
    basis="begun in the period",
    who_counts=_WHO,
    what_counts=(
        "primary graft dysfunction, moderate or severe, as the worst grade at any follow-up; days from "
        "therapy to leaving hospital alive"
    ),
    time_zero="calendar day of the therapy",
    censoring="none: courses without a grade, or whose patient has not left alive, are counted as missing",
    estimator="outcomes.estimators.proportions.proportion; outcomes.estimators.order.quartiles",
    unit="proportion of courses; days",
    definition=(
        f"{_CONDITIONAL} The days are those of patients who left alive, so early deaths shorten nothing and "
        "those still in hospital are missing: read them beside the survival."
    ),
    source=f"{CONVENTION}; {KOBASHIGAWA}; {WILSON}",
    compute=recovery,
)
MEASURES = (SURVIVAL, RECOVERY)
