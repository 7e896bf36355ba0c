"""Rules of what a programme can switch on: puncture and fixation, screening, pressures, the waiting list.

They are part of ``rules.RULES``; see there.
"""

from __future__ import annotations

from registry.choices import PacingDevice, Route, RouteGroup
from registry.choices_extended import ArchState, OnSupport, PocketSide, ProcedureConsent, Securement
from registry.models import Course, HaemodynamicSet, ListingSpell, Run, Screening
from registry.problem import Problem, ask, refuse

LEFT_ARM = (Route.AXILLARY_LEFT, Route.SUBCLAVIAN_LEFT)
RIGHT_ARM = (Route.AXILLARY_RIGHT, Route.SUBCLAVIAN_RIGHT)
POCKETS: dict[str, tuple[str, ...]] = {
    PacingDevice.LEFT: LEFT_ARM,
    PacingDevice.RIGHT: RIGHT_ARM,
    PacingDevice.BOTH: (*LEFT_ARM, *RIGHT_ARM),
}
SUTURES = {Securement.SHEATH, Securement.HUB}
GRAFT_TEXT = "The left internal mammary graft takes its blood from this artery."


def _course_of(run: Run) -> Course | None:
    return run.course if run.course_id or "course" in run._state.fields_cache else None


def check_puncture(run: Run) -> list[Problem]:
    """Where the needle went: asked about only where somebody recorded it, or a pocket lies on that side."""
    found = []
    course = _course_of(run)
    if course and _pocket_unsaid(run, course):
        text = "A pacemaker or defibrillator lies on this side. Say where the puncture was."
        found.append(ask("pocket_relation_missing", "puncture_pocket", text))
    if run.puncture_pocket == PocketSide.MEDIAL:
        text = "A puncture medial of the pocket runs close to the leads."
        found.append(ask("puncture_medial", "puncture_pocket", text))
    if run.puncture_outside_cage is False:
        text = "A puncture inside the rib cage cannot be compressed."
        found.append(ask("puncture_inside_cage", "puncture_outside_cage", text))
    return found


def _pocket_unsaid(run: Run, course: Course) -> bool:
    asked = "procedure" in course.centre.extended_groups
    return asked and not run.puncture_pocket and run.route in POCKETS.get(course.pacing_device, ())


def check_fixation(run: Run) -> list[Problem]:
    """Axillary catheters kink where they are held: both sutures and slack, or a reason."""
    held = set(run.securement)
    if not held or run.route_group != RouteGroup.AXILLARY:
        return []
    if not held >= SUTURES or Securement.SLACK not in held:
        text = "An axillary catheter is usually sutured at two points with a loop of slack."
        return [ask("fixation_incomplete", "securement", text)]
    return []


def check_graft(run: Run) -> list[Problem]:
    """A left axillary route when the screening found a left internal mammary graft in use."""
    course = _course_of(run)
    if course is None or course.pk is None or run.route not in LEFT_ARM:
        return []
    screening = getattr(course, "screening", None)
    if screening and screening.mammary_graft_left:
        return [ask("graft_on_this_side", "route", GRAFT_TEXT)]
    return []


def check_screening(screening: Screening) -> list[Problem]:
    found = []
    left = any(run.route in LEFT_ARM for run in screening.course.runs.all())
    if screening.mammary_graft_left and left:
        found.append(ask("graft_on_this_side", "mammary_graft_left", GRAFT_TEXT))
    if screening.arch in (ArchState.ANEURYSM, ArchState.DISSECTION):
        text = "A balloon pump with an aneurysm or a dissection of the aorta is unusual."
        found.append(ask("aorta_diseased", "arch", text))
    if "NONE" in screening.imaging and len(screening.imaging) > 1:
        found.append(refuse("imaging_contradicts", "imaging", "Either none, or what was done."))
    elif "NONE" in screening.imaging:
        found.append(ask("imaging_none", "imaging", "No imaging of the access route is unusual."))
    if screening.procedure_consent == ProcedureConsent.NO:
        text = "The consent to the procedure is not documented."
        found.append(ask("consent_undocumented", "procedure_consent", text))
    return found


ORDERED = (
    ("diastolic_mmhg", "systolic_mmhg", "The diastolic pressure must lie below the systolic."),
    ("pulmonary_diastolic_mmhg", "pulmonary_systolic_mmhg", "The diastolic must lie below the systolic."),
    ("pulmonary_mean_mmhg", "pulmonary_systolic_mmhg", "The mean must lie below the systolic."),
    ("pulmonary_diastolic_mmhg", "pulmonary_mean_mmhg", "The mean must lie above the diastolic."),
)


def check_haemodynamics(measured: HaemodynamicSet) -> list[Problem]:
    found = []
    for low, high, text in ORDERED:
        below, above = getattr(measured, low), getattr(measured, high)
        if below is not None and above is not None and below >= above:
            found.append(refuse(f"{low}_above_{high}", low, text))
    others = measured.course.haemodynamics.exclude(pk=measured.pk)
    if others.exclude(surface_formula=measured.surface_formula).exists():
        text = "Other sets of this course use the other formula. Use one for all."
        found.append(refuse("surface_formula_mixed", "surface_formula", text))
    return found + check_flow(measured)


def check_flow(measured: HaemodynamicSet) -> list[Problem]:
    """What a set of pressures leaves unsaid."""
    found = []
    on_pump = measured.on_support in (OnSupport.PUMP, OnSupport.BOTH)
    arterial = measured.systolic_mmhg is not None and measured.diastolic_mmhg is not None
    if on_pump and arterial and measured.mean_mmhg is None:
        text = "On a balloon pump the mean cannot be computed. Enter the measured mean."
        found.append(ask("mean_not_measured", "mean_mmhg", text))
    if measured.output_l_min is not None and not measured.output_method:
        found.append(ask("output_method_missing", "output_method", "Say how the output was measured."))
    return found


def check_listing(spell: ListingSpell) -> list[Problem]:
    if spell.expires_on and spell.began_on and spell.expires_on < spell.began_on:
        return [refuse("listing_ends_before_start", "expires_on", "The tier expires before it began.")]
    return []
