"""The outcomes that are compared between the routes, each with its definition."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from outcomes.measures.complications import COMPLICATIONS
from registry.choices_events import EventKind

ANY, SERIOUS = "ANY", "SERIOUS"
DIED, BRIDGED, ESCALATED = "DIED", "BRIDGED", "ESCALATED"
OUT_OF_BED, WALKED = "BED3", "WALK3"
BY_DAY = 3

OF_EVENTS = (
    "At least one such event put down to a balloon pump of the course (as used: of the spell), from "
    "insertion to 24 h after removal. Events that review refuted are left out."
)


@dataclass(frozen=True)
class Endpoint:
    """An outcome that a course has or has not. ``harm`` says that having it is bad."""

    code: str
    label: str
    family: Literal["complication", "composite", "device", "course", "mobilisation"]
    harm: bool
    definition: str

    @property
    def of_events(self) -> bool:
        """Whether it is made of events, which can also be counted per device-day."""
        return self.family in ("complication", "composite", "device")


ENDPOINTS: tuple[Endpoint, ...] = (
    Endpoint(
        SERIOUS, "Any serious complication", "composite", True, f"Any event marked serious. {OF_EVENTS}"
    ),
    Endpoint(ANY, "Any complication", "composite", True, f"Any kind but repositions. {OF_EVENTS}"),
    *(
        Endpoint(kind.value, str(kind.label), "complication", True, OF_EVENTS)
        for kind in EventKind
        if kind in COMPLICATIONS
    ),
    Endpoint(EventKind.REPOSITION.value, "Reposition", "device", True, OF_EVENTS),
    Endpoint(
        DIED,
        "Died on support, or support withdrawn",
        "course",
        True,
        "Among courses that have their outcome (as used: the last spell of the course).",
    ),
    Endpoint(
        BRIDGED,
        "Bridged to any therapy",
        "course",
        False,
        "Transplant, durable pump or weaned, among courses that have their outcome.",
    ),
    Endpoint(
        ESCALATED,
        "Escalated to greater support",
        "course",
        True,
        "Insertion of a device for greater support, among courses that have their outcome or were escalated.",
    ),
    Endpoint(
        OUT_OF_BED,
        "Out of bed by day 3",
        "mobilisation",
        False,
        "Level 4 or more on the ICU Mobility Scale by day 3 (insertion is day 0), among those followed that "
        "long.",
    ),
    Endpoint(
        WALKED,
        "Walked by day 3",
        "mobilisation",
        False,
        "Level 7 or more on the ICU Mobility Scale by day 3 (insertion is day 0), among those followed that "
        "long.",
    ),
)
BY_CODE = {endpoint.code: endpoint for endpoint in ENDPOINTS}
