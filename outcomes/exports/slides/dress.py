"""How native charts look: axes, lines, fills, keys."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from lxml import etree
from pptx.dml.color import RGBColor
from pptx.enum.chart import (
    XL_LEGEND_POSITION,
    XL_MARKER_STYLE,
)
from pptx.enum.dml import MSO_LINE
from pptx.oxml.ns import qn
from pptx.util import Pt

from outcomes.exports.drawing.canvas import finite, steps_of
from outcomes.exports.slides.template import FACE, INK, SOFT
from outcomes.figures import Chart, Series
from outcomes.plotly_charts import COLOURS, DASHES
from registry.choices import RouteGroup

LINES = {"solid": MSO_LINE.SOLID, "dash": MSO_LINE.DASH, "dot": MSO_LINE.ROUND_DOT}
PATTERNS = {"/": "wdUpDiag", "\\": "wdDnDiag", ".": "pct20", "x": "openDmnd"}
FAINT = RGBColor.from_string("D8D4C8")
LABEL_SIZE = 12
C = "http://schemas.openxmlformats.org/drawingml/2006/chart"


def child(parent: Any, name: str, value: str) -> None:
    """Append an element that holds one value."""
    etree.SubElement(parent, f"{{{C}}}{name}", val=value)


def route_colour(series: Series) -> RGBColor:
    """The colour of a route."""
    return RGBColor.from_string(COLOURS[RouteGroup(series.group)].lstrip("#"))


def reach(chart: Chart) -> float:
    """The highest value or limit of a chart."""
    return max((v for s in chart.series for v in finite((*s.y, *s.upper))), default=1.0) or 1.0


def route_line(plotted: Any, series: Series, *, width: float) -> None:
    """A line in the colour and the dashes of its route."""
    plain_line(plotted, route_colour(series), width)
    plotted.format.line.dash_style = LINES[DASHES[RouteGroup(series.group)]]


def plain_line(plotted: Any, colour: RGBColor, width: float) -> None:
    """A line without markers."""
    plotted.marker.style = XL_MARKER_STYLE.NONE
    plotted.smooth = False
    plotted.format.line.color.rgb = colour
    plotted.format.line.width = Pt(width)


def mark(plotted: Any, style: Any, colour: RGBColor) -> None:
    """A filled marker."""
    plotted.marker.style, plotted.marker.size = style, 9
    plotted.marker.format.fill.solid()
    plotted.marker.format.fill.fore_color.rgb = colour


def fill_pattern(plotted: Any, colour: str, shape: str) -> None:
    """A fill that can be told apart without colour."""
    plotted.format.fill.solid()
    plotted.format.fill.fore_color.rgb = RGBColor.from_string(colour.lstrip("#"))
    if shape not in PATTERNS:
        return
    look = plotted._element.find(qn("c:spPr"))
    look.remove(look.find(qn("a:solidFill")))
    fill = etree.Element(qn("a:pattFill"), prst=PATTERNS[shape])
    for side, value in (("a:fgClr", "FFFFFF"), ("a:bgClr", colour.lstrip("#"))):
        etree.SubElement(etree.SubElement(fill, qn(side)), qn("a:srgbClr"), val=value)
    look.insert(0, fill)


def dress_axis(
    axis: Any, title: str, low: float | None, high: float | None, *, percent: bool = False, grid: bool = True
) -> None:
    """Title, ends, ticks and letters of an axis."""
    axis.has_title = bool(title)
    if title:
        axis.axis_title.text_frame.text = title
        letters = axis.axis_title.text_frame.paragraphs[0].runs[0].font
        letters.size, letters.bold, letters.color.rgb = Pt(LABEL_SIZE), False, SOFT
    axis.tick_labels.font.size, axis.tick_labels.font.name = Pt(LABEL_SIZE), FACE
    axis.tick_labels.font.color.rgb = SOFT
    axis.format.line.color.rgb = SOFT
    axis.has_major_gridlines = grid
    if grid:
        axis.major_gridlines.format.line.color.rgb = FAINT
    if high is not None:
        axis.minimum_scale, axis.maximum_scale = low, high
        axis.major_unit = steps_of(high)
        axis.tick_labels.number_format = "0%" if percent else "General"
        axis.tick_labels.number_format_is_linked = False


def in_axis(axis: Any, name: str, value: int) -> None:
    """Set a value of a category axis that the library does not know."""
    found = etree.Element(f"{{{C}}}{name}", val=str(value))
    axis._element.find(qn("c:noMultiLvlLbl")).addprevious(found)


def legend_on_top(drawn: Any, drop: Sequence[int] = ()) -> None:
    """The key on top, without the entries of ``drop``."""
    drawn.has_title = False
    drawn.has_legend = True
    legend = drawn.legend
    legend.position, legend.include_in_layout = XL_LEGEND_POSITION.TOP, False
    legend.font.size, legend.font.color.rgb = Pt(LABEL_SIZE), INK
    place = legend._element.find(qn("c:legendPos"))
    for at in reversed(drop):
        entry = etree.Element(f"{{{C}}}legendEntry")
        child(entry, "idx", str(at))
        child(entry, "delete", "1")
        place.addnext(entry)
