"""Pressures and flow: before support, after a day, after three days, and the last on the pump."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from registry.choices import ShockStage
from registry.choices_extended import OnSupport, OutputMethod, SurfaceFormula
from registry.demo.case import Case
from registry.demo.chance import Chance, tenth
from registry.derived import surface_m2
from registry.models import HaemodynamicSet

METHODS = {OutputMethod.THERMODILUTION: 82, OutputMethod.FICK_ASSUMED: 14, OutputMethod.FICK: 4}
# Cardiac index in L/min/m², then systolic, right atrial and wedge pressure in mmHg (invented).
BEFORE = {
    ShockStage.B: (2.0, 98, 10, 23),
    ShockStage.C: (1.8, 92, 12, 25),
    ShockStage.D: (1.6, 85, 15, 27),
    ShockStage.E: (1.45, 78, 17, 28),
}
STILL_ON_DRUG = {"day": 0.95, "three days": 0.75, "last": 0.7}
LOST_VALUE, LOST_METHOD, LOST_SUPPORT = 0.035, 0.01, 0.012
LOST = {"mean_mmhg": 0.012}  # on a pump it cannot be made up for


@dataclass(frozen=True)
class Response:
    """What counterpulsation has done by then: factors, and mmHg or beats added."""

    flow: float
    wedge: float
    right: float
    mean_mmhg: float
    rate: float


GOOD = {
    "day": Response(1.18, 0.80, 0.88, 6, -5),
    "three days": Response(1.29, 0.69, 0.78, 8, -9),
    "last": Response(1.33, 0.65, 0.75, 9, -11),
}
POOR = {
    "day": Response(1.06, 0.95, 1.0, 3, 0),
    "three days": Response(1.03, 0.97, 1.05, 1, 3),
    "last": Response(0.97, 1.0, 1.1, -3, 6),
}
NO_PUMP = Response(1, 1, 1, 0, 0)


@dataclass(frozen=True)
class Heart:
    """The patient as found before support."""

    index: float
    surface_m2: float
    systolic: float
    pulse: float
    rate: float
    right: float
    wedge: float
    method: OutputMethod


def measure(case: Case, chance: Chance) -> None:
    """The sets of a course; a few patients had no catheter in the pulmonary artery."""
    if not case.pumps or chance.yes(0.06):
        return
    heart = _heart(case, chance)
    if not case.course.transferred_in and chance.yes(0.96):
        alone = OnSupport.INOTROPE if case.course.inotropes else OnSupport.NONE
        case.sets.append(_set(case, chance, _before_at(case, chance), alone, heart, NO_PUMP))
    responses = POOR if case.is_dead or case.escalated else GOOD
    drug = bool(case.course.inotropes)
    for name, at in _times(case, chance).items():
        drug = drug and chance.yes(STILL_ON_DRUG[name])  # once weaned it stays so
        support = chance.kept(OnSupport.BOTH if drug else OnSupport.PUMP, LOST_SUPPORT) or ""
        case.sets.append(_set(case, chance, at, support, heart, responses[name]))


def _heart(case: Case, chance: Chance) -> Heart:
    index, systolic, right, wedge = BEFORE[ShockStage(case.course.shock_stage)]
    return Heart(
        index=chance.bell(index, 0.18, 1.1, 2.5),
        surface_m2=surface_m2(case.course, SurfaceFormula.MOSTELLER) or 1.9,
        systolic=chance.bell(systolic, 7, 66, 122),
        pulse=chance.bell(30, 5, 20, 42),
        rate=chance.bell(88 + 6 * min(case.severity, 4), 11, 58, 142),
        right=chance.bell(right, 3.5, 4, 25),
        wedge=chance.bell(wedge, 4.5, 14, 38),
        method=chance.pick(METHODS),
    )


def _before_at(case: Case, chance: Chance) -> datetime:
    """Within the two days before the pump, in this hospital."""
    early = case.start - timedelta(hours=chance.uniform(1, 40))
    return _whole_minute(max(early, (case.course.admitted_at or early) + timedelta(minutes=30)))


def _times(case: Case, chance: Chance) -> dict[str, datetime]:
    """When pressures were taken while only a balloon pump worked."""
    end = min([run.inserted_at for run in case.runs if not run.is_balloon_pump], default=None)
    end = end or max(case.end_of(run) for run in case.pumps)
    found: dict[str, datetime] = {}
    wanted = {
        "day": case.seen_from + timedelta(hours=chance.uniform(24.5, 32)),
        "three days": case.seen_from + timedelta(hours=chance.uniform(58, 71)),
        "last": end - timedelta(hours=chance.uniform(3, 14)),
    }
    latest = case.seen_from
    for name, at in wanted.items():
        if latest + timedelta(hours=10) < at < end - timedelta(hours=2) and chance.yes(0.95):
            found[name] = _whole_minute(at)
            latest = at
    return found


def _whole_minute(moment: datetime) -> datetime:
    return moment.replace(second=0, microsecond=0)


def _set(
    case: Case, chance: Chance, at: datetime, support: str, heart: Heart, response: Response
) -> HaemodynamicSet:
    values: dict[str, Any] = {**_arterial(chance, heart, response), **_right_heart(chance, heart, response)}
    values |= _flow(chance, heart, response)
    values = {name: chance.kept(value, LOST.get(name, LOST_VALUE)) for name, value in values.items()}
    if values["output_l_min"] is not None:
        values["output_method"] = chance.kept(heart.method, LOST_METHOD) or ""
    return HaemodynamicSet(course=case.course, measured_at=at, on_support=support, **values)


def _arterial(chance: Chance, heart: Heart, response: Response) -> dict[str, Any]:
    """On the pump the measured mean lies above what systolic and diastolic would give."""
    systolic = heart.systolic + response.mean_mmhg / 2 + chance.gauss(0, 2)
    diastolic = systolic - heart.pulse - response.mean_mmhg / 2
    mean = heart.systolic - heart.pulse * 2 / 3 + response.mean_mmhg + chance.gauss(0, 1)
    rate = heart.rate + response.rate + chance.gauss(0, 3)
    return {
        "systolic_mmhg": round(systolic),
        "diastolic_mmhg": max(round(diastolic), 32),
        "mean_mmhg": max(round(mean), 45),
        "heart_rate_per_min": round(min(max(rate, 52), 150)),
    }


def _right_heart(chance: Chance, heart: Heart, response: Response) -> dict[str, Any]:
    wedge = max(heart.wedge * response.wedge + chance.gauss(0, 1.2), 6)
    diastolic = round(wedge + chance.uniform(1, 4))
    systolic = round(diastolic + heart.wedge * 0.6 + chance.uniform(6, 12))
    return {
        "right_atrial_mmhg": round(min(max(heart.right * response.right + chance.gauss(0, 1), 2), 28)),
        "pulmonary_systolic_mmhg": systolic,
        "pulmonary_diastolic_mmhg": diastolic,
        "pulmonary_mean_mmhg": round(diastolic + (systolic - diastolic) / 3),
        "wedge_mmhg": round(wedge),
    }


def _flow(chance: Chance, heart: Heart, response: Response) -> dict[str, Any]:
    index = max(heart.index * response.flow + chance.gauss(0, 0.05), 1.0)
    output = max(index * heart.surface_m2, 1.6)
    return {
        "output_l_min": tenth(output),
        "mixed_venous_pct": round(min(max(29 + 14.5 * index + chance.gauss(0, 2), 32), 80)),
    }
