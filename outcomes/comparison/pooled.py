"""What the committee may see of several centres together.

A count of several centres is shown only where each of them shows its own: then their sum says nothing that
their own pages do not, whatever else is read beside it and whoever reads it. With anything less the hidden
count of one centre would be the sum less the others.
"""

from __future__ import annotations

from collections.abc import Sequence

from outcomes.comparison.build import build_comparison
from outcomes.comparison.choices import Choices
from outcomes.comparison.committee import for_committee
from outcomes.comparison.guard import Guard, guard_of
from outcomes.comparison.units import Programme


def guard_of_several(each: Sequence[Programme], choices: Choices, threshold: int) -> Guard:
    """The guard of one centre, or of several together: shares, sizes and adjusted figures alone."""
    guards = [guard_of(programme, choices, threshold) for programme in each]
    if len(each) == 1:
        return guards[0]
    seen = [_hidden(programme, choices, guard) for programme, guard in zip(each, guards, strict=True)]
    return Guard(
        threshold,
        filtered=True,
        hits=frozenset().union(*(hits for hits, _ in seen)),
        sizes=frozenset().union(*(sizes for _, sizes in seen)),
    )


def _hidden(
    programme: Programme, choices: Choices, guard: Guard
) -> tuple[frozenset[tuple[str, str]], frozenset[str]]:
    """(Outcome, arm) and arms that the page of one centre does not show."""
    made = build_comparison(
        dataset=programme.dataset, facts=programme.facts, choices=choices, parts=("crude",)
    )
    seen = for_committee(made, guard)
    rows = seen.crude.rows if seen.crude else ()
    hits = {(row.code, share.arm) for row in rows for share in (row.axillary, row.femoral) if share.hidden}
    return frozenset(hits), frozenset(flow.arm for flow in seen.who.flows if flow.total.hits is None)
