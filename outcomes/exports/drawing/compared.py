"""The comparison of the routes: differences around 0, how alike the groups were, chances of a route."""

from __future__ import annotations

from collections.abc import Iterator
from math import ceil

from outcomes.comparison import limits
from outcomes.comparison.page.charts import ComparisonChart
from outcomes.comparison.wording import points
from outcomes.exports.drawing.axes import colour, level_axis, route_key, upright_axis
from outcomes.exports.drawing.canvas import (
    FAINT,
    INK,
    SIZE,
    SOFT,
    Frame,
    Scale,
    ceiling,
    finite,
    line,
    rectangle,
    steps_of,
    text,
)
from outcomes.exports.drawing.curves import WIDTH, Sheet
from outcomes.exports.drawing.intervals import rows_of
from outcomes.figures import Series

NAMES = 206.0  # room for the names of the rows
ROW = 19.0
APART = 3.6  # the marks of one row, from its middle
RADIUS = 3.8
BALANCE_ROW = 15.0
SMALLER = SIZE - 1.5


def reach_of(chart: ComparisonChart) -> float:
    """How far the axis goes to either side: to the farthest value or limit, on a round number."""
    far = [abs(v) for s in chart.series for v in finite((*s.y, *s.lower, *s.upper))]
    step = steps_of(max(far, default=0.1) or 0.1, wanted=3)
    return step * ceil(max(far, default=0.1) / step - 1e-9) or step


def signed_ticks(reach: float) -> list[float]:
    """Round values on both sides of 0."""
    step = steps_of(reach, wanted=3)
    upward = [step * i for i in range(1, round(reach / step) + 1)]
    return [*(-value for value in reversed(upward)), 0.0, *upward]


def difference_words(series: Series, i: int) -> str:
    """``+17 (+3 to +32)`` in percentage points."""
    low, high = series.lower[i], series.upper[i]
    said = points(series.y[i])
    return said if low is None or high is None else f"{said} ({points(low)} to {points(high)})"


def draw_differences(chart: ComparisonChart) -> Sheet:
    """A row an outcome around 0: the first series hollow if there is a second; counts and words right."""
    rows = rows_of(chart)
    reach = reach_of(chart)
    counted = any(note for series in chart.series for note in series.notes)
    columns = 108.0 * len(chart.series) + (98.0 if counted else 0.0)
    frame = Frame(NAMES, WIDTH - columns - 12, 38, 38 + ROW * len(rows))
    scale = Scale(-reach, reach, frame.left, frame.right)
    marks = [*_banding(rows, frame), *_names(rows, frame), *_zero(scale, frame)]
    for at, series in enumerate(chart.series):
        hollow = at == 0 and len(chart.series) > 1
        marks += _row_marks(series, rows, at, len(chart.series), scale, frame, hollow)
    marks += _columns(chart, rows, frame, counted)
    marks += _key(chart, frame)
    marks += _signed_axis(chart.x_title, reach, scale, frame)
    return WIDTH, frame.bottom + 44, marks


def _banding(rows: list[str], frame: Frame) -> Iterator[str]:
    """A faint line under every row leads the eye from the name to the words."""
    for at in range(len(rows)):
        y = frame.top + ROW * (at + 1)
        yield line(0, y, WIDTH, y, stroke="#e8e5dc", width=0.6)


def _names(rows: list[str], frame: Frame, height: float = ROW) -> Iterator[str]:
    for at, name in enumerate(rows):
        yield text(frame.left - 10, frame.top + height * (at + 0.5) + 4, name, anchor="end", size=SMALLER)


def _zero(scale: Scale, frame: Frame) -> Iterator[str]:
    yield line(scale.at(0), frame.top - 4, scale.at(0), frame.bottom, stroke=SOFT, dash="4 3")


def _row_marks(
    series: Series, rows: list[str], at: int, of: int, scale: Scale, frame: Frame, hollow: bool
) -> Iterator[str]:
    ink = SOFT if hollow else INK
    for i, name in enumerate(series.x):
        y = frame.top + ROW * (rows.index(str(name)) + 0.5) + (at - (of - 1) / 2) * 2 * APART
        low, high = series.lower[i], series.upper[i]
        if low is not None and high is not None:
            yield line(scale.at(low), y, scale.at(high), y, stroke=ink, width=1.6)
        yield dot(scale.at(series.y[i]), y, ink, hollow=hollow)


def dot(x: float, y: float, ink: str, *, hollow: bool) -> str:
    """A round mark."""
    fill = "#fff" if hollow else ink
    return f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{RADIUS}" fill="{fill}" stroke="{ink}" stroke-width="1.6"/>'


