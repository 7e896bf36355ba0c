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
