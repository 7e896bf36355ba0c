"""Put the comparison together from a dataset, the facts beside it and the reader's choices."""

from __future__ import annotations

from outcomes.comparison.adjusted import adjusted
from outcomes.comparison.baseline import baseline
from outcomes.comparison.choices import Choices
from outcomes.comparison.crossovers import who
from outcomes.comparison.crude import crude
from outcomes.comparison.filters import let_in
from outcomes.comparison.naive import naive
from outcomes.comparison.over_time import over_time
from outcomes.comparison.propensity import weigh
from outcomes.comparison.reading import Facts
from outcomes.comparison.sensitivity import sensitivity
from outcomes.comparison.timing import timing
from outcomes.comparison.units import Programme, Units, units_of
from outcomes.comparison.value import Comparison
from outcomes.dataset import Dataset
from outcomes.report.build import software_version


def chosen_units(programme: Programme, choices: Choices) -> Units:
    """The rows that a reader's choices let in."""
    units = units_of(programme, choices.view)
    return units.chosen(let_in(programme, units, choices))


def build_comparison(
    *, dataset: Dataset, facts: Facts, choices: Choices | None = None, level: float = 0.95
) -> Comparison:
    """The whole comparison. Raises EstimatorError for a level outside (0, 1)."""
    choices = choices or Choices()
    programme = Programme(dataset, facts, level)
    units = chosen_units(programme, choices)
    weighting = weigh(programme, units, choices.weights)
    return Comparison(
        choices=choices,
        centres=dataset.centres,
        data_cut=dataset.cut_at,
        as_of=dataset.as_of,
        level=level,
        software_version=software_version(),
        who=who(programme, units),
        baseline=baseline(programme, units, weighting),
        crude=crude(programme, units),
        adjusted=adjusted(programme, units, choices, weighting),
        timing=timing(programme, units),
        naive=naive(programme, units),
        sensitivity=sensitivity(programme, units, choices),
        over_time=over_time(programme, units, choices),
    )
