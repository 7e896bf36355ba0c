"""A device run: one catheter through one access site, from insertion to removal."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from django.contrib.postgres.constraints import ExclusionConstraint
from django.contrib.postgres.fields import RangeOperators
from django.db import models
from django.db.models import F, Func, Q

from registry.choices import (
    ROUTE_GROUPS,
    AccessMethod,
    BalloonVolume,
    Closure,
    DeviceClass,
    Duplex,
    EndReason,
    ExchangeReason,
    FilmVerdict,
    Guidance,
    Location,
    Relation,
    Route,
    RouteGroup,
    Sedation,
    Urgency,
)
from registry.choices_extended import CheckAngiogram, PocketSide, RoadmapAccess, Securement
from registry.fields import PRACTICE, Code, Codes, Day, Label, Moment, Number, Whole, Words, YesNo
from registry.models.base import Record, logbook_record

if TYPE_CHECKING:
    from registry.models.user import User

AXILLARY_ROUTES = [route for route, group in ROUTE_GROUPS.items() if group == RouteGroup.AXILLARY]
FEMORAL_ROUTES = [route for route, group in ROUTE_GROUPS.items() if group == RouteGroup.FEMORAL]
REPLACES_A_CATHETER = [Relation.SAME_SITE, Relation.NEW_SITE, Relation.CROSSOVER]


class RunQuerySet(models.QuerySet["Run"]):
    def seen_by(self, user: User) -> RunQuerySet:
        """Runs of courses at the user's own centre."""
        return self.filter(course__centre_id=user.centre_id) if user.centre_id else self.none()

    def balloon_pumps(self) -> RunQuerySet:
        return self.filter(device_class=DeviceClass.IABP)

    def axillary(self) -> RunQuerySet:
        return self.filter(route__in=AXILLARY_ROUTES)

    def femoral(self) -> RunQuerySet:
        return self.filter(route__in=FEMORAL_ROUTES)

    def in_place(self) -> RunQuerySet:
        return self.filter(removed_at__isnull=True)


class Period(Func):
    """The time a catheter lay in place, as a range that includes its start and not its end."""

    function = "TSTZRANGE"
    output_field = models.Field()