def _columns(chart: ComparisonChart, rows: list[str], frame: Frame, counted: bool) -> Iterator[str]:
    x = frame.right + 12
    if counted:
        yield text(x, frame.top - 8, "Axillary v femoral", size=SMALLER, fill=SOFT)
        yield from _words(chart.series[0], rows, [*chart.series[0].notes], x, frame)
        x += 98
    for series in chart.series:
        yield text(x, frame.top - 8, series.name, size=SMALLER, fill=SOFT)
        said = [difference_words(series, i) for i in range(len(series.x))]
        yield from _words(series, rows, said, x, frame)
        x += 108


def _words(series: Series, rows: list[str], said: list[str], x: float, frame: Frame) -> Iterator[str]:
    for name, words in zip(series.x, said, strict=True):
        y = frame.top + ROW * (rows.index(str(name)) + 0.5) + 4
        yield text(x, y, words, size=SMALLER)


def _key(chart: ComparisonChart, frame: Frame) -> Iterator[str]:
    if len(chart.series) < 2:
        return
    x = 0.0
    for at, series in enumerate(chart.series):
        yield dot(x + 6, 14, SOFT if at == 0 else INK, hollow=at == 0)
        yield text(x + 16, 18, series.name, size=SMALLER)
        x += 34 + len(series.name) * SIZE * 0.5


def _signed_axis(title: str, reach: float, scale: Scale, frame: Frame, factor: float = 100.0) -> list[str]:
    marks = [line(frame.left, frame.bottom, frame.right, frame.bottom)]
    for value in signed_ticks(reach):
        x = scale.at(value)
        said = f"{value * factor:+g}".replace("-", "−") if value else "0"
        marks.append(line(x, frame.bottom, x, frame.bottom + 4))
        marks.append(text(x, frame.bottom + 17, said, anchor="middle", fill=SOFT, size=SMALLER))
    middle = (frame.left + frame.right) / 2
    return [*marks, text(middle, frame.bottom + 33, title, anchor="middle", fill=SOFT, size=SMALLER)]


def draw_balance(chart: ComparisonChart) -> Sheet:
    """Standardised differences before (hollow) and after weighting, the unremarkable band shaded."""
    rows = rows_of(chart)
    reach = reach_of(chart)
    frame = Frame(NAMES, WIDTH - 16, 30, 30 + BALANCE_ROW * len(rows))
    scale = Scale(-reach, reach, frame.left, frame.right)
    edge = limits.UNBALANCED
    width = scale.at(edge) - scale.at(-edge)
    marks = [rectangle(scale.at(-edge), frame.top, width, frame.bottom - frame.top, fill="#e6ecea")]
    marks += [*_names(rows, frame, BALANCE_ROW), *_zero(scale, frame), *_key(chart, frame)]
    for at, series in enumerate(chart.series):
        hollow = at == 0 and len(chart.series) > 1
        for name, value in zip(series.x, series.y, strict=True):
            y = frame.top + BALANCE_ROW * (rows.index(str(name)) + 0.5)
            marks.append(dot(scale.at(value), y, SOFT if hollow else INK, hollow=hollow))
    marks += _signed_axis(chart.x_title, reach, scale, frame, factor=1.0)
    return WIDTH, frame.bottom + 44, marks


def draw_bins(chart: ComparisonChart) -> Sheet:
    """Bars of both routes beside each other; the femoral ones are hollow, to be told apart without colour."""
    bins = rows_of(chart)
    frame = Frame(62, WIDTH - 16, 34, 190)
    top = ceiling(max((y for s in chart.series for y in s.y), default=1.0) or 1.0)
    values = Scale(0, top, frame.bottom, frame.top)
    across = Scale(0, float(len(bins)), frame.left, frame.right)
    marks = [*upright_axis(chart, values, frame), *route_key(chart, frame.left, 18, lines=False)]
    bar = (across.at(1) - across.at(0)) * 0.36
    for at, series in enumerate(chart.series):
        fill = "#fff" if at else colour(series)
        for name, value in zip(series.x, series.y, strict=True):
            x = across.at(bins.index(str(name)) + 0.5) + (at - 1) * bar
            height = frame.bottom - values.at(value)
            marks.append(rectangle(x, values.at(value), bar, height, fill=fill, stroke=colour(series)))
    for at, name in enumerate(bins):
        x = across.at(at + 0.5)
        marks.append(text(x, frame.bottom + 15, name, anchor="middle", fill=SOFT, size=SIZE - 3))
    marks += level_axis(chart.x_title, [], across, frame, percent=False)
    marks.append(line(frame.left, frame.top, frame.left, frame.bottom, stroke=FAINT))
    return WIDTH, frame.bottom + 44, marks
