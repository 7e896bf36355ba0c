"""The daily row: one for every calendar day with a pump in place."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import models

from registry.choices import FilmVerdict, PositionAction
from registry.choices_events import AssistRatio, KinkSeen, LimbNeuro, Mobility, NotMobilised, Pulse, SiteState
from registry.fields import PRACTICE, Code, Codes, Day, Number, Whole, Words, YesNo
from registry.models.base import Record, logbook_record

if TYPE_CHECKING:
    from registry.models.user import User

MARKERS = "Kim JT et al. 2007, level of the carina; common practice, no source"


class DailyCheckQuerySet(models.QuerySet["DailyCheck"]):
    def seen_by(self, user: User) -> DailyCheckQuerySet:
        """Daily rows of courses at the user's own centre."""
        return self.filter(run__course__centre_id=user.centre_id) if user.centre_id else self.none()


@logbook_record("daily_check")
class DailyCheck(Record):
    run = models.ForeignKey("registry.Run", on_delete=models.CASCADE, related_name="checks")
    checked_on = Day("day")
    assist_ratio = Code("assist ratio", choices=AssistRatio.choices, blank=True, source=PRACTICE)
    film_verdict = Code(
        "film verdict",
        choices=FilmVerdict.choices,
        blank=True,
        source=PRACTICE,
        help_text="Empty when no film was taken.",
    )
    position_action = Code("what was done", choices=PositionAction.choices, blank=True, source=PRACTICE)
    kink_seen = Code("kink seen", choices=KinkSeen.choices, blank=True, source=PRACTICE)
    site = Codes("access site", codes=SiteState, blank=True, source=PRACTICE)
    pulse = Code(
        "pulse of the limb",
        choices=Pulse.choices,
        blank=True,
        source="Rutherford RB et al., J Vasc Surg 1997;26:517–538",
    )
    limb_neuro = Code("feeling and movement of the limb", choices=LimbNeuro.choices, blank=True)
    mobility_best = Whole(
        "best mobility level",
        choices=Mobility.choices,
        null=True,
        blank=True,
        hard=(0, 10),
        source="Hodgson C et al., Heart Lung 2014;43:19–24",
        help_text="ICU Mobility Scale. Empty is not zero.",
    )
    not_mobilised = Code("why not mobilised", choices=NotMobilised.choices, blank=True)

    cranial_marker_mm = Whole(
        "cranial marker to carina, + above",
        unit="mm",
        null=True,
        blank=True,
        hard=(-200, 120),
        soft=(-20, 40),
        group="film",
        source=MARKERS,
    )
    augmented_mmhg = Whole(
        "augmented diastolic pressure",
        unit="mmHg",
        null=True,
        blank=True,
        hard=(10, 250),
        soft=(60, 180),
        group="pressures",
        source=PRACTICE,
    )
    map_mmhg = Whole(
        "measured mean pressure",
        unit="mmHg",
        null=True,
        blank=True,
        hard=(20, 200),
        soft=(55, 110),
        group="pressures",
        help_text="The monitor’s mean; never computed from systolic and diastolic on counterpulsation.",
    )
    alarms_24h = Whole(
        "pump alarms in 24 h",
        null=True,
        blank=True,
        hard=(0, 999),
        soft=(0, 10),
        group="pressures",
        source=PRACTICE,
    )
    blood_in_tubing = YesNo(
        "blood in the gas line", null=True, blank=True, group="pressures", source=PRACTICE
    )
    abdominal_pain = YesNo(
        "new abdominal pain",
        null=True,
        blank=True,
        group="labs",
        source="Agrawal T et al., J Card Fail 2018;24(8S):S119–S120",
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
    haemoglobin_g_dl = Number(
        "haemoglobin", unit="g/dL", null=True, blank=True, hard=(2, 25), soft=(6, 18), group="labs"
    )
    platelets_10e9_l = Whole(
        "platelets", unit="10⁹/L", null=True, blank=True, hard=(1, 2000), soft=(50, 500), group="labs"
    )
    lactate_mmol_l = Number(
        "lactate", unit="mmol/L", null=True, blank=True, hard=(0.1, 40), soft=(0.4, 15), group="labs"
    )
    red_cell_units = Whole(
        "red cell units given", null=True, blank=True, hard=(0, 60), soft=(0, 1), group="labs"
    )
    temperature_c = Number(
        "highest temperature", unit="°C", null=True, blank=True, hard=(30, 43), soft=(35, 38), group="labs"
    )
    note = Words("note", help_text="No names, no record numbers.")

    objects = DailyCheckQuerySet.as_manager()

    class Meta(Record.Meta):
        ordering = ["checked_on"]
        constraints = [models.UniqueConstraint(fields=["run", "checked_on"], name="daily_check_once_a_day")]

    def __str__(self) -> str:
        return f"{self.run} on {self.checked_on:%d-%b-%Y}"
