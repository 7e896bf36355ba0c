"""Small line panels as SVG text."""

from __future__ import annotations

from dataclasses import dataclass
from html import escape

import numpy as np

WIDTH, HEIGHT, GAP, BELOW, LEFT, TOP = 270, 120, 48, 56, 52, 62
FLOOR, NOMINAL = 0.80, 0.95
COLOURS = ("#1b5e8c", "#b3541e", "#3f7d4e")


@dataclass(frozen=True)
class Panel:
    """Coverage against ``x``; several lines share a panel, named in the legend of the figure."""

    title: str
    x: np.ndarray
    lines: tuple[np.ndarray, ...]


def figure(title: str, rows: list[list[Panel]], x_label: str, legend: tuple[str, ...] = ()) -> str:
    """The panels in rows, all with coverage from 80 to 100 % upwards; lower values stay on the floor."""
    wide = LEFT + len(rows[0]) * (WIDTH + GAP)
    high = TOP + len(rows) * (HEIGHT + BELOW)
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide} {high}" role="img" '
        f'font-family="sans-serif" font-size="11"><title>{escape(title)}</title>',
        f'<rect width="{wide}" height="{high}" fill="white"/>',
        f'<text x="{LEFT}" y="18" font-size="14" font-weight="bold">{escape(title)}</text>',
        *_legend(legend),
    ]
    for i, row in enumerate(rows):
        for j, panel in enumerate(row):
            left, top = LEFT + j * (WIDTH + GAP), TOP + i * (HEIGHT + BELOW)
            parts += _panel(panel, left, top, x_label)
    return "\n".join([*parts, "</svg>\n"])


def _legend(legend: tuple[str, ...]) -> list[str]:
    parts, left = [], LEFT
    for name, colour in zip(legend, COLOURS, strict=False):
        parts.append(f'<path d="M{left} 32h18" stroke="{colour}" stroke-width="2"/>')
        parts.append(f'<text x="{left + 23}" y="36">{escape(name)}</text>')
        left += 45 + 7 * len(name)
    return parts


def _panel(panel: Panel, left: int, top: int, x_label: str) -> list[str]:
    low, high = float(panel.x[0]), float(panel.x[-1])

    def across(x: float) -> float:
        return left + (x - low) / (high - low) * WIDTH

    parts = [f'<text x="{left}" y="{top - 6}">{escape(panel.title)}</text>']
    for share in (0.80, 0.85, 0.90, 0.95, 1.00):
        y, strong = _height(share, top), share == NOMINAL
        parts.append(
            f'<path d="M{left} {y:.1f}h{WIDTH}" stroke="{"#444" if strong else "#ccc"}" '
            f'stroke-width="{1 if strong else 0.6}"/>'
        )
        parts.append(f'<text x="{left - 5}" y="{y + 4:.1f}" text-anchor="end">{share * 100:.0f} %</text>')
    for tick in np.linspace(0, high, 6):
        if tick >= low:
            parts.append(
                f'<text x="{across(tick):.1f}" y="{top + HEIGHT + 14}" text-anchor="middle">{tick:g}</text>'
            )
    middle = left + WIDTH / 2
    parts.append(f'<text x="{middle}" y="{top + HEIGHT + 27}" text-anchor="middle">{escape(x_label)}</text>')
    for line, colour in zip(panel.lines, COLOURS, strict=False):
        there = np.isfinite(line)
        steps = " ".join(
            f"{across(x):.1f},{_height(y, top):.1f}" for x, y in zip(panel.x[there], line[there], strict=True)
        )
        parts.append(f'<polyline points="{steps}" fill="none" stroke="{colour}" stroke-width="1.3"/>')
    return parts


def _height(share: float, top: int) -> float:
    return top + (1.0 - max(share, FLOOR)) / (1.0 - FLOOR) * HEIGHT
