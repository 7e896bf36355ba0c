"""Pressures, flow and laboratory values before and on the balloon pump, in the same patients."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, partial
from typing import Literal

import numpy as np

from outcomes.dataset.clinical import EARLY_DAYS, LOWEST_RIGHT_ATRIAL, TENTHS
from outcomes.dataset.clock import MINUTES_PER_DAY
from outcomes.estimators.arrays import Flags, Floats, Ints
from outcomes.measures.base import CONVENTION, Measure
from outcomes.measures.characteristics import positive, recorded
from outcomes.measures.scope import Scope
from outcomes.measures.summaries import Arranged, Item, arranged, change_figure, median_figure
from outcomes.measures.values import ALL_ROUTES, Figure, Findings

When = Literal["before", "early", "last"]
BEFORE_DAYS = 7
EARLY_MINUTES = (MINUTES_PER_DAY, 3 * MINUTES_PER_DAY)
STUDENT = "Student, Biometrika 1908;6:1-25, doi:10.1093/biomet/6.1.1"


@dataclass(frozen=True)
class Quantity:
    """What is measured; ``column`` is where it comes from."""

    name: str
    label: str
    scale: str
    decimals: int
    column: str
    laboratory: bool = False


QUANTITIES = (
    Quantity("arterial", "Mean arterial pressure", "mmHg", 0, "arterial_thirds"),
    Quantity("heart_rate", "Heart rate", "/min", 0, "heart_rate"),
    Quantity("right_atrial", "Right atrial pressure", "mmHg", 0, "right_atrial"),
    Quantity("pulmonary", "Mean pulmonary pressure", "mmHg", 0, "pulmonary_thirds"),
    Quantity("wedge", "Wedge pressure", "mmHg", 0, "wedge"),
    Quantity("output", "Cardiac output", "L/min", 1, "output_tenths"),
    Quantity("index", "Cardiac index", "L/min/m²", 1, "output_tenths"),
    Quantity("mixed_venous", "Mixed venous saturation", "%", 0, "mixed_venous"),
    Quantity("creatinine", "Creatinine", "µmol/L", 0, "creatinine_umol_l", True),
    Quantity("haemoglobin", "Haemoglobin", "g/dL", 1, "haemoglobin_g_dl", True),
    Quantity("platelets", "Platelets", "10⁹/L", 0, "platelets_10e9_l", True),
    Quantity("lactate", "Lactate", "mmol/L", 1, "lactate_mmol_l", True),
)
SCALES = {"arterial_thirds": 3.0, "pulmonary_thirds": 3.0, "output_tenths": 10.0}


@dataclass(frozen=True, eq=False)
class Values:
    """Values of every course at the three times, NaN where there is none."""

    scope: Scope

    def of(self, quantity: Quantity, when: When) -> Floats:
        """The value of each course: of pressures and flow the last one set gives at that time."""
        if quantity.laboratory:
            return self._laboratory(quantity, when)
        sets = self.scope.dataset.clinical.pressures
        rows = np.flatnonzero(self._windows[when] & (sets[quantity.column] >= 0))
        if not rows.size:
            return self._nothing
        found = self._nothing.copy()
        # Sets are sorted by time, so the last of a course is the one that stays.
        found[sets["course"][rows]] = self._measured(quantity, rows)
        return found

    def pairs(self, quantity: Quantity, when: When, chosen: Ints) -> tuple[Floats, Floats]:
        """Values of the chosen courses before and at a time, NaN unless both are known."""
        before, after = self.of(quantity, "before"), self.of(quantity, when)
        if before is self._nothing or after is self._nothing:
            nothing = self._nothing[chosen]
            return nothing, nothing
        before, after = before[chosen], after[chosen]
        both = recorded(before) & recorded(after)
        return np.where(both, before, np.nan), np.where(both, after, np.nan)

    def one_of_pairs(self, place: int, quantity: Quantity, when: When, chosen: Ints) -> Floats:
        """The earlier (0) or the later (1) value of the pairs."""
        return self.pairs(quantity, when, chosen)[place]

    @cached_property
    def _nothing(self) -> Floats:
        return np.full(self.scope.dataset.courses.size, np.nan)

    @cached_property
    def _windows(self) -> dict[When, Flags]:
        sets, began = self.scope.dataset.clinical.pressures, self.scope.dataset.courses.began
        since = sets["measured"] - began[sets["course"]]
        on_pump = sets["on_pump"] == 1
        first, last = EARLY_MINUTES
        return {
            "before": ~on_pump & (since <= 0) & (since >= -BEFORE_DAYS * MINUTES_PER_DAY),
            "early": on_pump & (since >= first) & (since <= last),
            "last": on_pump & (since >= first),
        }

    def _measured(self, quantity: Quantity, rows: Ints) -> Floats:
        sets = self.scope.dataset.clinical.pressures
        numbers = sets[quantity.column][rows] / SCALES.get(quantity.column, 1.0)
        if quantity.name == "right_atrial":
            return np.asarray(numbers + LOWEST_RIGHT_ATRIAL)
        return np.asarray(numbers / self._surface(rows)) if quantity.name == "index" else numbers

    def _surface(self, rows: Ints) -> Floats:
        """Body surface in m² of the sets' patients, by the formula each set names; see registry.derived."""
        sets, facts = self.scope.dataset.clinical.pressures, self.scope.dataset.clinical.course
        course = sets["course"][rows]
        height, weight = (positive(facts[name][course], 10.0) for name in ("height_cm", "weight_kg"))
        du_bois = 0.007184 * height**0.725 * weight**0.425
        return np.where(sets["du_bois"][rows] == 1, du_bois, np.sqrt(height * weight / 3600))

    def _laboratory(self, quantity: Quantity, when: When) -> Floats:
        clinical = self.scope.dataset.clinical
        scale = 10.0 if quantity.column in TENTHS else 1.0
        if when == "before":
            column = clinical.course[quantity.column]
        else:
            column = clinical.laboratory[f"{quantity.column}_{when}"]
        return positive(column, scale) if (column >= 0).any() else self._nothing


