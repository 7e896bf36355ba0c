"""What was known of the vessels before the route was chosen, and why it was chosen; one for a course."""

from __future__ import annotations

from django.db import models

from registry.choices_extended import (
    ArchState,
    Hand,
    IliofemoralDisease,
    ProcedureConsent,
    RouteReason,
    VesselImaging,
)
from registry.fields import PRACTICE, Code, Codes, Number, Whole, Words, YesNo
from registry.models.base import Record, logbook_record
from registry.models.outcome import CourseRecordQuerySet

GROUP = "screening"
DISTANCE = "Rastan AJ et al. 2010; ASAIO J 2013;59:593–599 (from memory)"


@logbook_record("screening")
class Screening(Record):
    course = models.OneToOneField("registry.Course", on_delete=models.CASCADE, related_name="screening")
    imaging = Codes(
        "imaging of the access route", codes=VesselImaging, blank=True, group=GROUP, source=PRACTICE
    )
    route_reason = Codes(
        "why this route was chosen", codes=RouteReason, blank=True, group=GROUP, source=PRACTICE
    )
    procedure_consent = Code(
        "consent to the procedure", choices=ProcedureConsent.choices, blank=True, group=GROUP
    )
    axillary_lumen_mm = Number(
        "smallest left axillary or subclavian lumen",
        unit="mm",
        null=True,
        blank=True,
        hard=(1, 15),
        soft=(6, 12),
        group=GROUP,
        source=PRACTICE,
    )
    stenosis_pct = Whole(
        "worst stenosis of that artery",
        unit="%",
        null=True,
        blank=True,
        hard=(0, 100),
        soft=(0, 50),
        group=GROUP,
        source=PRACTICE,
    )
    mammary_graft_left = YesNo(
        "left internal mammary graft in use", null=True, blank=True, group=GROUP, source=PRACTICE
    )
    vertebral_dominant_left = YesNo(
        "dominant left vertebral artery or known steal", null=True, blank=True, group=GROUP, source=PRACTICE
    )
    arch = Code("arch and aorta", choices=ArchState.choices, blank=True, group=GROUP, source=PRACTICE)
    subclavian_coeliac_mm = Whole(
        "left subclavian to coeliac distance",
        unit="mm",
        null=True,
        blank=True,
        hard=(120, 350),
        soft=(170, 300),
        group=GROUP,
        source=DISTANCE,
    )
    iliofemoral_disease = Code(
        "iliac or femoral disease",
        choices=IliofemoralDisease.choices,
        blank=True,
        group=GROUP,
        source=PRACTICE,
    )
    dominant_hand = Code("dominant hand", choices=Hand.choices, blank=True, group=GROUP)
    note = Words("note", group=GROUP, help_text="No names, no record numbers.")

    objects = CourseRecordQuerySet.as_manager()

    def __str__(self) -> str:
        return f"{self.course}: vascular screening"
