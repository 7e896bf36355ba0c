"""Which logbook column a heading means."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from difflib import SequenceMatcher
from functools import cache, cached_property, lru_cache
from typing import Any

from django.db.models import TextChoices
from django.utils.text import capfirst

from registry.fields import Moment
from registry.forms.base import SET_BY_US
from registry.models import Course, CourseOutcome, Event, Patient, PatientIdentity, Record, Run
from registry.spreadsheet.header import plain

CLOSE_ENOUGH = 0.84
LAST_PART_ALONE = 0.95  # a heading under a merged parent means a little less by itself


class Layout(TextChoices):
    """What one row of the sheet stands for."""

    RUNS = "runs", "One device run, with its patient, course and outcome"
    EVENTS = "events", "One event of a patient already in the logbook"


class Part(TextChoices):
    """Which part of a day with its time a column holds."""

    WHOLE = "", "day and time"
    DAY = "day", "day"
    CLOCK = "time", "time of day"


@dataclass(frozen=True)
class Target:
    """A logbook column, or the day or the time of one, that a column of a sheet can hold."""

    model: type[Record]
    name: str
    part: Part = Part.WHOLE

    @property
    def id(self) -> str:
        """The name it is stored under, such as ``run.inserted_at:day``."""
        return f"{self.base}:{self.part.value}" if self.part else self.base

    @property
    def base(self) -> str:
        return f"{self.model.entity}.{self.name}"

    @cached_property
    def field(self) -> Any:
        """The column of the model."""
        return self.model._meta.get_field(self.name)

    @property
    def label(self) -> str:
        """What people call it."""
        label = capfirst(str(self.field.verbose_name))
        if isinstance(self.field, Moment):
            return f"{label}: {self.part.label}"
        return f"{label}, {self.field.unit}" if getattr(self.field, "unit", "") else label

    @property
    def required(self) -> bool:
        """Whether a record cannot be without it."""
        return not (self.field.null or self.field.blank or self.field.has_default())


MODELS: dict[str, tuple[type[Record], ...]] = {
    Layout.RUNS: (Patient, PatientIdentity, Course, Run, CourseOutcome),
    Layout.EVENTS: (Patient, PatientIdentity, Event),
}
ONLY_TO_FIND = {"study_no", "record_number"}  # of the patient's columns, in a sheet of events
TITLES = {"identity": "Patient", "outcome": "Outcome of the course"}


@cache
def targets(layout: str) -> dict[str, Target]:
    """Every logbook column that a sheet of this layout can hold, by its name."""
    return {target.id: target for target in _targets(layout)}


def _targets(layout: str) -> Iterator[Target]:
    for model in MODELS[layout]:
        for field in model.described():
            if field.name in SET_BY_US:
                continue
            if layout == Layout.EVENTS and model is not Event and field.name not in ONLY_TO_FIND:
                continue
            for part in Part if isinstance(field, Moment) else (Part.WHOLE,):
                yield Target(model, field.name, part)


def grouped(layout: str) -> list[tuple[str, list[tuple[str, str]]]]:
    """The targets as the groups of a list to choose from."""
    groups: dict[str, list[tuple[str, str]]] = {}
    for target in targets(layout).values():
        title = TITLES.get(target.model.entity) or capfirst(str(target.model._meta.verbose_name))
        groups.setdefault(title, []).append((target.id, target.label))
    return list(groups.items())


# What people write above their columns. Words of the trade; common practice, no source.
KNOWN_HEADINGS: dict[str, tuple[str, ...]] = {
    "patient.study_no": ("study number", "study id", "study no", "patient", "patient id", "subject", "pt id"),
    "patient.birth_year": ("year of birth", "birth year", "yob", "born", "date of birth", "dob"),
    "patient.sex": ("sex", "gender", "m f"),
    "identity.record_number": ("mrn", "record number", "hospital number", "local record number"),
    "course.intent": ("intent", "strategy", "indication", "bridge to", "plan"),
    "course.shock_stage": ("scai", "scai stage", "shock stage", "stage"),
    "course.aetiology": ("aetiology", "etiology", "cause", "diagnosis", "cardiomyopathy"),
    "course.height_cm": ("height", "ht"),
    "course.weight_kg": ("weight", "wt"),
    "course.creatinine_umol_l": ("creatinine", "creat", "cr"),
    "course.bilirubin_umol_l": ("bilirubin", "bili"),
    "course.haemoglobin_g_dl": ("haemoglobin", "hemoglobin", "hb", "hgb"),
    "course.platelets_10e9_l": ("platelets", "plt"),
    "course.lactate_mmol_l": ("lactate",),
    "course.lvef_pct": ("lvef", "ef", "ejection fraction"),
    "run.inserted_at": ("inserted", "insertion", "implanted", "implant", "placed", "in", "iabp in"),
    "run.inserted_at:day": (
        "insertion date", "date of insertion", "implant date", "date placed", "date in", "date of implant",
    ),
    "run.inserted_at:time": ("insertion time", "time of insertion", "implant time", "time placed", "time in"),
    "run.removed_at": ("removed", "removal", "explanted", "explant", "out", "pump out", "iabp out"),
    "run.removed_at:day": (
        "removal date", "date of removal", "explant date", "date removed", "date out", "date of explant",
    ),
    "run.removed_at:time": ("removal time", "time of removal", "explant time", "time removed", "time out"),
    "run.route": ("route", "access site", "site", "artery", "side", "access route", "approach"),
    "run.access_method": ("access", "access method", "technique", "method"),
    "run.guidance": ("guidance", "imaging", "imaging guidance"),
    "run.balloon_volume_ml": ("balloon", "balloon size", "balloon volume", "volume", "cc", "size"),
    "run.catheter_fr": ("catheter", "catheter size", "cath", "french", "fr"),
    "run.operator_code": ("operator", "physician code", "operator code", "implanter"),
    "run.location": ("where", "location", "place", "lab"),
    "run.urgency": ("urgency", "priority"),
    "run.technical_success": ("success", "technical success", "successful"),
    "run.first_position": ("first film", "first position", "position"),
    "run.exchange_reason": ("reason for exchange", "exchange reason", "why exchanged"),
    "run.end_reason": ("reason for removal", "removal reason", "why removed", "why removal", "end reason"),
    "run.closure": ("closure", "haemostasis", "hemostasis"),
    "run.lot": ("lot", "lot number", "lot no"),
    "run.serial": ("serial", "serial number", "serial no", "sn"),
    "run.expires_on": ("expiry", "expiry date", "expires", "exp date"),
    "run.udi_di": ("udi", "di", "gtin", "device identifier"),
    "run.console_code": ("console", "drive console", "pump number"),
    "run.note": ("comment", "comments", "notes", "remarks"),
    "outcome.outcome": ("outcome", "final outcome", "course outcome", "result"),
    "outcome.occurred_at": ("outcome at", "date and time of outcome"),
    "outcome.occurred_at:day": ("outcome date", "date of outcome", "transplant date"),
    "outcome.discharged_on": ("discharge", "discharge date", "left hospital"),
    "event.kind": ("event", "complication", "kind", "type of event", "event type", "what happened"),
    "event.onset_at": ("onset", "when"),
    "event.onset_at:day": ("event date", "date", "date of event", "onset date"),
    "event.onset_at:time": ("event time", "time", "time of event", "onset time"),
    "event.bleed_site": ("site", "bleeding site"),
    "event.note": ("comment", "comments", "notes", "remarks", "description"),
}  # fmt: skip


@lru_cache(maxsize=10_000)
def fold(text: str) -> str:
    """A heading or word as compared: no capitals, no signs, no unit in brackets."""
    without_unit = re.sub(r"[(\[][^)\]]*[)\]]", " ", plain(text).casefold())
    return " ".join(re.findall(r"[^\W_]+", without_unit)) or " ".join(
        re.findall(r"[^\W_]+", plain(text).casefold())
    )


def guess(headings: Iterable[str], layout: str) -> dict[int, str]:
    """A target for each heading that means one, each target once; the closest heading has it."""
    known = targets(layout)
    scored = [
        (score, -place, target)
        for place, heading in enumerate(headings)
        for target, score in _scores(heading, known)
    ]
    found: dict[int, str] = {}
    for _, negative, target in sorted(scored, key=lambda one: (-one[0], -one[1])):
        if -negative not in found and target not in found.values():
            found[-negative] = target
    return found


def _scores(heading: str, known: dict[str, Target]) -> Iterator[tuple[str, float]]:
    parts = [fold(part) for part in heading.split(" / ")]
    ways = ((fold(heading), 1.0), (" ".join(reversed(parts)), 1.0), (parts[-1], LAST_PART_ALONE))
    for target in known.values():
        score = max(_likeness(words, name) * weight for words, weight in ways for name in _names(target))
        if score >= CLOSE_ENOUGH:
            yield target.id, score


@cache
def _names(target: Target) -> tuple[str, ...]:
    own = (fold(str(target.field.verbose_name)), fold(target.name)) if not target.part else ()
    parts = () if not target.part else (f"{fold(str(target.field.verbose_name))} {target.part.value}",)
    return (*own, *parts, *KNOWN_HEADINGS.get(target.id, ()))


def _likeness(one: str, other: str) -> float:
    if one == other:
        return 1.0
    if min(len(one), len(other)) < 5:
        return 0.0  # short words are too often alike
    return SequenceMatcher(None, one, other).ratio() * 0.99