def _compared(scope: Scope, *, measure: str, when: When) -> Findings:
    values = Values(scope)
    arrangement = arranged(scope, scope.analysed, scope.dataset.courses.route)
    pks = scope.dataset.courses.pk[arrangement[0]]  # one array for all figures to keep
    return Findings(
        tuple(
            figure
            for quantity in QUANTITIES
            for figure in _figures(values, arrangement, pks, quantity, measure=measure, when=when)
        )
    )


def _figures(
    values: Values, arrangement: Arranged, pks: Ints, quantity: Quantity, *, measure: str, when: When
) -> list[Figure]:
    chosen, groups = arrangement
    pairs = values.pairs(quantity, when, chosen)
    first, later = (
        Item(
            measure, quantity.name, quantity.label, "courses", pks,
            partial(values.one_of_pairs, place, quantity, when, chosen), quantity.scale, quantity.decimals,
        )
        for place in (0, 1)
    )  # fmt: skip
    everybody = groups[ALL_ROUTES]
    return [
        median_figure(first, pairs[0], everybody, ALL_ROUTES, part="before"),
        median_figure(later, pairs[1], everybody, ALL_ROUTES, part="after"),
        *(
            change_figure(later, pairs, rows, group, level=values.scope.level)
            for group, rows in groups.items()
        ),
    ]


_SHARED = (
    "Only courses with both values are compared, so each line says how many pairs it rests on. Before: of "
    f"pressures and flow the last within {BEFORE_DAYS} days up to the first insertion, off the pump; of "
    "laboratory values that of the start. {window} Mean pressures are the measured ones; without one the "
    "pulmonary mean, and off the pump the arterial one, is (systolic + 2 diastolic) / 3. The index is output "
    "by body surface, by the formula each set names. A change says what happened on support, not what "
    "support did: those measured again are those still there, and drugs change too."
)


def _measure(id: str, title: str, when: When, window: str) -> Measure:
    return Measure(
        id=id,
        title=title,
        counted="courses",
        basis="begun in the period",
        who_counts="courses begun in the period with a balloon pump, by the route of the first run",
        what_counts=(
            "courses with a value before and one on the pump: both medians, over all routes, and the mean "
            "difference"
        ),
        time_zero="first insertion",
        censoring="none: courses without both values are counted as missing, not filled in",
        estimator="outcomes.estimators.paired.mean_difference; outcomes.estimators.order.quartiles",
        unit="that of each value",
        definition=_SHARED.format(window=window),
        source=f"{CONVENTION}; {STUDENT}",
        compute=partial(_compared, measure=id, when=when),
    )


EARLY = _measure(
    "support.early",
    "Before and 24 to 72 h after insertion",
    "early",
    f"On the pump: the last at 24 to 72 h; of laboratory values the last of days {EARLY_DAYS[0]} to "
    f"{EARLY_DAYS[1]}, as daily rows of balloon pumps know no hour.",
)
LAST = _measure(
    "support.last",
    "Before and last on the pump",
    "last",
    "On the pump: the last from 24 h on; of laboratory values the last in a daily row of a balloon pump "
    f"from day {EARLY_DAYS[0]} on.",
)
MEASURES = (EARLY, LAST)
