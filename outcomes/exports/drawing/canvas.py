"""The few marks that static charts are made of, as SVG text."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape
from math import ceil, floor, isfinite, log10

FACE = "'Source Sans 3', 'DejaVu Sans', sans-serif"
INK, SOFT, RULE, FAINT = "#1b2129", "#4c545f", "#757062", "#d8d4c8"
SIZE = 11.5
TICKS = 5
NICE = (1.0, 2.0, 5.0, 10.0)


@dataclass(frozen=True)
class Scale:
    """Places values between ``low`` and ``high`` on the sheet between ``start`` and ``end``, in pixels."""

    low: float
    high: float
    start: float
    end: float

    def at(self, value: float) -> float:
        """Where a value lies; one outside the scale lies on its edge."""
        kept = min(max(value, self.low), self.high)
        share = (kept - self.low) / (self.high - self.low)
        return self.start + share * (self.end - self.start)


@dataclass(frozen=True)
class Frame:
    """The plotting area of a sheet, in pixels."""

    left: float
    right: float
    top: float
    bottom: float


def steps_of(high: float, wanted: int = TICKS) -> float:
    """A round distance between ticks that puts about ``wanted`` of them below ``high``."""
    rough = max(high, 1e-9) / wanted
    power = 10.0 ** floor(log10(rough))
    return next(nice * power for nice in NICE if nice * power >= rough)


def ceiling(high: float) -> float:
    """The first tick at or above a value."""
    step = steps_of(high)
    return step * ceil(high / step - 1e-9)


def ticks(high: float) -> list[float]:
    """Round values from 0 up to ``high``."""
    step = steps_of(high)
    return [step * i for i in range(floor(high / step + 1e-9) + 1)]


def number(value: float) -> str:
    """A coordinate, short."""
    return f"{value:.2f}".rstrip("0").rstrip(".")


def tick_text(value: float, *, percent: bool) -> str:
    """A value as it stands at an axis."""
    return f"{100 * value:.0f}%" if percent else f"{value:g}"


def text(
    x: float,
    y: float,
    words: str,
    *,
    anchor: str = "start",
    size: float = SIZE,
    fill: str = INK,
    turned: bool = False,
) -> str:
    """Words with their base line at ``y``."""
    turn = f' transform="rotate(-90 {number(x)} {number(y)})"' if turned else ""
    return (
        f'<text x="{number(x)}" y="{number(y)}" text-anchor="{anchor}" font-size="{number(size)}" '
        f'fill="{fill}"{turn}>{escape(words)}</text>'
    )


def line(
    x1: float, y1: float, x2: float, y2: float, *, stroke: str = RULE, width: float = 1, dash: str = ""
) -> str:
    """A straight line."""
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    return (
        f'<line x1="{number(x1)}" y1="{number(y1)}" x2="{number(x2)}" y2="{number(y2)}" '
        f'stroke="{stroke}" stroke-width="{number(width)}"{dashed}/>'
    )


def path(
    points: Iterable[tuple[float, float]], *, stroke: str = "none", width: float = 0, dash: str = "",
    fill: str = "none", opacity: float = 1, closed: bool = False,
) -> str:  # fmt: skip
    """A line through points, or an area within them."""
    to = " L".join(f"{number(x)} {number(y)}" for x, y in points)
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    pale = f' fill-opacity="{number(opacity)}"' if opacity < 1 else ""
    return (
        f'<path d="M{to}{" Z" if closed else ""}" fill="{fill}"{pale} stroke="{stroke}" '
        f'stroke-width="{number(width)}"{dashed}/>'
    )


def rectangle(x: float, y: float, width: float, height: float, *, fill: str, stroke: str = "none") -> str:
    """A filled rectangle."""
    return (
        f'<rect x="{number(x)}" y="{number(y)}" width="{number(width)}" height="{number(height)}" '
        f'fill="{fill}" stroke="{stroke}"/>'
    )


def marker(x: float, y: float, symbol: str, fill: str, size: float = 4.5) -> str:
    """A square, a diamond or a circle around a point."""
    if symbol == "circle":
        return f'<circle cx="{number(x)}" cy="{number(y)}" r="{number(size)}" fill="{fill}"/>'
    if symbol == "diamond":
        reach = size * 1.25
        corners = [(x, y - reach), (x + reach, y), (x, y + reach), (x - reach, y)]
        return path(corners, fill=fill, closed=True)
    return rectangle(x - size, y - size, 2 * size, 2 * size, fill=fill)


def stepped(points: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """The corners of a step curve that holds each value until the next point."""
    corners = list(points[:1])
    for x, y in points[1:]:
        corners += [(x, corners[-1][1]), (x, y)]
    return [corner for at, corner in enumerate(corners) if not at or corner != corners[at - 1]]


def sheet(width: float, height: float, marks: Iterable[str], *, id: str, title: str, description: str) -> str:
    """The whole drawing with its name and its description for those who do not see it."""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {number(width)} {number(height)}" '
        f'width="{number(width)}" height="{number(height)}" role="img" '
        f'aria-labelledby="{id}-title {id}-desc" font-family="{FACE}">'
        f'<title id="{id}-title">{escape(title)}</title><desc id="{id}-desc">{escape(description)}</desc>'
        f"{''.join(marks)}</svg>"
    )


def finite(values: Iterable[float | None]) -> list[float]:
    """The values that can be drawn."""
    return [value for value in values if value is not None and isfinite(value)]
