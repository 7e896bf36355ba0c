"""Risk factors of the invented patients: what makes vascular harm more likely, and where a pacemaker lies."""

from __future__ import annotations

from registry.choices import Aetiology, PacingDevice, Presentation
from registry.demo.case import Case
from registry.demo.chance import Chance

LONG_ILL = (Presentation.CHRONIC, Presentation.ELECTIVE)
POCKETS_LONG_ILL = {
    PacingDevice.LEFT: 58,
    PacingDevice.NONE: 37,
    PacingDevice.RIGHT: 4,
    PacingDevice.BOTH: 1,
}
POCKETS_NEWLY_ILL = {PacingDevice.LEFT: 22, PacingDevice.NONE: 77, PacingDevice.RIGHT: 1}
STERNOTOMY = {
    Aetiology.ISCHAEMIC: 0.34,
    Aetiology.VALVULAR: 0.5,
    Aetiology.CONGENITAL: 0.9,
    Aetiology.GRAFT_FAILURE: 1.0,
}


def describe(case: Case, chance: Chance) -> None:
    """Fill the risk factors of the course; a few are in no chart."""
    course = case.course
    vessels = course.aetiology == Aetiology.ISCHAEMIC
    course.diabetes = chance.kept(chance.yes(0.44 if vessels else 0.25))
    course.peripheral_disease = chance.kept(chance.yes(0.17 if vessels else 0.05))
    course.prior_stroke = chance.kept(chance.yes(0.09))
    course.smoking = chance.kept(chance.yes(0.32 if vessels else 0.2), 0.08)
    opened = 1.0 if course.presentation == Presentation.POSTCARDIOTOMY else 0.1
    course.prior_sternotomy = chance.kept(
        chance.yes(STERNOTOMY.get(Aetiology(course.aetiology), opened)), 0.03
    )
    pockets = POCKETS_LONG_ILL if course.presentation in LONG_ILL else POCKETS_NEWLY_ILL
    course.pacing_device = chance.kept(chance.pick(pockets), 0.03) or ""
