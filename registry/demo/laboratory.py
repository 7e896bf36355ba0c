"""Blood values before and on support. They follow the events: an injured kidney, a bleed, a fever show."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any

from registry.choices import Sex, ShockStage
from registry.choices_events import EventKind, InfectionKind, MajorMinor
from registry.demo.case import Case
from registry.demo.chance import Chance, tenth
from registry.models import DailyCheck, Event

CREATININE_UMOL_L = {ShockStage.B: 104, ShockStage.C: 118, ShockStage.D: 142, ShockStage.E: 160}
BILIRUBIN_UMOL_L = {ShockStage.B: 17, ShockStage.C: 22, ShockStage.D: 32, ShockStage.E: 38}
# Below 2 is no hypoperfusion, from 8 on is extremis: the bedside stage and the value agree.
LACTATE_MMOL_L = {
    ShockStage.B: (0.8, 1.8),
    ShockStage.C: (1.4, 3.9),
    ShockStage.D: (2.6, 7.0),
    ShockStage.E: (5.6, 12.5),
}
# How many times the creatinine of the start is reached in each KDIGO stage.
INJURY = {1: (1.55, 1.85), 2: (2.05, 2.8), 3: (3.05, 3.4)}
STAGE_3_UMOL_L, HIGHEST_UMOL_L = 353, 520
FEVER = (InfectionKind.PNEUMONIA, InfectionKind.BLOODSTREAM_DEVICE, InfectionKind.BLOODSTREAM_OTHER)
LOST_DRAW, LOST_VALUE = 0.04, 0.03


@dataclass
class Blood:
    """The values of one course; those of a day are the same whichever pump its row belongs to."""

    case: Case
    chance: Chance
    creatinine_umol_l: float = 0
    haemoglobin_g_dl: float = 0
    platelets_10e9_l: float = 0
    lactate_mmol_l: float = 0
    injuries: list[tuple[date, float]] = field(default_factory=list)
    days: dict[date, dict[str, Any]] = field(default_factory=dict)

    def events(self, *kinds: EventKind) -> list[tuple[date, Event]]:
        return [(self.case.day(event.onset_at), event) for event in self.case.events if event.kind in kinds]


def draw_blood(case: Case, chance: Chance) -> None:
    """Values at the start on the course, then those of every daily row."""
    blood = Blood(case, chance)
    _start(blood)
    for check in case.checks:
        values = blood.days.get(check.checked_on)
        if values is None:
            values = blood.days[check.checked_on] = _lose(chance, _day(blood, check))
        for name, value in values.items():
            setattr(check, name, value)


# At the start


def _start(blood: Blood) -> None:
    case, chance, course = blood.case, blood.chance, blood.case.course
    stage = ShockStage(course.shock_stage)
    blood.creatinine_umol_l = _creatinine_at_start(blood, stage)
    male = case.patient.sex == Sex.MALE
    blood.haemoglobin_g_dl = chance.bell(12.7 if male else 11.8, 1.6, 8.4, 16.4)
    blood.platelets_10e9_l = chance.bell(212, 58, 98, 420)
    blood.lactate_mmol_l = chance.uniform(*LACTATE_MMOL_L[stage])
    lognormal = math.exp(chance.gauss(0, 0.4))
    course.creatinine_umol_l = chance.kept(Decimal(round(blood.creatinine_umol_l)))
    course.bilirubin_umol_l = chance.kept(
        Decimal(round(min(max(BILIRUBIN_UMOL_L[stage] * lognormal, 5), 140))), 0.07
    )
    course.haemoglobin_g_dl = chance.kept(tenth(blood.haemoglobin_g_dl), LOST_VALUE)
    course.platelets_10e9_l = chance.kept(round(blood.platelets_10e9_l), LOST_VALUE)
    course.lactate_mmol_l = chance.kept(tenth(blood.lactate_mmol_l), 0.06)
    course.sodium_mmol_l = chance.kept(chance.whole(134, 4, 122, 145))


def _creatinine_at_start(blood: Blood, stage: ShockStage) -> float:
    """Such that an injury during the course reaches its stage and no higher one."""
    chance = blood.chance
    if blood.case.course.rrt_at_start:
        return chance.bell(310, 60, 200, 430)
    value = min(max(CREATININE_UMOL_L[stage] * math.exp(chance.gauss(0, 0.24)), 58), 260)
    for day, event in blood.events(EventKind.RENAL):
        times = chance.uniform(*INJURY[event.kidney_stage or 1])
        highest = HIGHEST_UMOL_L if event.kidney_stage == 3 else STAGE_3_UMOL_L
        value = min(value, (highest - 5) / times)
        blood.injuries.append((day, times))
    return value


# Day by day


def _day(blood: Blood, check: DailyCheck) -> dict[str, Any]:
    on = check.checked_on
    number = max((on - blood.case.day(blood.case.start)).days, 0)
    return {
        "creatinine_umol_l": Decimal(round(_creatinine(blood, on, number))),
        "haemoglobin_g_dl": tenth(_haemoglobin(blood, on, number)),
        "platelets_10e9_l": round(_platelets(blood, on, number)),
        "lactate_mmol_l": tenth(_lactate(blood, on, number)),
        "temperature_c": tenth(_temperature(blood, on)),
        "red_cell_units": _red_cells(blood, on),
        "abdominal_pain": any(0 <= (on - day).days <= 1 for day, _ in blood.events(EventKind.VISCERAL)),
    }


def _lose(chance: Chance, values: dict[str, Any]) -> dict[str, Any]:
    """Now and then no blood was drawn, or one value is not written down."""
    if chance.yes(LOST_DRAW):
        return {}
    return {name: chance.kept(value, LOST_VALUE) for name, value in values.items()}


def _creatinine(blood: Blood, on: date, number: int) -> float:
    """Better flow clears it slowly; an injury peaks on its day and wears off over a fortnight."""
    noise = blood.chance.bell(1, 0.03, 0.94, 1.06)
    steady = blood.creatinine_umol_l * (0.86 + 0.14 * math.exp(-number / 4)) * noise
    injured = [blood.creatinine_umol_l * _injury((on - day).days, times) for day, times in blood.injuries]
    return min(max([steady, *injured]), HIGHEST_UMOL_L)


def _injury(age: int, times: float) -> float:
    if age < -1:
        return 0
    if age == -1:
        return 1 + 0.35 * (times - 1)
    return 1 + (times - 1) * math.exp(-age / 7) if age else times


def _haemoglobin(blood: Blood, on: date, number: int) -> float:
    """It drifts down with blood draws; a bleed shows less what was given back."""
    value = blood.haemoglobin_g_dl - 1.5 * (1 - math.exp(-number / 4)) + blood.chance.gauss(0, 0.2)
    for day, event in blood.events(EventKind.BLEEDING):
        age = (on - day).days
        if age >= 0:
            drop = float(event.haemoglobin_drop_g_dl or 0) - (event.red_cell_units or 0)
            value -= max(drop, 0) * math.exp(-age / 8)
    return min(max(value, 6.6), 17)


def _platelets(blood: Blood, on: date, number: int) -> float:
    """A pump costs about a quarter of them within four days; they come back (common practice)."""
    consumed = 0.26 * min(number / 4, 1) * math.exp(-max(number - 5, 0) / 9)
    value = max(blood.platelets_10e9_l * (1 - consumed) * blood.chance.bell(1, 0.05, 0.88, 1.12), 62)
    for day, event in blood.events(EventKind.HAEMATOLOGICAL):
        if 0 <= (on - day).days <= 2:
            low, high = (36, 49) if event.severity == MajorMinor.MAJOR else (54, 88)
            value = min(value, blood.chance.uniform(low, high))
    return value


def _lactate(blood: Blood, on: date, number: int) -> float:
    """It clears within days, and climbs again before a death."""
    case, chance = blood.case, blood.chance
    settled = chance.bell(1.2, 0.25, 0.6, 1.9)
    value = settled + max(blood.lactate_mmol_l - settled, 0) * math.exp(-number / 1.4)
    if case.is_dead and case.outcome:
        left = (case.day(case.outcome.occurred_at) - on).days
        value += {0: 5.5, 1: 2.8, 2: 1.1}.get(left, 0) * chance.uniform(0.6, 1.2)
    return min(value, 14)


def _temperature(blood: Blood, on: date) -> float:
    for day, event in blood.events(EventKind.INFECTION):
        age = (on - day).days
        if age == 0:
            feverish = event.infection_kind in FEVER
            return blood.chance.uniform(38.2, 39.2) if feverish else blood.chance.uniform(37.5, 38.0)
        if 0 < age <= 2:
            return blood.chance.uniform(37.2, 37.9)
    return blood.chance.bell(36.8, 0.25, 36.1, 37.6)


def _red_cells(blood: Blood, on: date) -> int:
    """The units of a bleed over two days."""
    given = 0
    for day, event in blood.events(EventKind.BLEEDING):
        units, age = event.red_cell_units or 0, (on - day).days
        given += {0: math.ceil(units / 2), 1: units // 2}.get(age, 0)
    return given
