"""Invented patients and how they present."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal

from registry.choices import Aetiology, BloodGroup, Intent, Presentation, Sex, ShockStage
from registry.demo.case import Case
from registry.demo.chance import Chance
from registry.models import Centre, Course, Patient

PLANNED_STAGES = {ShockStage.B: 42, ShockStage.C: 50, ShockStage.D: 8}
SHOCK_STAGES = {ShockStage.C: 36, ShockStage.D: 46, ShockStage.E: 18}
PLANNED_INTENTS = {Intent.TRANSPLANT: 68, Intent.DURABLE: 14, Intent.DECISION: 13, Intent.RECOVERY: 5}
SHOCK_INTENTS = {
    Intent.DECISION: 46,
    Intent.RECOVERY: 25,
    Intent.TRANSPLANT: 17,
    Intent.DURABLE: 9,
    Intent.OTHER: 3,
}
CHRONIC_CAUSES = {
    Aetiology.DILATED: 48,
    Aetiology.ISCHAEMIC: 30,
    Aetiology.HYPERTROPHIC: 5,
    Aetiology.RESTRICTIVE: 4,
    Aetiology.VALVULAR: 5,
    Aetiology.CONGENITAL: 2,
    Aetiology.TOXIC: 6,
}
ACUTE_CAUSES = {
    Aetiology.ISCHAEMIC: 44,
    Aetiology.DILATED: 30,
    Aetiology.MYOCARDITIS: 9,
    Aetiology.VALVULAR: 7,
    Aetiology.POSTPARTUM: 3,
    Aetiology.GRAFT_FAILURE: 3,
    Aetiology.UNKNOWN: 4,
}


def new_patient(chance: Chance, centre: Centre, study_no: str, year: int) -> tuple[Patient, int, str]:
    """A patient, the age and an invented record number that has nothing to do with either."""
    age = chance.whole(57, 12, 19, 78)
    blood = {BloodGroup.A: 41, BloodGroup.O: 42, BloodGroup.B: 11, BloodGroup.AB: 5, BloodGroup.UNKNOWN: 1}
    patient = Patient(
        centre=centre,
        study_no=study_no,
        birth_year=year - age,
        sex=chance.pick({Sex.MALE: 75, Sex.FEMALE: 25}),
        blood_group=chance.pick(blood),
    )
    return patient, age, f"DEMO-{chance.randrange(10**6):06d}"


def new_case(
    chance: Chance,
    person: tuple[Patient, int, str],
    *,
    now: datetime,
    start: datetime,
    maturity: float,
    planned: bool,
) -> Case:
    """A case at its first device, with the condition of the patient then."""
    patient, age, record_number = person
    course = Course(centre=patient.centre, patient=patient, course_no=1)
    _condition(chance, course, planned)
    _body(chance, course, patient.sex)
    _baseline(chance, course, planned)
    course.admitted_at = start - _wait(chance, planned)
    case = Case(chance, patient.centre, now, start, maturity, planned, patient, course, record_number, age)
    if not planned and chance.yes(0.11):
        _arrive_on_device(case)
    return case


def _condition(chance: Chance, course: Course, planned: bool) -> None:
    course.shock_stage = chance.pick(PLANNED_STAGES if planned else SHOCK_STAGES)
    course.intent = chance.pick(PLANNED_INTENTS if planned else SHOCK_INTENTS)
    course.aetiology = chance.pick(CHRONIC_CAUSES if planned else ACUTE_CAUSES)


def _body(chance: Chance, course: Course, sex: str) -> None:
    mean = 177 if sex == Sex.MALE else 164
    height = chance.whole(mean, 7, 150, 198)
    course.height_cm = Decimal(height)
    course.weight_kg = Decimal(chance.whole(26.5 * (height / 100) ** 2, 12, 46, 140))


def _baseline(chance: Chance, course: Course, planned: bool) -> None:
    ill = course.shock_stage in (ShockStage.D, ShockStage.E)
    course.presentation = _presentation(chance, course.aetiology, planned)
    order = list(ShockStage.values)
    worse = min(order.index(course.shock_stage) + chance.pick({0: 70, 1: 30}), len(order) - 1)
    course.stage_worst_24h = order[worse]
    course.arrest_modifier = course.shock_stage == ShockStage.E and chance.yes(0.3)
    stable = course.shock_stage == ShockStage.B  # a drug for the circulation would make it stage C
    course.inotropes = chance.yes(0.9 if ill else 0.04 if stable else 0.8)
    course.vasopressors = chance.yes(0.75 if ill else 0 if stable else 0.18)
    course.ventilated = chance.yes(
        {ShockStage.D: 0.3, ShockStage.E: 0.75}.get(ShockStage(course.shock_stage), 0.04)
    )
    course.rrt_at_start = chance.yes(0.12 if ill else 0.03)
    if chance.yes(0.95):
        course.lvef_pct = chance.whole(19, 6, 8, 42)
    if chance.yes(0.85):
        course.lvedd_mm = chance.whole(68 if planned else 62, 9, 46, 92)


def _presentation(chance: Chance, cause: str, planned: bool) -> Presentation:
    if planned:
        return chance.pick({Presentation.CHRONIC: 74, Presentation.ELECTIVE: 26})
    if cause == Aetiology.ISCHAEMIC and chance.yes(0.7):
        return Presentation.INFARCTION
    if cause in (Aetiology.MYOCARDITIS, Aetiology.POSTPARTUM):
        return Presentation.DE_NOVO
    kinds = {Presentation.CHRONIC: 66, Presentation.DE_NOVO: 14, Presentation.POSTCARDIOTOMY: 12}
    return chance.pick({**kinds, Presentation.ARRHYTHMIC: 8})


def _wait(chance: Chance, planned: bool) -> timedelta:
    """From admission to the device: long for the planned, short for the shocked (common practice)."""
    mean_hours = 24 * 7 if planned else 24 * 1.6
    return timedelta(minutes=round(min(chance.expovariate(1 / mean_hours) + 2, 24 * 28) * 60))


def _arrive_on_device(case: Case) -> None:
    """The device went in at another hospital."""
    course = case.course
    course.transferred_in = True
    course.arrived_at = case.start + timedelta(minutes=case.chance.randint(5 * 60, 26 * 60))
    course.admitted_at = course.arrived_at
