"""An event on a support course: one clinical happening, graded once, however many classes it meets."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import models
from django.db.models import Q

from registry import choices_events as codes
from registry.choices_events import EventKind
from registry.fields import PRACTICE, Code, Codes, Moment, Number, Whole, Words, YesNo
from registry.grading import isth_major
from registry.models.base import Record, label_of, logbook_record

if TYPE_CHECKING:
    from registry.models.user import User

ARC = "Kormos RL et al., J Heart Lung Transplant 2020;39:735–750 (wording from memory)"
BARC = "Mehran R et al., Circulation 2011;123:2736–2747"
VARC = "VARC-3, Eur Heart J 2021;42:1825–1857"
PROPOSED = "computed from the entered values when the event was saved; a person decides"
KDIGO = "KDIGO 2012, Kidney Int Suppl 2012;2:1–138"

# The fields that belong to each kind, in the order they are asked; the first ones are required.
KIND_FIELDS: dict[str, tuple[str, ...]] = {
    EventKind.REPOSITION: ("trigger", "moved", "place", "reposition_success", "from_mm", "to_mm"),
    EventKind.KINK: ("failure", "kink_site", "severity", "fixed_by", "interrupted_min", "device_kept"),
    EventKind.ACCESS_SITE: ("lesion", "severity", "treatment", "haematoma_cm"),
    EventKind.VASCULAR: ("lesion", "severity", "treatment"),
    EventKind.VISCERAL: ("lesion", "severity", "treatment"),
    EventKind.BLEEDING: ("bleed_site", "barc", "haemoglobin_drop_g_dl", "red_cell_units"),
    EventKind.LIMB: ("limb", "rutherford", "limb_action"),
    EventKind.NEURO: ("neuro_kind", "neuro_timing", "nihss_worst", "disabling"),
    EventKind.INFECTION: ("infection_kind", "led_to_removal", "treated_days"),
    EventKind.RENAL: ("kidney_stage", "renal_replacement"),
    EventKind.NERVE: ("severity", "limb"),
    EventKind.HAEMATOLOGICAL: ("severity",),
    EventKind.ARRHYTHMIA: ("severity",),
    EventKind.OTHER: ("severity",),
}
REQUIRED_BY_KIND: dict[str, tuple[str, ...]] = {
    EventKind.REPOSITION: ("trigger", "moved", "place", "reposition_success"),
    EventKind.KINK: ("failure", "severity", "fixed_by"),
    EventKind.ACCESS_SITE: ("lesion", "severity"),
    EventKind.VASCULAR: ("lesion", "severity"),
    EventKind.VISCERAL: ("lesion", "severity"),
    EventKind.BLEEDING: ("bleed_site", "barc"),
    EventKind.LIMB: ("limb", "rutherford"),
    EventKind.NEURO: ("neuro_kind", "neuro_timing"),
    EventKind.INFECTION: ("infection_kind",),
    EventKind.RENAL: ("kidney_stage",),
}
GRADES = (
    ("barc", "proposed_barc"),
    ("rutherford", "proposed_rutherford"),
    ("kidney_stage", "proposed_kidney_stage"),
)
# Harm to the device or by it: such an event names the run it happened on.
NEEDS_RUN = (EventKind.REPOSITION, EventKind.KINK, EventKind.ACCESS_SITE)


class EventQuerySet(models.QuerySet["Event"]):
    def seen_by(self, user: User) -> EventQuerySet:
        """Events of courses at the user's own centre."""
        return self.filter(course__centre_id=user.centre_id) if user.centre_id else self.none()

    def standing(self) -> EventQuerySet:
        """All but those that review found not to be events."""
        return self.exclude(review=codes.ReviewState.REFUTED)


