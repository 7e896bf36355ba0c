"""What a person types into each entry page to record something sound, beyond what the page offers itself."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.test import Client
from django.urls import reverse

from registry.choices_events import EventKind
from registry.models import Run
from tests.pages import Data, fill

DEVICE: Data = {
    "run-route": "AXILLARY_L",
    "run-access_method": "PERCUTANEOUS",
    "run-guidance": ["ULTRASOUND"],
    "run-balloon_volume_ml": "40",
    "run-catheter_fr": "7,5",
    "run-operator_code": "OP-2",
    "run-location": "CATH_LAB",
    "run-urgency": "URGENT",
    "run-first_position": "ACCEPTABLE",
    "run-technical_success": "yes",
}
IMPLANT: Data = {
    "patient-study_no": "HB-9001",
    "patient-birth_year": "1961",
    "patient-sex": "F",
    "course-intent": "BTT",
    "course-shock_stage": "C",
    "course-height_cm": "170",
    "run-inserted_at": "t-3 0830",
    **DEVICE,
}
EVENTS: dict[EventKind, Data] = {
    EventKind.REPOSITION: {
        "new-trigger": "FILM", "new-moved": "ADVANCED", "new-place": "FLUORO",
        "new-reposition_success": "yes",
    },
    EventKind.KINK: {
        "new-failure": "KINK", "new-kink_site": "AT_SECUREMENT", "new-severity": "MINOR",
        "new-fixed_by": "RESUTURE",
    },
    EventKind.ACCESS_SITE: {"new-lesion": "HAEMATOMA", "new-severity": "MINOR"},
    EventKind.BLEEDING: {"new-bleed_site": "ACCESS", "new-barc": "2"},
    EventKind.VASCULAR: {"new-lesion": "PERFORATION", "new-severity": "MAJOR"},
    EventKind.LIMB: {"new-limb": "ARM_L", "new-rutherford": "IIa"},
    EventKind.NEURO: {"new-neuro_kind": "3a", "new-neuro_timing": "ON_SUPPORT"},
    EventKind.INFECTION: {"new-infection_kind": "SITE_LOCAL"},
    EventKind.HAEMATOLOGICAL: {"new-severity": "MINOR"},
    EventKind.RENAL: {"new-kidney_stage": "2"},
    EventKind.VISCERAL: {"new-lesion": "VISCERAL_OCCLUSION", "new-severity": "MAJOR"},
    EventKind.NERVE: {"new-severity": "MINOR"},
    EventKind.ARRHYTHMIA: {"new-severity": "MINOR"},
    EventKind.OTHER: {"new-severity": "MINOR"},
}  # fmt: skip


@dataclass(frozen=True)
class EntryPage:
    """An entry page: its address, what is typed there, and the entities that one saving adds."""

    name: str
    typed: Data
    adds: dict[str, int]
    of: str = ""  # "course" or "run": whose identifier stands in the address
    more: tuple[str, ...] = ()

    def url(self, run: Run) -> str:
        owner = {"course": [run.course.public_id], "run": [run.public_id], "": []}[self.of]
        return reverse(self.name, args=[*owner, *self.more])

    def filled(self, client: Client, run: Run, **entries: Any) -> Data:
        """The page as it is sent when filled."""
        return fill(client, self.url(run), **{**self.typed, **entries})


def kind_slug(kind: EventKind) -> str:
    return kind.name.lower().replace("_", "-")


def _event(kind: EventKind) -> EntryPage:
    typed = {"new-onset_at": "t-2 1200", **EVENTS[kind]}
    return EntryPage("new_event", typed, {"event": 1}, of="course", more=(kind_slug(kind),))


PAGES: dict[str, EntryPage] = {
    "implant": EntryPage("new_implant", IMPLANT, {"patient": 1, "course": 1, "run": 1}),
    "failed attempt": EntryPage(
        "new_failed_attempt",
        {
            "patient-study_no": "HB-9002", "patient-birth_year": "1950", "patient-sex": "M",
            "attempt-attempted_at": "t-3 0900", "attempt-intended_route": "AXILLARY_R",
            "attempt-access_method": "PERCUTANEOUS", "attempt-operator_code": "OP-1",
            "attempt-location": "CATH_LAB", "attempt-urgency": "URGENT", "attempt-failure": "NO_PUNCTURE",
        },
        {"patient": 1, "failed_attempt": 1},
    ),
    "candidate": EntryPage(
        "new_candidate",
        {"new-considered_on": "y", "new-route": "FEMORAL", "new-reason": "IMPROVED"},
        {"candidate": 1},
    ),
    "exchange": EntryPage(
        "exchange",
        {
            **DEVICE, "old-removed_at": "t-3 0800", "old-closure": "MANUAL", "old-closure_success": "yes",
            "run-relation": "SAME_SITE_EXCHANGE", "run-exchange_reason": "KINK",
            "run-inserted_at": "t-3 0815",
        },
        {"run": 1},
        of="run",
    ),
    "removal": EntryPage(
        "remove_device", {"run-removed_at": "t-3 0800", "run-end_reason": "WEANED"}, {}, of="run"
    ),
    "further device": EntryPage(
        "further_device",
        {
            **DEVICE, "run-relation": "DEVICE_ESCALATION", "run-exchange_reason": "MORE_SUPPORT",
            "run-inserted_at": "t-3 0815", "run-route": "FEMORAL_R", "run-balloon_volume_ml": None,
            "run-catheter_fr": None,
        },
        {"run": 1},
        of="course",
    ),
    "day": EntryPage("new_check", {"new-checked_on": "t-3"}, {"daily_check": 1}, of="run"),
    "mobilisation": EntryPage(
        "new_mobilisation",
        {"new-started_at": "t-3 1000", "new-level": "7", "new-distance_m": "40"},
        {"mobilisation": 1},
        of="course",
    ),
    "plan change": EntryPage(
        "new_plan_change",
        {"new-changed_at": "t-3 1000", "new-intent": "BTD", "new-reason": "antibodies found"},
        {"plan_change": 1},
        of="course",
    ),
    "follow-up": EntryPage(
        "new_follow_up",
        {"new-point": "30D", "new-seen_on": "t", "new-status": "ALIVE"},
        {"follow_up": 1},
        of="course",
    ),
    "outcome": EntryPage(
        "new_outcome",
        {"new-outcome": "TRANSPLANT", "new-occurred_at": "t-1 1000"},
        {"outcome": 1},
        of="course",
    ),
    "screening": EntryPage(
        "new_screening", {"new-route_reason": ["MOBILITY"]}, {"screening": 1}, of="course"
    ),
    "pressures": EntryPage(
        "new_haemodynamics",
        {"new-measured_at": "t-3 1000", "new-on_support": "IABP", "new-mean_mmhg": "70"},
        {"haemodynamics": 1},
        of="course",
    ),
    "waiting list": EntryPage(
        "new_listing", {"new-tier": "2", "new-began_on": "t-3"}, {"listing_spell": 1}, of="course"
    ),
    **{f"event {kind_slug(kind)}": _event(kind) for kind in EventKind},
}  # fmt: skip
