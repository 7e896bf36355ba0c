"""The geometry of a support course as a picture: runs as bars, what happened as marks."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from django.utils import timezone

from registry.choices_events import OUT_OF_BED_LEVEL, WALK_LEVEL
from registry.models import Course, Run

WIDTH, LEFT, RIGHT = 960, 26, 940
BAR_HEIGHT, LANE, TOP = 16, 46, 22
MARK_LANE = 34
LETTER = 6.6  # how wide a letter of a label is, about
MOST_TICKS = 12


class Scale:
    """From moments to horizontal places, in the drawing's own units."""

    def __init__(self, start: datetime, end: datetime) -> None:
        self.start, self.end = start, max(end, start + timedelta(hours=6))

    def x(self, moment: datetime) -> float:
        share = (moment - self.start) / (self.end - self.start)
        return round(LEFT + min(max(share, 0.0), 1.0) * (RIGHT - LEFT), 1)

    def ticks(self) -> list[dict[str, Any]]:
        """Whole days of support, as many as fit."""
        days = (self.end - self.start) / timedelta(days=1)
        step = next((s for s in (1, 2, 5, 7, 10, 14, 28, 56, 112) if days / s <= MOST_TICKS), 224)
        return [
            {"x": self.x(self.start + timedelta(days=day)), "label": f"day {day}"}
            for day in range(0, int(days) + 1, step)
        ]


def _bar(run: Run, lane: int, scale: Scale, now: datetime) -> dict[str, Any]:
    x, end = scale.x(run.inserted_at), scale.x(run.removed_at or now)
    y = TOP + lane * LANE
    middle = y + BAR_HEIGHT / 2
    width = max(end - x, 3)
    what = (
        run.get_balloon_volume_ml_display() + " mL" if run.is_balloon_pump else run.get_device_class_display()
    )
    label = f"Run {run.run_no}: {run.get_route_display()}, {what}"
    axillary = run.route_group == "AXILLARY"
    start = f"M{x} {y}h7v{BAR_HEIGHT}h-7z" if axillary else f"M{x} {middle}l6 -8l6 8l-6 8z"
    still = f"M{x + width} {y}l8 {BAR_HEIGHT / 2}l-8 {BAR_HEIGHT / 2}" if run.removed_at is None else ""
    return {
        "x": x, "y": y, "width": width, "height": BAR_HEIGHT,
        "route": run.route_group.lower(), "start_path": start, "open_path": still,
        "label": label, "label_x": min(x, RIGHT - LETTER * len(label)), "label_y": y - 6,
    }  # fmt: skip


def _marks(course: Course, scale: Scale, y: int, *, dated: bool) -> list[dict[str, Any]]:
    marks = []

    def when(at: datetime) -> str:
        local = timezone.localtime(at)
        day = (local.date() - timezone.localtime(scale.start).date()).days
        return f"{local:%d-%b-%Y %H:%M}" if dated else f"day {day}"

    for event in course.events.all():
        kind = "event-major" if event.serious else "event-minor"
        marks.append((event.onset_at, kind, f"{event.get_kind_display()}, {when(event.onset_at)}"))
    for session in course.mobilisations.all():
        if session.level >= OUT_OF_BED_LEVEL:
            what = "walked" if session.level >= WALK_LEVEL else "out of bed"
            marks.append((session.started_at, "mobile", f"{what}, {when(session.started_at)}"))
    outcome = getattr(course, "outcome", None)
    if outcome:
        marks.append((outcome.occurred_at, "outcome", outcome.get_outcome_display()))
    return [
        {"x": scale.x(at), "y": y + (0 if kind != "mobile" else 16), "kind": kind, "label": label}
        for at, kind, label in marks
    ]


def draw(course: Course, *, now: datetime, dated: bool = True) -> dict[str, Any] | None:
    """What ``_parts/timeline.html`` needs; None before the first run. Not ``dated``: days, and no number."""
    runs = course.run_list
    if not runs:
        return None
    outcome = getattr(course, "outcome", None)
    ends = [run.removed_at or now for run in runs] + ([outcome.occurred_at] if outcome else [])
    scale = Scale(runs[0].inserted_at, max(ends))
    marks_y = TOP + len(runs) * LANE
    bottom = marks_y + MARK_LANE
    return {
        "title": f"Timeline of {course}" if dated else "Timeline of the course",
        "description": f"{len(runs)} device runs over {(scale.end - scale.start).days} days, listed below.",
        "width": WIDTH,
        "height": bottom + 24,
        "plot_top": 4,
        "plot_bottom": bottom,
        "ticks": scale.ticks(),
        "bars": [_bar(run, lane, scale, now) for lane, run in enumerate(runs)],
        "marks": _marks(course, scale, marks_y, dated=dated),
    }
