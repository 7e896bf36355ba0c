"""The groups of variables that a programme can switch on. What is in none of them is always shown.

A column names its group in the model (``group="film"``); ``docs/tiers.md`` lists them and says why.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Tier:
    """A group of variables: what it is called and what it is for."""

    title: str
    purpose: str


EXTENDED_GROUPS: dict[str, Tier] = {
    "governance": Tier(
        "Basis of the record", "The footing on which a record is held; withdrawal from research."
    ),
    "baseline": Tier("Condition at the start", "Adjusting comparisons for how ill patients were."),
    "risk": Tier("Risk factors", "Adjusting for what makes vascular harm more likely."),
    "labs": Tier("Laboratory values", "Seeing kidney, liver, blood and perfusion change on support."),
    "screening": Tier("Vascular screening", "What the vessels allowed, and why the route was chosen."),
    "procedure": Tier(
        "Procedure", "Learning curves, radiation and contrast, puncture, contrast check and fixation."
    ),
    "device": Tier(
        "Device tracing", "Finding patients by identifier, lot, serial or console when a device is recalled."
    ),
    "removal": Tier("Removal", "How the artery was closed and whether it stayed open."),
    "film": Tier("Measured position", "Marker heights in millimetres, beside the reader’s verdict."),
    "pressures": Tier("Pressures and alarms", "Augmentation, measured mean pressure and alarms each day."),
    "haemodynamics": Tier("Pressures and flow", "Dated sets before and on support, with their indices."),
    "session": Tier("Mobilisation sessions", "Staff, aids and time that mobilisation takes."),
    "listing": Tier("Waiting list", "Tiers with their dates, and a reminder before one expires."),
    "review": Tier("Review of events", "Cause, relation to the device and time of detection, for reviewers."),
}
