"""A support course: one continuous episode of temporary support of one patient, whatever the devices."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from django.db import models
from django.db.models import Q

from registry.choices import Aetiology, Intent, PacingDevice, Presentation, ShockStage
from registry.fields import PRACTICE, Code, Moment, Number, Whole, Words, YesNo
from registry.models.base import Record, logbook_record

if TYPE_CHECKING:
    from registry.models.run import Run
    from registry.models.user import User

SCAI = "Naidu SS et al., J Am Coll Cardiol 2022;79:933–946, doi:10.1016/j.jacc.2022.01.018"
PROPOSED = "computed from the entered values when the course was saved; a person decides"
RISK = "Factors linked with femoral vascular harm: Ann Thorac Surg 1994;58:1476–1480"


class CourseQuerySet(models.QuerySet["Course"]):
    def seen_by(self, user: User) -> CourseQuerySet:
        """Courses of the user's own centre."""
        return self.filter(centre_id=user.centre_id) if user.centre_id else self.none()

    def without_outcome(self) -> CourseQuerySet:
        return self.filter(outcome__isnull=True)


@logbook_record("course")
class Course(Record):
    centre = models.ForeignKey("registry.Centre", on_delete=models.PROTECT, related_name="courses")
    patient = models.ForeignKey("registry.Patient", on_delete=models.PROTECT, related_name="courses")
    course_no = Whole("course number", hard=(1, 99))

    intent = Code(
        "intent at the start",
        choices=Intent.choices,
        source=PRACTICE,
        help_text="Frozen once support has begun. A later change of plan is a new, dated entry.",
    )
    shock_stage = Code(
        "shock stage at the decision",
        choices=ShockStage.choices,
        source=SCAI,
        help_text="SCAI stage as judged at the bedside when the device was decided on.",
    )
    proposed_stage = Code(
        "shock stage proposed",
        choices=ShockStage.choices,
        blank=True,
        source=PROPOSED,
        help_text="The least stage that the entered values meet; empty when they say too little.",
    )
    aetiology = Code("cause of heart failure", choices=Aetiology.choices, default=Aetiology.UNKNOWN)
    height_cm = Number("height", unit="cm", null=True, blank=True, hard=(100, 230), soft=(140, 205))
    weight_kg = Number("weight", unit="kg", null=True, blank=True, hard=(25, 300), soft=(40, 160))
    admitted_at = Moment("admitted", null=True, blank=True)
    transferred_in = YesNo(
        "arrived with a device in place",
        default=False,
        help_text="The time before arrival was seen by nobody here and is left out of this programme’s days.",
    )
    arrived_at = Moment("arrived here", null=True, blank=True, help_text="Needed for a transfer in.")

    presentation = Code("presentation", choices=Presentation.choices, blank=True, group="baseline")
    stage_worst_24h = Code(
        "worst stage in the 24 h before",
        choices=ShockStage.choices,
        blank=True,
        group="baseline",
        source=SCAI,
    )
    arrest_modifier = YesNo(
        "arrest with coma or anoxic concern", null=True, blank=True, group="baseline", source=SCAI
    )
    inotropes = YesNo("on an inotrope at the start", null=True, blank=True, group="baseline")
    vasopressors = YesNo("on a vasopressor at the start", null=True, blank=True, group="baseline")
    ventilated = YesNo("ventilated at the start", null=True, blank=True, group="baseline")
    rrt_at_start = YesNo("on renal replacement at the start", null=True, blank=True, group="baseline")
    lvef_pct = Whole(
        "ejection fraction", unit="%", null=True, blank=True, hard=(1, 85), soft=(5, 45), group="baseline"
    )
    lvedd_mm = Whole(
        "LV end-diastolic diameter",
        unit="mm",
        null=True,
        blank=True,
        hard=(20, 120),
        soft=(45, 95),
        group="baseline",
        source="Bhimaraj A et al., JACC Heart Fail 2020;8:313–323",
    )
    diabetes = YesNo("diabetes", null=True, blank=True, group="risk", source=RISK)
    peripheral_disease = YesNo("peripheral artery disease", null=True, blank=True, group="risk", source=RISK)
    prior_stroke = YesNo("previous stroke", null=True, blank=True, group="risk")
    prior_sternotomy = YesNo("previous sternotomy", null=True, blank=True, group="risk")
    smoking = YesNo("smoker", null=True, blank=True, group="risk")
    pacing_device = Code(
        "pacemaker or defibrillator", choices=PacingDevice.choices, blank=True, group="risk", source=PRACTICE
    )
    creatinine_umol_l = Number(
        "creatinine",
        unit="µmol/L",
        places=0,
        null=True,
        blank=True,
        hard=(9, 2210),
        soft=(35, 530),
        group="labs",
    )
    bilirubin_umol_l = Number(
        "bilirubin",
        unit="µmol/L",
        places=0,
        null=True,
        blank=True,
        hard=(1, 900),
        soft=(2, 150),
        group="labs",
    )
    haemoglobin_g_dl = Number(
        "haemoglobin", unit="g/dL", null=True, blank=True, hard=(2, 25), soft=(6, 18), group="labs"
    )
    platelets_10e9_l = Whole(
        "platelets", unit="10⁹/L", null=True, blank=True, hard=(1, 2000), soft=(50, 500), group="labs"
    )
    lactate_mmol_l = Number(
        "lactate",
        unit="mmol/L",
        null=True,
        blank=True,
        hard=(0.1, 40),
        soft=(0.4, 15),
        group="labs",
        source=SCAI,
    )
    sodium_mmol_l = Whole(
        "sodium", unit="mmol/L", null=True, blank=True, hard=(90, 190), soft=(120, 155), group="labs"
    )
    note = Words("note", help_text="No names, no record numbers.")

    objects = CourseQuerySet.as_manager()

    class Meta(Record.Meta):
        ordering = ["patient__study_no", "course_no"]
        constraints = [
            models.UniqueConstraint(fields=["patient", "course_no"], name="course_number_once"),
            models.UniqueConstraint(fields=["id", "patient"], name="course_of_patient"),
            models.CheckConstraint(
                condition=Q(transferred_in=False) | Q(arrived_at__isnull=False),
                name="course_transfer_has_arrival",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.patient.study_no} course {self.course_no}"

    @property
    def run_list(self) -> list[Run]:
        """Runs in order; uses a prefetch when there is one."""
        return sorted(self.runs.all(), key=lambda run: run.run_no)

    @property
    def first_inserted_at(self) -> datetime | None:
        """When the first device went in; None before any run is recorded."""
        return min((run.inserted_at for run in self.runs.all()), default=None)