@logbook_record("event")
class Event(Record):
    course = models.ForeignKey("registry.Course", on_delete=models.CASCADE, related_name="events")
    run = models.ForeignKey(
        "registry.Run", on_delete=models.PROTECT, null=True, blank=True, related_name="events"
    )
    event_no = Whole("event number", hard=(1, 999))
    kind = Code("kind", choices=EventKind.choices, source=ARC)
    onset_at = Moment("onset", help_text="Best estimate.")
    onset_precision = Code("onset known", choices=codes.Precision.choices, default=codes.Precision.MINUTE)
    serious = YesNo(
        "serious",
        default=False,
        source="21 CFR 803.3 (from memory)",
        help_text="Death, danger to life, longer stay, lasting harm, or an intervention to prevent these.",
    )
    actions = Codes("action taken", codes=codes.EventAction, blank=True)
    resolution = Code("state now", choices=codes.Resolution.choices, blank=True)
    review = Code("review", choices=codes.ReviewState.choices, default=codes.ReviewState.REPORTED)
    detected_at = Moment("detected", null=True, blank=True, group="review")
    attribution = Code(
        "main cause", choices=codes.Attribution.choices, blank=True, group="review", source=ARC
    )
    relatedness = Code(
        "relation to device or procedure", choices=codes.Relatedness.choices, blank=True, group="review"
    )

    trigger = Code("what prompted it", choices=codes.RepositionTrigger.choices, blank=True, source=PRACTICE)
    moved = Code("moved", choices=codes.RepositionMove.choices, blank=True, source=PRACTICE)
    place = Code("where", choices=codes.RepositionPlace.choices, blank=True)
    reposition_success = YesNo("acceptable afterwards without exchange", null=True, blank=True)
    from_mm = Whole(
        "cranial marker to carina before, + above", unit="mm", null=True, blank=True, hard=(-200, 120)
    )
    to_mm = Whole(
        "cranial marker to carina after, + above", unit="mm", null=True, blank=True, hard=(-200, 120)
    )
    failure = Code("fault", choices=codes.Failure.choices, blank=True, source=ARC)
    kink_site = Code("place of the kink", choices=codes.KinkSite.choices, blank=True, source=PRACTICE)
    fixed_by = Code("fixed by", choices=codes.MalfunctionFix.choices, blank=True, source=PRACTICE)
    interrupted_min = Whole(
        "time without counterpulsation", unit="min", null=True, blank=True, hard=(0, 2880), soft=(0, 30)
    )
    device_kept = YesNo("catheter kept for inspection", null=True, blank=True, source=PRACTICE)
    severity = Code("severity", choices=codes.MajorMinor.choices, blank=True, source=f"{ARC}; {VARC}")
    lesion = Code("lesion", choices=codes.Lesion.choices, blank=True, source=VARC)
    treatment = Code("treatment", choices=codes.VascularTreatment.choices, blank=True, source=VARC)
    haematoma_cm = Number("largest haematoma diameter", unit="cm", null=True, blank=True, hard=(0, 40))
    bleed_site = Code("site of bleeding", choices=codes.BleedSite.choices, blank=True, source=BARC)
    barc = Code("BARC type", choices=codes.Barc.choices, blank=True, source=BARC)
    proposed_barc = Code("BARC type proposed", choices=codes.Barc.choices, blank=True, source=PROPOSED)
    haemoglobin_drop_g_dl = Number(
        "haemoglobin drop",
        unit="g/dL",
        null=True,
        blank=True,
        hard=(0, 20),
        soft=(0, 8),
        source=BARC,
        help_text="Add 1 g/dL for each red cell unit given.",
    )
    red_cell_units = Whole("red cell units in 48 h", null=True, blank=True, hard=(0, 60), source=BARC)
    limb = Code("limb", choices=codes.Limb.choices, blank=True)
    rutherford = Code(
        "ischaemia class",
        choices=codes.Rutherford.choices,
        blank=True,
        source="Rutherford RB et al., J Vasc Surg 1997;26:517–538",
    )
    proposed_rutherford = Code(
        "ischaemia class proposed", choices=codes.Rutherford.choices, blank=True, source=PROPOSED
    )
    limb_action = Code("limb treatment", choices=codes.LimbAction.choices, blank=True)
    neuro_kind = Code(
        "neurological event",
        choices=codes.NeuroKind.choices,
        blank=True,
        source="Lansky AJ et al., J Am Coll Cardiol 2017;69:679–691 (from memory)",
    )
    neuro_timing = Code(
        "timing",
        choices=codes.NeuroTiming.choices,
        blank=True,
        source="Nishida H et al., Ann Thorac Surg 2021;111:1264–1270",
    )
    nihss_worst = Whole("worst NIH Stroke Scale", null=True, blank=True, hard=(0, 42))
    disabling = YesNo("disabling at 90 days", null=True, blank=True)
    infection_kind = Code("infection", choices=codes.InfectionKind.choices, blank=True, source=ARC)
    led_to_removal = YesNo("device removed because of it", null=True, blank=True)
    treated_days = Whole("days of treatment", unit="days", null=True, blank=True, hard=(0, 365))
    kidney_stage = Whole(
        "KDIGO stage", choices=codes.KidneyStage.choices, null=True, blank=True, hard=(1, 3), source=KDIGO
    )
    proposed_kidney_stage = Whole(
        "KDIGO stage proposed",
        choices=codes.KidneyStage.choices,
        null=True,
        blank=True,
        hard=(1, 3),
        source=PROPOSED,
    )
    renal_replacement = YesNo("renal replacement begun", null=True, blank=True, source=KDIGO)
    note = Words("what happened", help_text="No names, no record numbers.")

    objects = EventQuerySet.as_manager()

    class Meta(Record.Meta):
        ordering = ["onset_at", "event_no"]
        indexes = [models.Index(fields=["onset_at"], name="event_onset_at")]
        constraints = [
            models.UniqueConstraint(fields=["course", "event_no"], name="event_number_once"),
            models.CheckConstraint(
                condition=Q(detected_at__isnull=True) | Q(detected_at__gte=models.F("onset_at")),
                name="event_onset_before_detection",
            ),
            models.CheckConstraint(
                condition=~Q(kind__in=NEEDS_RUN) | Q(run__isnull=False), name="event_of_device_names_run"
            ),
            models.CheckConstraint(
                condition=~Q(failure=codes.Failure.KINK) | ~Q(kink_site=""), name="event_kink_has_site"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.course}: {self.get_kind_display()}"

    @property
    def beside_grade(self) -> str:
        """What stands beside the chosen grade: another one that the values proposed, and the other scale."""
        notes = []
        for chosen, kept in GRADES:
            if getattr(self, kept) and getattr(self, kept) != getattr(self, chosen):
                notes.append(f"the entered values proposed {getattr(self, kept)}")
        if self.kind == EventKind.BLEEDING:
            drop = None if self.haemoglobin_drop_g_dl is None else float(self.haemoglobin_drop_g_dl)
            major = isth_major(
                site=self.bleed_site, drop_g_dl=drop, red_cell_units=self.red_cell_units,
                resolution=self.resolution,
            )  # fmt: skip
            notes.append({True: "major by ISTH", False: "not major by ISTH", None: ""}[major])
        return "; ".join(note for note in notes if note)

    @property
    def details(self) -> list[tuple[str, object]]:
        """Label and shown value of the filled fields of this kind."""
        filled = []
        for name in KIND_FIELDS[self.kind]:
            value = getattr(self, name)
            if value not in (None, ""):
                show = getattr(self, f"get_{name}_display", None)
                text = (
                    show()
                    if show
                    else {True: "yes", False: "no"}.get(value, value)
                    if isinstance(value, bool)
                    else value
                )
                filled.append((label_of(type(self), name), text))
        return filled
