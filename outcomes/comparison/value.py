"""The comparison as a value: what the page, the file and the slides are drawn from. All frozen.

A ``None`` number is not estimable, refused or hidden; ``note`` says which and why.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property

from outcomes.comparison.choices import Choices
from outcomes.comparison.value_over_time import OverTime
from outcomes.measures.values import Cases

ARMS = ("AXILLARY", "FEMORAL")
HIDDEN = "hidden: a small count, or one from which a small count could be worked out"


def with_counts(refusal: str, counted: str) -> str:
    """A refusal with how many there were, where that may be said."""
    return f"{refusal} ({counted})" if counted else refusal


@dataclass(frozen=True, kw_only=True)
class Share:
    """``hits`` of ``total`` rows of one arm with their share; a rate has device-days as its total."""

    key: str
    arm: str
    hits: int | None
    total: float | None
    value: float | None
    lower: float | None = None
    upper: float | None = None
    method: str = ""
    note: str = ""
    cases: Cases = field(default_factory=Cases, repr=False, compare=False)

    @property
    def hidden(self) -> bool:
        return self.note == HIDDEN


@dataclass(frozen=True, kw_only=True)
class Contrast:
    """Axillary against femoral: a difference is axillary minus femoral, a ratio axillary over femoral."""

    measure: str
    value: float | None
    lower: float | None
    upper: float | None
    method: str = ""
    note: str = ""


@dataclass(frozen=True, kw_only=True)
class CrudeRow:
    """One outcome, crude: rows with it in each arm, and the contrasts.

    ``until`` names the quarter at whose end the counts stand, if they are held back from the data cut.
    """

    code: str
    label: str
    family: str
    harm: bool
    axillary: Share
    femoral: Share
    difference: Contrast
    ratio: Contrast
    until: str = ""


@dataclass(frozen=True, kw_only=True)
class RateRow:
    """Events per 1,000 device-days of one outcome in one stretch of time."""

    code: str
    label: str
    stretch: str
    axillary: Share
    femoral: Share
    ratio: Contrast


@dataclass(frozen=True, kw_only=True)
class Crude:
    """Crude comparison: all outcomes, those of days 0 to 2, and rates."""

    rows: tuple[CrudeRow, ...]
    early: tuple[CrudeRow, ...]
    rates: tuple[RateRow, ...]
    multiplicity: str


@dataclass(frozen=True, kw_only=True)
class Flow:
    """How one arm came about, in counts of rows that add up to ``total``."""

    arm: str
    total: Share
    paths: tuple[tuple[str, Share], ...]
    unplaced: Share


@dataclass(frozen=True, kw_only=True)
class Move:
    """How many went from one state to another, in column ``stage`` of the diagram and the next."""

    stage: int
    source: str
    target: str
    count: Share


@dataclass(frozen=True, kw_only=True)
class Who:
    """Who is compared."""

    unit: str
    flows: tuple[Flow, ...]
    moves: tuple[Move, ...]
    moved_twice: Share
    patients: Share
    other_route: Share
    transfers_in: tuple[Share, ...]


@dataclass(frozen=True, kw_only=True)
class BaselineRow:
    """One characteristic. ``means`` are of the arms before weighting (a share for yes/no); ``missing`` count.

    ``before`` and ``after`` are standardised differences; ``after`` is None where weighting was refused.
    """

    name: str
    label: str
    unit: str
    kind: str
    axillary: Share
    femoral: Share
    spread: tuple[float | None, float | None]
    missing: tuple[int | None, int | None]
    before: float | None
    after: float | None
    adjusted: bool
    note: str = ""


@dataclass(frozen=True, kw_only=True)
class Baseline:
    """Characteristics at the start, and the programme's mix of routes by calendar year."""

    rows: tuple[BaselineRow, ...]
    unrecorded: tuple[str, ...]
    by_year: tuple[tuple[int, Share, Share], ...]


@dataclass(frozen=True)
class Restriction:
    """``count`` rows with something that ``never`` occurred in that arm.

    It is a level of a ``characteristic``; ``shown_as`` names the row of the baseline table that counts it.
    """

    what: str
    count: int | None
    never: str
    characteristic: str = ""
    shown_as: str = ""


@dataclass(frozen=True, kw_only=True)
class Overlap:
    """Chances of axillary in each arm (counts in ``edges`` bins), and what weighting makes of them.

    ``restricted`` says who is left out of adjusted figures, ``kept`` who is not although an arm lacks the
    like, as so few may be chance. ``counted`` adds to a refusal how many there were.
    """

    edges: tuple[float, ...]
    axillary: tuple[int, ...]
    femoral: tuple[int, ...]
    comparable: tuple[int | None, int | None]
    totals: tuple[int | None, int | None]
    effective: tuple[float | None, float | None]
    weights: str
    terms: tuple[str, ...]
    not_adjusted: tuple[str, ...]
    restricted: tuple[Restriction, ...] = ()
    kept: tuple[Restriction, ...] = ()
    refusal: str = ""
    counted: str = ""

    @property
    def reason(self) -> str:
        return with_counts(self.refusal, self.counted)


