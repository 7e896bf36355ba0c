"""A person under a study number; the hospital's own record number is kept apart."""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING

from django.core.validators import RegexValidator
from django.db import models
from django.db.models import Q
from django.db.models.functions import Upper

from registry.choices import BloodGroup, ConsentBasis, Sex
from registry.fields import PRACTICE, Code, Day, Label, Whole, YesNo
from registry.models.base import Record, logbook_record

if TYPE_CHECKING:
    from registry.models.user import User

STUDY_NO = RegexValidator(
    r"^[A-Z0-9][A-Z0-9-]{1,19}$", "Use 2 to 20 capital letters, digits and hyphens, for example HB-0417."
)


class PatientQuerySet(models.QuerySet["Patient"]):
    def seen_by(self, user: User) -> PatientQuerySet:
        """Patients of the user's own centre."""
        return self.filter(centre_id=user.centre_id) if user.centre_id else self.none()

    def matching(self, text: str) -> PatientQuerySet:
        """Patients whose study number or local record number contains the text."""
        return self.filter(Q(study_no__icontains=text) | Q(identity__record_number__iexact=text))


@logbook_record("patient")
class Patient(Record):
    centre = models.ForeignKey("registry.Centre", on_delete=models.PROTECT, related_name="patients")
    study_no = Label(
        "study number",
        max_length=20,
        unique=True,
        validators=[STUDY_NO],
        help_text="Given by the programme; never derived from the record number, name or birth date.",
    )
    birth_year = Whole("year of birth", hard=(1900, 2100))
    sex = Code("sex", choices=Sex.choices)
    blood_group = Code("blood group", choices=BloodGroup.choices, blank=True, source=PRACTICE)
    consent_basis = Code(
        "basis of the record", choices=ConsentBasis.choices, default=ConsentBasis.QUALITY, group="governance"
    )
    consent_on = Day("basis holds from", null=True, blank=True, group="governance")
    withdrawn = YesNo("withdrawn from research use", default=False, group="governance")

    objects = PatientQuerySet.as_manager()

    class Meta(Record.Meta):
        ordering = ["study_no"]
        constraints = [models.UniqueConstraint(fields=["id", "centre"], name="patient_of_centre")]

    def __str__(self) -> str:
        return self.study_no

    @cached_property
    def record_number(self) -> str:
        """The hospital's own number; empty when none is recorded."""
        kept = PatientIdentity.objects.filter(patient_id=self.pk).first() if self.pk else None
        return kept.record_number if kept else ""


class PatientIdentityQuerySet(models.QuerySet["PatientIdentity"]):
    def numbered(self, record_number: str, *, centre_id: int) -> PatientIdentityQuerySet:
        """Who holds this number at the centre; capitals and small letters are the same."""
        return self.filter(centre_id=centre_id, record_number__iexact=record_number)


@logbook_record("identity")
class PatientIdentity(Record):
    """The hospital's own number for a patient. Never exported, never joined to a report."""

    patient = models.OneToOneField(Patient, on_delete=models.CASCADE, related_name="identity")
    # The patient's own, tied to it by a compound key: a number is held by one patient of a centre.
    centre = models.ForeignKey("registry.Centre", on_delete=models.PROTECT, related_name="+")
    record_number = Label("local record number", max_length=30)

    objects = PatientIdentityQuerySet.as_manager()

    class Meta(Record.Meta):
        verbose_name_plural = "patient identities"
        constraints = [
            models.UniqueConstraint(
                "centre",
                Upper("record_number"),
                condition=~Q(record_number=""),
                name="identity_record_number_once",
            ),
        ]

    def __str__(self) -> str:
        return f"identity of {self.patient_id}"
