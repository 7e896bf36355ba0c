"""The chance of axillary given who the patient was, or the reason why it cannot be modelled.

A missing value is filled with the mean of those known, and a column says that it was missing (Rosenbaum PR,
Rubin DB, J Am Stat Assoc 1984;79:516-524, "Reducing bias in observational studies using subclassification on
the propensity score", doi:10.1080/01621459.1984.10478078: missingness is balanced like any covariate).
Complete cases are a row of the sensitivity table.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from outcomes.comparison import limits
from outcomes.comparison.covariates import COVARIATES, TERMS, Term, recorded, terms_of
from outcomes.comparison.positivity import coded, kept, no_chance, of_terms, separating
from outcomes.comparison.units import Programme, Units, distinct
from outcomes.comparison.value import Restriction
from outcomes.estimators.arrays import Flags, Floats
from outcomes.estimators.base import EstimatorError
from outcomes.estimators.propensity import PropensityModel, SeparationError, fit_propensity
from outcomes.estimators.weighting import (
    effective_sample_size,
    inverse_probability_weights,
    overlap_weights,
)
from outcomes.wording import lower_first

Values = list[Floats]
FEWEST_MISSING_FOR_A_TERM = 5  # fewer missing values are filled without a term of their own
OVERLAP = "overlap"
EITHER = "who could have had either route"
NOT_TERMS = tuple(
    lower_first(covariate.label)
    for covariate in COVARIATES
    if covariate.name not in {term.shows for term in TERMS}
)


@dataclass(frozen=True)
class Refusal:
    """Why a figure is not given; ``counted`` says how many there were, which the committee is not told."""

    words: str = ""
    counted: str = ""


@dataclass(frozen=True, eq=False)
class Design:
    """Columns (N, P) of the propensity model, which terms they are, and which were not taken up and why."""

    columns: Floats
    names: tuple[str, ...]
    shows: frozenset[str]
    not_adjusted: tuple[str, ...]
    complete: Flags


@dataclass(frozen=True, eq=False)
class Weighting:
    """A fitted model with its weights, or ``refusal`` in words.

    ``rows`` (N,) are those compared; ``design``, ``model`` and ``weights`` are about them. ``restricted``
    says who is not among them, ``kept`` who is although an arm lacks the like. ``counted`` adds to the
    refusal how many there were.
    """

    rows: Flags
    design: Design
    model: PropensityModel | None = None
    weights: Floats | None = None
    restricted: tuple[Restriction, ...] = ()
    kept: tuple[Restriction, ...] = ()
    refusal: str = ""
    counted: str = ""

    @property
    def every_weight(self) -> Floats | None:
        """Weights of all rows: 0 for those that are not compared."""
        if self.weights is None or self.refusal:
            return None
        every = np.zeros(self.rows.size)
        every[self.rows] = self.weights
        return every


def design_of(units: Units, terms: Sequence[Term], values: Values) -> Design:
    """The terms that the numbers allow, most important first; ``values`` are those of ``terms`` by row."""
    smaller = min(int(units.axillary.sum()), int((~units.axillary).sum()))
    allowed = max(1, smaller // limits.ROWS_PER_TERM)
    columns: list[Floats] = []
    names: list[str] = []
    shows: set[str] = set()
    rare, surplus = [], []
    complete = np.ones(units.size, dtype=np.bool_)
    for term, column in zip(terms, values, strict=True):
        known = recorded(column)
        if not _often_recorded(known, units):
            rare.append(term.label)
            continue
        new = _columns(column, known, term)
        if not new:
            continue
        if len(columns) + len(new) > allowed:
            surplus.append(term.label)
            continue
        columns += [made for _, made in new]
        names += [name for name, _ in new]
        shows.add(term.shows)
        complete &= known
    return Design(
        columns=np.column_stack(columns) if columns else np.zeros((units.size, 0)),
        names=tuple(names),
        shows=frozenset(shows),
        not_adjusted=_left_out(rare, surplus),
        complete=complete,
    )


def _often_recorded(known: Flags, units: Units) -> bool:
    for arm in (units.axillary, ~units.axillary):
        if int(np.count_nonzero(known & arm)) < limits.KNOWN_SHARE * max(int(np.count_nonzero(arm)), 1):
            return False
    return True


def _columns(values: Floats, known: Flags, term: Term) -> list[tuple[str, Floats]]:
    """The column with its gaps filled, and one for the gaps; none for a term without spread."""
    if np.ptp(values[known]) == 0.0:
        return []
    filled = np.where(known, values, values[known].mean())
    missing = (~known).astype(np.float64)
    gaps = [(f"{term.label} not recorded", missing)] if missing.sum() >= FEWEST_MISSING_FOR_A_TERM else []
    return [(term.label, filled), *gaps]


def _left_out(rare: list[str], surplus: list[str]) -> tuple[str, ...]:
    said = [f"as no model takes them up: {', '.join(NOT_TERMS)}"]
    if rare:
        said.append(f"recorded in fewer than {limits.KNOWN_SHARE:.0%} of an arm: {', '.join(rare)}")
    if surplus:
        said.append(
            f"beyond one term for every {limits.ROWS_PER_TERM} in the smaller arm: {', '.join(surplus)}"
        )
    return tuple(said)


def weigh(programme: Programme, units: Units, kind: str) -> Weighting:
    """Fit the model and make the weights; refused where the arms are too small or cannot be compared.

    Rows with something that never went with one of the routes are left out first: they could not have had
    either, and what is said of the rest does not hold for them.
    """
    refused, units = _comparable(programme, every := units)
    too_few = _too_few_patients(every, units)
    if too_few.words:
        return replace(refused, refusal=too_few.words, counted=too_few.counted)
    design = refused.design
    try:
        model = fit_propensity(design.columns, units.axillary, terms=design.names)
    except SeparationError as error:
        return replace(refused, refusal=_separated(error))
    except EstimatorError as error:
        return replace(refused, refusal=f"the model of the route cannot be fitted ({error.rule})")
    weights = overlap_weights(model) if kind == OVERLAP else inverse_probability_weights(model)
    refusal = _no_overlap(model, weights, units)
    return replace(refused, model=model, weights=weights, refusal=refusal)


def _comparable(programme: Programme, every: Units) -> tuple[Weighting, Units]:
    """Those who could have had either route and the design of their model, without a model yet."""
    terms = terms_of(programme)
    values = [term.values(programme, every) for term in terms]
    found = coded(programme, every)
    rows = np.ones(every.size, dtype=np.bool_)
    said: tuple[Restriction, ...] = ()
    while True:
        rows, restricted = no_chance(every, found, rows)
        units = every.chosen(rows)
        design = design_of(units, terms, values if rows.all() else [column[rows] for column in values])
        left, bare = separating(every, of_terms(found, terms, values, design.names), rows)
        said = (*said, *restricted, *bare)
        if not bare:
            return Weighting(rows, design, restricted=said, kept=kept(every, found, rows)), units
        rows = left


class Weighings:
    """Weightings of one programme by the rows they are about: nothing is fitted twice."""

    def __init__(self, programme: Programme) -> None:
        self.programme = programme
        self._known: dict[tuple[str, bytes, str], Weighting] = {}

    def of(self, units: Units, kind: str) -> Weighting:
        """The weighting of these rows."""
        key = (units.view, units.pks.tobytes(), kind)
        if key not in self._known:
            self._known[key] = weigh(self.programme, units, kind)
        return self._known[key]


def _too_few_patients(every: Units, units: Units) -> Refusal:
    """``units`` are those of ``every`` who could have had either route."""
    for axillary, name in ((True, "axillary"), (False, "femoral")):
        patients, whole = (distinct(rows.patient[rows.arm(axillary)]) for rows in (units, every))
        if patients < limits.FEWEST_PER_ARM:
            among = _among(patients < whole)
            return Refusal(
                f"too few patients in the {name} arm{among}: at least {limits.FEWEST_PER_ARM} are needed",
                f"{patients} of its {whole}" if among else f"it has {patients}",
            )
    return Refusal()


def _among(restricted: bool) -> str:
    return f" among those {EITHER}" if restricted else ""


def _separated(error: SeparationError) -> str:
    terms = ", ".join(error.terms)
    return f"nothing to compare: {terms} (nearly) decided the route, so that no patient could have had either"


def _no_overlap(model: PropensityModel, weights: Floats, units: Units) -> str:
    comparable = comparable_rows(model.scores)
    for axillary, name in ((True, "axillary"), (False, "femoral")):
        arm = units.arm(axillary)
        found = int((comparable & arm).sum())
        if found < limits.FEWEST_COMPARABLE:
            low, high = limits.COMPARABLE_SCORES
            return (
                f"no overlap: fewer than {limits.FEWEST_COMPARABLE} {units.words} of the {name} arm had a "
                f"real chance of either route (between {low:.0%} and {high:.0%})"
            )
        effective = effective_sample_size(weights[arm])
        if effective < limits.FEWEST_EFFECTIVE:
            return (
                f"too little overlap: after weighting the {name} arm is worth fewer than "
                f"{limits.FEWEST_EFFECTIVE:.0f} {units.words}"
            )
    return ""


def comparable_rows(scores: Floats) -> Flags:
    """Rows whose chance of axillary says that either route was a real possibility."""
    low, high = limits.COMPARABLE_SCORES
    return np.asarray((scores >= low) & (scores <= high))


def too_few_events(hit: Flags, *, restricted: bool = False) -> Refusal:
    """Why an outcome is too rare, or too common, to be adjusted; empty if it is not.

    ``restricted`` says that the rows are those who could have had either route, not all.
    """
    with_it, without = int(hit.sum()), int((~hit).sum())
    counts = ((with_it, "events", "had it"), (without, "without the outcome", "did not have it"))
    for number, what, had in counts:
        if number < limits.FEWEST_EVENTS:
            among = _among(restricted)
            return Refusal(
                f"not adjusted, too few {what}{among}: at least {limits.FEWEST_EVENTS} are needed",
                f"{number} of the {hit.size} {had}",
            )
    return Refusal()