@logbook_record("run")
class Run(Record):
    course = models.ForeignKey("registry.Course", on_delete=models.PROTECT, related_name="runs")
    # The patient stands here too, tied to the course's by a compound key, so that the database itself can
    # refuse two balloon pumps in one aorta.
    patient = models.ForeignKey("registry.Patient", on_delete=models.PROTECT, related_name="runs")
    run_no = Whole("run number", hard=(1, 99))

    inserted_at = Moment("inserted", help_text="Balloon catheter in the aorta.")
    device_class = Code("device", choices=DeviceClass.choices, default=DeviceClass.IABP)
    route = Code("route and side", choices=Route.choices)
    access_method = Code(
        "access", choices=AccessMethod.choices, source="Nishida H et al., Ann Thorac Surg 2021;111:1264–1270"
    )
    guidance = Codes("guidance", codes=Guidance, source=PRACTICE)
    balloon_volume_ml = Code(
        "balloon volume", unit="mL", choices=BalloonVolume.choices, blank=True, source="instructions for use"
    )
    catheter_fr = Number(
        "catheter size", unit="Fr", null=True, blank=True, hard=(5, 30), soft=(7, 8), source=PRACTICE
    )
    operator_code = Label("operator code", max_length=12, help_text="The programme’s code, never a name.")
    location = Code("where", choices=Location.choices)
    urgency = Code("urgency", choices=Urgency.choices)
    first_position = Code("first position verdict", choices=FilmVerdict.choices, blank=True, source=PRACTICE)
    technical_success = YesNo(
        "technical success", help_text="Pump working through this artery at the end of the procedure."
    )
    relation = Code("relation to the run before", choices=Relation.choices, default=Relation.FIRST)
    replaces = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="successors"
    )
    exchange_reason = Code(
        "reason for the change", choices=ExchangeReason.choices, blank=True, source=PRACTICE
    )

    removed_at = Moment("removed", null=True, blank=True, help_text="Catheter out. Empty while in place.")
    end_reason = Code("why the run ended", choices=EndReason.choices, blank=True)
    closure = Code("closure", choices=Closure.choices, blank=True, source=PRACTICE)
    closure_success = YesNo("haemostasis without an unplanned step", null=True, blank=True)

    pump_on_at = Moment("counterpulsation began", null=True, blank=True, group="procedure")
    second_operator_code = Label(
        "second operator code", max_length=12, blank=True, default="", group="procedure"
    )
    sedation = Code("anaesthesia", choices=Sedation.choices, blank=True, group="procedure", source=PRACTICE)
    puncture_attempts = Whole(
        "skin punctures", null=True, blank=True, hard=(1, 20), soft=(1, 3), group="procedure"
    )
    micropuncture = YesNo("micropuncture needle", null=True, blank=True, group="procedure", source=PRACTICE)
    sheath_fr = Number(
        "sheath, 0 for none",
        unit="Fr",
        null=True,
        blank=True,
        hard=(0, 14),
        soft=(0, 9),
        group="procedure",
        source=PRACTICE,
    )
    balloon_length_mm = Whole(
        "membrane length from the label",
        unit="mm",
        null=True,
        blank=True,
        hard=(150, 320),
        soft=(220, 275),
        group="procedure",
        source="Parissis H, J Cardiothorac Surg 2011;6:95",
    )
    procedure_min = Whole(
        "procedure time", unit="min", null=True, blank=True, hard=(1, 600), soft=(5, 180), group="procedure"
    )
    fluoroscopy_min = Number(
        "fluoroscopy", unit="min", null=True, blank=True, hard=(0, 200), soft=(0, 60), group="procedure"
    )
    dose_mgy = Number("radiation dose", unit="mGy", null=True, blank=True, hard=(0, 20000), group="procedure")
    contrast_ml = Whole(
        "contrast", unit="mL", null=True, blank=True, hard=(0, 600), soft=(0, 150), group="procedure"
    )
    standby_min = Whole(
        "old pump on standby",
        unit="min",
        null=True,
        blank=True,
        hard=(0, 240),
        soft=(0, 30),
        group="procedure",
        source=PRACTICE,
    )
    roadmap_access = Code(
        "where the guiding wire came from",
        choices=RoadmapAccess.choices,
        blank=True,
        group="procedure",
        source=PRACTICE,
    )
    needle_angle_deg = Whole(
        "needle to skin",
        unit="degrees",
        null=True,
        blank=True,
        hard=(10, 90),
        soft=(45, 60),
        group="procedure",
        source=PRACTICE,
    )
    puncture_pocket = Code(
        "puncture and pacemaker pocket",
        choices=PocketSide.choices,
        blank=True,
        group="procedure",
        source=PRACTICE,
    )
    puncture_outside_cage = YesNo(
        "puncture outside the rib cage", null=True, blank=True, group="procedure", source=PRACTICE
    )
    check_angiogram = Code(
        "contrast check of the artery",
        choices=CheckAngiogram.choices,
        blank=True,
        group="procedure",
        source=PRACTICE,
    )
    stiff_wire = YesNo(
        "stiff wire used because the sheath buckled",
        null=True,
        blank=True,
        group="procedure",
        source=PRACTICE,
    )
    securement = Codes("held by", codes=Securement, blank=True, group="procedure", source=PRACTICE)
    udi_di = Label(
        "device identifier",
        max_length=40,
        blank=True,
        default="",
        group="device",
        source="21 CFR 801.40 (from memory)",
        help_text="The fixed part of the code on the box: it names maker and model.",
    )
    lot = Label("lot number", max_length=20, blank=True, default="", group="device")
    serial = Label("serial number", max_length=20, blank=True, default="", group="device")
    expires_on = Day("expiry date", null=True, blank=True, group="device")
    udi_raw = Label(
        "code as scanned",
        max_length=200,
        blank=True,
        default="",
        group="device",
        help_text="Kept as it came, so that a reading can be checked later.",
    )
    console_code = Label("drive console", max_length=20, blank=True, default="", group="device")
    compression_min = Whole(
        "manual compression",
        unit="min",
        null=True,
        blank=True,
        hard=(0, 180),
        soft=(5, 60),
        group="removal",
        source="Tayal R et al., J Interv Cardiol 2020, doi:10.1155/2020/8375878",
    )
    catheter_intact = YesNo(
        "catheter inspected and intact", null=True, blank=True, group="removal", source=PRACTICE
    )
    duplex_after = Code(
        "duplex after removal", choices=Duplex.choices, blank=True, group="removal", source=PRACTICE
    )
    note = Words("note", help_text="No names, no record numbers.")

    objects = RunQuerySet.as_manager()

    class Meta(Record.Meta):
        ordering = ["course", "run_no"]
        indexes = [models.Index(fields=["inserted_at"], name="run_inserted_at")]
        constraints = [
            models.UniqueConstraint(fields=["course", "run_no"], name="run_number_once"),
            models.UniqueConstraint(fields=["id", "course"], name="run_of_course"),
            models.UniqueConstraint(fields=["id", "patient"], name="run_of_patient"),
            models.CheckConstraint(
                condition=Q(removed_at__isnull=True) | Q(removed_at__gt=F("inserted_at")),
                name="run_removed_after_inserted",
            ),
            models.CheckConstraint(
                condition=Q(removed_at__isnull=True, end_reason="")
                | Q(removed_at__isnull=False) & ~Q(end_reason=""),
                name="run_removal_has_reason",
            ),
            models.CheckConstraint(
                condition=Q(pump_on_at__isnull=True) | Q(pump_on_at__gte=F("inserted_at")),
                name="run_pump_on_after_inserted",
            ),
            models.CheckConstraint(
                condition=Q(run_no=1, relation=Relation.FIRST, replaces__isnull=True)
                | Q(run_no__gt=1, replaces__isnull=False) & ~Q(relation=Relation.FIRST),
                name="run_relation_fits_number",
            ),
            models.CheckConstraint(
                condition=~Q(relation__in=REPLACES_A_CATHETER) | ~Q(exchange_reason=""),
                name="run_exchange_has_reason",
            ),
            models.CheckConstraint(
                condition=~Q(device_class=DeviceClass.IABP) | ~Q(balloon_volume_ml=""),
                name="run_balloon_has_volume",
            ),
            ExclusionConstraint(
                name="run_one_balloon_at_a_time",
                expressions=[
                    ("patient", RangeOperators.EQUAL),
                    (Period("inserted_at", "removed_at"), RangeOperators.OVERLAPS),
                ],
                condition=Q(device_class=DeviceClass.IABP),
                violation_error_message="Two balloon pumps cannot lie in one aorta: these times overlap.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.course} run {self.run_no}"

    @property
    def route_group(self) -> RouteGroup:
        """Axillary (subclavian included), femoral or other; other too while no route is entered."""
        return ROUTE_GROUPS.get(self.route, RouteGroup.OTHER)

    @property
    def is_balloon_pump(self) -> bool:
        return self.device_class == DeviceClass.IABP

    def dwell(self, until: datetime) -> timedelta:
        """Elapsed time in place, up to ``until`` while still in place; clock changes do not count."""
        return (self.removed_at or until) - self.inserted_at
