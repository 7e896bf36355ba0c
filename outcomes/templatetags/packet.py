"""Template filters of the printed packet."""

from __future__ import annotations

from typing import Any

from django import template
from django.utils.safestring import SafeString, mark_safe

from outcomes.exports.drawing import draw
from outcomes.figures import Chart

register = template.Library()


@register.filter
def is_chart(part: Any) -> bool:
    """Whether a part of a section is a chart; else it is a table."""
    return isinstance(part, Chart)


@register.filter
def drawn(chart: Chart) -> SafeString:
    """The chart as a drawing; every word in it is escaped where it is drawn."""
    return mark_safe(draw(chart))  # noqa: S308
