"""What the committee may see of several centres together.

A count of several centres is shown only where each of them shows its own: then their sum says nothing that
their own pages do not, whatever else is read beside it and whoever reads it. With anything less the hidden
count of one centre would be the sum less the others. Each centre adds what it shows, as its own page does.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from outcomes.comparison.choices import Choices
from outcomes.comparison.filters import let_in
from outcomes.comparison.guard import Guard, Standing, guard_of
from outcomes.comparison.suppression import is_small
from outcomes.comparison.units import Programme, Units, units_of
from outcomes.comparison.value import ARMS


def guard_of_several(programme: Programme, choices: Choices, threshold: int) -> Guard:
    """The guard of a logbook of one centre; of several together, for shares, sizes and adjusted figures."""
    units = units_of(programme, choices.view)
    centre = programme.dataset.courses.centre[units.course]
    each = [units.chosen(centre == one) for one in np.unique(centre)]
    guards = [guard_of(programme, choices, threshold, rows) for rows in each]
    if len(each) < 2:
        return guards[0] if guards else guard_of(programme, choices, threshold, units)
    everywhere = set.intersection(*(set(guard.shown) for guard in guards))
    until = [(label, code) for guard in guards for code, label in guard.until.items()]
    return Guard(
        threshold,
        filtered=True,
        shown={key: _sum([guard.shown[key] for guard in guards]) for key in everywhere},
        until={code: label for label, code in sorted(until, reverse=True)},
        adjustable=frozenset.intersection(*(guard.adjustable for guard in guards)),
        sizes=frozenset().union(
            *(_hidden_arms(programme, *of, choices) for of in zip(each, guards, strict=True))
        ),
    )


def _sum(found: Sequence[Standing]) -> Standing:
    return Standing(sum(each.hits for each in found), sum(each.rows for each in found))


def _hidden_arms(programme: Programme, units: Units, guard: Guard, choices: Choices) -> frozenset[str]:
    """Arms whose size the page of one centre does not show."""
    axillary = units.axillary[let_in(programme, units, choices)]
    sizes = dict(zip(ARMS, (int(axillary.sum()), int((~axillary).sum())), strict=True))
    return guard.sizes | {arm for arm, size in sizes.items() if is_small(size, guard.threshold)}
