"""Put the comparison together from a dataset, the facts beside it and the reader's choices."""

from __future__ import annotations

from collections.abc import Callable, Collection
from typing import Any

from outcomes.comparison.adjusted import adjusted
from outcomes.comparison.baseline import baseline
from outcomes.comparison.choices import Choices
from outcomes.comparison.crossovers import who
from outcomes.comparison.crude import crude
from outcomes.comparison.filters import let_in
from outcomes.comparison.naive import naive
from outcomes.comparison.over_time import over_time
from outcomes.comparison.propensity import Weighings
from outcomes.comparison.reading import Facts
from outcomes.comparison.sensitivity import sensitivity
from outcomes.comparison.timing import timing
from outcomes.comparison.units import Programme, Units, units_of
from outcomes.comparison.value import Comparison
from outcomes.dataset import Dataset
from outcomes.report.build import software_version

PARTS = ("baseline", "crude", "adjusted", "timing", "naive", "sensitivity", "over_time")


def chosen_units(programme: Programme, choices: Choices) -> Units:
    """The rows that a reader's choices let in."""
    units = units_of(programme, choices.view)
    return units.chosen(let_in(programme, units, choices))


def build_comparison(
    *,
    dataset: Dataset,
    facts: Facts,
    choices: Choices | None = None,
    parts: Collection[str] = PARTS,
    level: float = 0.95,
) -> Comparison:
    """The comparison, or some ``parts`` of it. Raises EstimatorError for a level outside (0, 1)."""
    choices = choices or Choices()
    programme = Programme(dataset, facts, level)
    units = chosen_units(programme, choices)
    weighings = Weighings(programme)
    kind = choices.weights
    made: dict[str, Callable[[], Any]] = {
        "baseline": lambda: baseline(programme, units, weighings.of(units, kind)),
        "crude": lambda: crude(programme, units),
        "adjusted": lambda: adjusted(programme, units, choices, weighings),
        "timing": lambda: timing(programme, units),
        "naive": lambda: naive(programme, units),
        "sensitivity": lambda: sensitivity(programme, units, choices, weighings),
        "over_time": lambda: over_time(programme, units, choices),
    }
    return Comparison(
        choices=choices,
        centres=dataset.centres,
        data_cut=dataset.cut_at,
        as_of=dataset.as_of,
        level=level,
        software_version=software_version(),
        who=who(programme, units),
        **{name: made[name]() for name in parts},
    )