@dataclass(frozen=True, kw_only=True)
class AdjustedRow:
    """One outcome weighted (``axillary``, ``femoral``), and ``crude`` for the same rows; or a refusal.

    ``counted`` adds to the refusal how many there were, which the committee is not told.
    """

    code: str
    label: str
    harm: bool
    axillary: float | None
    femoral: float | None
    difference: Contrast
    ratio: Contrast
    e_value: float | None
    e_limit: float | None
    crude: Contrast
    crude_axillary: Share
    crude_femoral: Share
    refusal: str = ""
    counted: str = ""

    @property
    def reason(self) -> str:
        return with_counts(self.refusal, self.counted)


@dataclass(frozen=True, kw_only=True)
class Stratified:
    """The chosen outcome pooled over strata of a factor and the calendar year (Mantel-Haenszel)."""

    factor: str
    strata: int
    difference: Contrast
    ratio: Contrast
    homogeneity: float | None
    levels: tuple[tuple[str, Share, Share], ...]
    refusal: str = ""


@dataclass(frozen=True, kw_only=True)
class Adjusted:
    """Overlap of the arms, and adjusted figures."""

    overlap: Overlap
    rows: tuple[AdjustedRow, ...]
    stratified: Stratified


@dataclass(frozen=True, kw_only=True)
class Line:
    """A curve of one arm on a grid of days; ``reached`` counts who had left by this cause by then."""

    arm: str
    subjects: int | None
    days: tuple[float, ...]
    values: tuple[float, ...]
    lower: tuple[float | None, ...]
    upper: tuple[float | None, ...]
    reached: tuple[int, ...]
    risk_days: tuple[float, ...]
    risk_counts: tuple[int | None, ...]


@dataclass(frozen=True, kw_only=True)
class Incidence:
    """Cumulative incidence of one cause in both arms, with Gray's test.

    ``moved`` counts, of those of each arm who got there, the ones that did so on a pump by the other route.
    """

    code: str
    label: str
    lines: tuple[Line, ...]
    counts: tuple[Share, ...]
    p_value: float | None
    method: str
    note: str = ""
    moved: tuple[Share, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Timing:
    """Time to mobilisation and the ways support ended."""

    mobilisation: tuple[Incidence, ...]
    bridge: tuple[Incidence, ...]
    restricted_means: tuple[tuple[str, float | None, float | None, Contrast], ...]
    not_followed: tuple[Share, ...]


@dataclass(frozen=True, kw_only=True)
class Naive:
    """Everyone who ever had an axillary pump against the rest, beside route as a state in time."""

    ever: Share
    never: Share
    crossed: Share
    immortal_days: float | None
    naive_ratio: Contrast
    naive_hazard: Contrast
    state_hazard: Contrast


@dataclass(frozen=True, kw_only=True)
class SensitivityRow:
    """The chosen outcome counted another way."""

    code: str
    label: str
    why: str
    axillary: Share
    femoral: Share
    crude: Contrast
    adjusted: Contrast
    refusal: str = ""
    counted: str = ""

    @property
    def reason(self) -> str:
        return with_counts(self.refusal, self.counted)


@dataclass(frozen=True, kw_only=True)
class Wanted:
    """How many more rows until the difference is known to within plus or minus ``half_width``."""

    half_width: float
    crude_more: int | None
    crude_years: float | None
    adjusted_more: int | None


@dataclass(frozen=True, kw_only=True)
class Sensitivity:
    """Other ways to count, and what would settle the question."""

    rows: tuple[SensitivityRow, ...]
    wanted: tuple[Wanted, ...]
    now: float | None
    pace: float | None


@dataclass(frozen=True, kw_only=True)
class Comparison:
    """Everything the comparison page says, at one data cut, under one set of choices.

    A part that was not asked for is None.
    """

    choices: Choices
    centres: tuple[str, ...]
    data_cut: datetime
    as_of: datetime | None
    level: float
    software_version: str
    who: Who
    baseline: Baseline | None = None
    crude: Crude | None = None
    adjusted: Adjusted | None = None
    timing: Timing | None = None
    naive: Naive | None = None
    sensitivity: Sensitivity | None = None
    over_time: OverTime | None = None
    shown_to: str = "the programme"
    smallest_cell: int | None = None

    @cached_property
    def shares(self) -> dict[str, Share]:
        """Every count that opens to its cases, by key."""
        found: dict[str, Share] = {}
        _collect(self, found)
        return found

    def crude_row(self, code: str) -> CrudeRow:
        """The crude row of an outcome; KeyError if there is none."""
        return {row.code: row for row in (self.crude.rows if self.crude else ())}[code]

    def adjusted_row(self, code: str) -> AdjustedRow:
        """The adjusted row of an outcome; KeyError if there is none."""
        return {row.code: row for row in (self.adjusted.rows if self.adjusted else ())}[code]


def _collect(value: object, found: dict[str, Share]) -> None:
    """Gather shares from nested frozen values."""
    if isinstance(value, Share):
        found.setdefault(value.key, value)
    elif isinstance(value, tuple):
        for part in value:
            _collect(part, found)
    elif hasattr(value, "__dataclass_fields__") and not isinstance(value, Choices | Cases):
        for name in value.__dataclass_fields__:
            _collect(getattr(value, name), found)
