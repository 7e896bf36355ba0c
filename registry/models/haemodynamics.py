"""A dated set of pressures and flow; what follows from them is computed when shown and never stored."""

from __future__ import annotations

from typing import Any

from django.db import models

from registry.choices_extended import OnSupport, OutputMethod, SurfaceFormula
from registry.fields import Code, Moment, Number, Whole, Words
from registry.models.base import Record, logbook_record
from registry.models.outcome import CourseRecordQuerySet

GROUP = "haemodynamics"


def pressure(label: str, hard: tuple[int, int], soft: tuple[int, int], **more: Any) -> Whole:
    """An optional pressure column in mmHg."""
    return Whole(label, unit="mmHg", null=True, blank=True, hard=hard, soft=soft, group=GROUP, **more)


@logbook_record("haemodynamics")
class HaemodynamicSet(Record):
    course = models.ForeignKey("registry.Course", on_delete=models.CASCADE, related_name="haemodynamics")
    measured_at = Moment("measured", group=GROUP)
    on_support = Code(
        "measured on",
        choices=OnSupport.choices,
        blank=True,
        group=GROUP,
        help_text="Without it the set cannot be compared with any other.",
    )
    systolic_mmhg = pressure("systolic", (20, 300), (60, 180))
    diastolic_mmhg = pressure("diastolic", (10, 200), (30, 110))
    mean_mmhg = pressure(
        "measured mean",
        (20, 200),
        (40, 130),
        help_text="The monitor’s mean. On a balloon pump nothing is computed from systolic and diastolic.",
    )
    heart_rate_per_min = Whole(
        "heart rate", unit="/min", null=True, blank=True, hard=(0, 300), soft=(40, 160), group=GROUP
    )
    right_atrial_mmhg = pressure("right atrial", (-5, 50), (0, 30))
    pulmonary_systolic_mmhg = pressure("pulmonary systolic", (5, 150), (15, 100))
    pulmonary_diastolic_mmhg = pressure("pulmonary diastolic", (0, 90), (5, 55))
    pulmonary_mean_mmhg = pressure("measured pulmonary mean", (3, 110), (10, 70))
    wedge_mmhg = pressure("wedge", (0, 70), (4, 45))
    output_l_min = Number(
        "cardiac output", unit="L/min", null=True, blank=True, hard=(0.5, 20), soft=(1.5, 10), group=GROUP
    )
    output_method = Code("method of output", choices=OutputMethod.choices, blank=True, group=GROUP)
    mixed_venous_pct = Whole(
        "mixed venous saturation",
        unit="%",
        null=True,
        blank=True,
        hard=(10, 100),
        soft=(30, 85),
        group=GROUP,
    )
    surface_formula = Code(
        "body surface by",
        choices=SurfaceFormula.choices,
        default=SurfaceFormula.MOSTELLER,
        group=GROUP,
        help_text="One formula for all sets of a course.",
    )
    note = Words("note", group=GROUP, help_text="No names, no record numbers.")

    objects = CourseRecordQuerySet.as_manager()

    class Meta(Record.Meta):
        ordering = ["measured_at"]
        constraints = [
            models.UniqueConstraint(fields=["course", "measured_at"], name="haemodynamics_once"),
        ]

    def __str__(self) -> str:
        return f"{self.course}: pressures of {self.measured_at:%d-%b-%Y %H:%M}"
