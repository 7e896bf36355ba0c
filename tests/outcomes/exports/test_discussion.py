"""Cases for discussion, without anything that names them."""

from __future__ import annotations

from dataclasses import astuple

from outcomes.exports.discussion import discussed
from outcomes.exports.material import Material
from registry.models import Patient
from tests.outcomes.builder import Logbook


def test_the_serious_events_of_the_period(material: Material) -> None:
    told = [(case.day, case.route, case.kind) for case in material.cases]

    assert told == [(2, "Left femoral", "Limb ischaemia"), (3, "Left axillary", "Bleeding")]


def test_nothing_names_a_patient_or_a_day(material: Material, book: Logbook) -> None:
    text = " ".join(str(part) for case in material.cases for part in astuple(case))

    assert not any(patient.study_no in text for patient in Patient.objects.all())
    assert "2026" not in text
    assert book.centre.name not in text


def test_the_order_does_not_follow_the_calendar(book: Logbook) -> None:
    late = book.course()
    book.run(late, "2026-09-10 10:00", "2026-09-20 10:00")
    book.event(late, "2026-09-10 12:00", "BLEEDING", serious=True)

    assert [case.day for case in discussed(book.report("2026-Q3"))] == [0, 2, 3]


def test_an_event_that_names_no_run_belongs_to_the_pump_in_place(book: Logbook) -> None:
    course = book.course()
    book.run(course, "2026-09-10 10:00", "2026-09-12 10:00", route="FEMORAL_R")
    book.event(course, "2026-09-11 12:00", "RENAL", serious=True)
    told = discussed(book.report("2026-Q3"))

    assert ("Right femoral", "Kidney injury", "not graded") in [(c.route, c.kind, c.grade) for c in told]
