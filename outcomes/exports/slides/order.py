"""The slides in their order."""

from __future__ import annotations

from collections.abc import Callable

from outcomes.exports.slides import context_pages as context
from outcomes.exports.slides import quarter_pages as quarter
from outcomes.exports.slides.story import Story

ORDER: tuple[Callable[[Story], None], ...] = (
    quarter.cover,
    quarter.glance,
    quarter.flow,
    quarter.volumes,
    quarter.complications,
    quarter.devices,
    quarter.mobilisation,
    quarter.outcomes,
    context.comparison,
    context.volume_trends,
    context.harm_trends,
    context.cases,
    context.quality,
    context.definitions,
)


def ordered(*, quality_first: bool) -> tuple[Callable[[Story], None], ...]:
    """The slides as told; with data quality right after the figures at a glance, as for a committee."""
    if not quality_first:
        return ORDER
    rest = [tell for tell in ORDER if tell is not context.quality]
    after = rest.index(quarter.glance) + 1
    return (*rest[:after], context.quality, *rest[after:])
