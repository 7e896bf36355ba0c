"""The page of the measures, in the words of the Definitions page."""

from __future__ import annotations

from outcomes.measures.base import Measure
from outcomes.measures.catalogue import MEASURES, definitions_version

INTRODUCTION = """\
# Measures

Written from `outcomes.measures.catalogue` by `manage.py handbook`; do not edit it by hand. The same
words stand on the Definitions page of the site. Edition {version}.

| Measure | Counted | Basis | Unit |
| --- | --- | --- | --- |
{rows}
"""


def text() -> str:
    """The whole page."""
    rows = "\n".join(map(_row, MEASURES))
    opening = INTRODUCTION.format(version=definitions_version(), rows=rows)
    return "\n".join([opening, *map(_measure, MEASURES)])


def _row(measure: Measure) -> str:
    link = f"[{measure.title}](#{measure.id.replace('.', '')})"
    return f"| {link} | {measure.counted} | {measure.basis} | {measure.unit} |"


def _measure(measure: Measure) -> str:
    return f"""\
## `{measure.id}`

**{measure.title}.** {measure.definition}

- **Basis:** {measure.basis}
- **Counted:** {measure.what_counts}
- **Out of:** {measure.who_counts}
- **Time zero:** {measure.time_zero}
- **Censoring and competing events:** {measure.censoring}
- **Unit:** {measure.unit}
- **Estimator:** {measure.estimator}
- **Source:** {measure.source}
"""
