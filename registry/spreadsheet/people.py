"""Which patient a row is about: by study number, or by a local record number that the logbook knows."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

from django.db.models.functions import Upper

from registry.models import Centre, Patient, PatientIdentity, Run
from registry.models.base import label_of
from registry.spreadsheet.rows import SheetRow

ALSO_SAID = ("birth_year", "sex")


class People:
    """The patients of a sheet: those the logbook knows, and those it will."""

    def __init__(self, centre: Centre, rows: list[SheetRow]) -> None:
        self.centre = centre
        self.new: list[Patient] = []
        self.identities: list[PatientIdentity] = []
        numbers = {row.get("patient.study_no") for row in rows}
        records = {(row.get("identity.record_number") or "").upper() for row in rows}
        known = Patient.objects.select_related("identity")
        self.known = {patient.study_no: patient for patient in known.filter(study_no__in=numbers)}
        held = PatientIdentity.objects.annotate(number=Upper("record_number"))
        held = held.filter(centre=centre, number__in=records).select_related("patient")
        self.by_record = {identity.number: identity.patient for identity in held}
        self.runs = self._runs_of_known()

    def _runs_of_known(self) -> dict[int, list[Run]]:
        patients = [*self.known.values(), *self.by_record.values()]
        found: dict[int, list[Run]] = defaultdict(list)
        runs = Run.objects.filter(patient__in=patients).select_related("course__outcome", "course__patient")
        for run in runs.order_by("inserted_at"):
            found[run.patient_id].append(run)
        return found

    def runs_of(self, patient: Patient) -> list[Run]:
        """The runs that the logbook has, the earliest first; runs of one course share its object."""
        courses = {run.course_id: run.course for run in reversed(self.runs.get(patient.pk or 0, []))}
        for run in self.runs.get(patient.pk or 0, []):
            run.course = courses[run.course_id]
        return self.runs.get(patient.pk or 0, [])

    def rows_by_patient(self, rows: list[SheetRow]) -> Iterator[tuple[Patient, list[SheetRow]]]:
        """Each patient with the rows about them. A row that names nobody is complained of and left out."""
        found: dict[int, tuple[Patient, list[SheetRow]]] = {}
        for row in rows:
            patient = self.patient_of(row)
            if patient:
                found.setdefault(id(patient), (patient, []))[1].append(row)
        yield from found.values()

    def patient_of(self, row: SheetRow, *, may_be_new: bool = True) -> Patient | None:
        """The patient of a row, a new one if need be; None after a complaint."""
        number, record = row.get("patient.study_no"), row.get("identity.record_number")
        patient = self.known.get(number) if number else self.by_record.get((record or "").upper())
        if patient is None and number and may_be_new:
            patient = self._add(number, record, row)
        if patient is None:
            self._complain_of_nobody(row, number)
        elif patient.centre_id != self.centre.pk:
            row.complain("patient.study_no", "This number is in use at another centre.")
            return None
        else:
            self._compare(patient, row)
        return patient

    def _complain_of_nobody(self, row: SheetRow, number: str | None) -> None:
        if any(problem.column == row.cells.get("patient.study_no", ("",))[0] for problem in row.problems):
            return
        text = (
            f"No patient {number} is in the logbook." if number else "Give the study number of the patient."
        )
        row.complain("patient.study_no", text)

    def _add(self, number: str, record: str | None, row: SheetRow) -> Patient:
        said = {name: row.get(f"patient.{name}") for name in ALSO_SAID}
        others = {
            name.removeprefix("patient."): value
            for name, value in row.values.items()
            if name.startswith("patient.")
        }
        patient = Patient(centre=self.centre, **others)
        for name, value in said.items():
            if value is None:
                row.complain(f"patient.{name}", f"Nothing is recorded for: {label_of(Patient, name)}.")
        self.new.append(patient)
        self.known[number] = patient
        if record:
            self._number(patient, record, row)
        return patient

    def _number(self, patient: Patient, record: str, row: SheetRow) -> None:
        """Give a new patient the record number, unless somebody else has it."""
        holder = self.by_record.setdefault(record.upper(), patient)
        if holder is not patient:
            row.complain("identity.record_number", f"This is the local record number of {holder}.")
        else:
            self.identities.append(PatientIdentity(patient=patient, centre=self.centre, record_number=record))

    def _compare(self, patient: Patient, row: SheetRow) -> None:
        for name in ALSO_SAID:
            said, known = row.get(f"patient.{name}"), getattr(patient, name)
            if said is not None and known not in (None, "") and said != known:
                text = f"{patient} has {known} in another row or in the logbook. Is it the same patient?"
                row.complain(f"patient.{name}", text)
