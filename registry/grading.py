"""Grades proposed from entered values. A person decides; what was proposed is kept beside the choice.

Each function takes plain values, None or empty where nothing was entered, and returns a proposal or None when
the values say too little. The sources of the criteria stand in ``criteria.py``.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from registry.choices import ShockStage
from registry.choices_events import (
    Barc,
    BleedSite,
    EventAction,
    KidneyStage,
    LimbAction,
    LimbNeuro,
    Pulse,
    Resolution,
    Rutherford,
)

CREATININE_RISE_UMOL_L = 26.5  # 0.3 mg/dL
CREATININE_STAGE_3_UMOL_L = 353.6  # 4.0 mg/dL
LACTATE_HYPOPERFUSION_MMOL_L = 2
LACTATE_EXTREMIS_MMOL_L = 8
CRITICAL_SITES = (BleedSite.INTRACRANIAL, BleedSite.RETROPERITONEAL)  # of those the logbook tells apart
TREATED = {EventAction.DRUG, EventAction.ENDOVASCULAR, EventAction.EXCHANGE, EventAction.REMOVE}


@dataclass(frozen=True)
class Proposal:
    """A grade and the entered value that leads to it, in words."""

    grade: str
    because: str


def propose_barc(
    *,
    site: str = "",
    drop_g_dl: float | None = None,
    red_cell_units: int | None = None,
    actions: Collection[str] = (),
    resolution: str = "",
) -> Proposal | None:
    """BARC type of a bleed. ``drop_g_dl`` is already corrected for the units given.

    Tamponade, vasoactives and sight are not recorded apart, so a type may be too low. Mehran R et al.,
    Circulation 2011;123:2736–2747, doi:10.1161/CIRCULATIONAHA.110.009449.
    """
    drop, units = drop_g_dl or 0, red_cell_units or 0
    if resolution == Resolution.DEATH:
        return Proposal(Barc.T5B, "it was fatal")
    if site == BleedSite.INTRACRANIAL:
        return Proposal(Barc.T3C, "it was intracranial")
    if drop >= 5:
        return Proposal(Barc.T3B, f"haemoglobin fell by {drop_g_dl} g/dL")
    if EventAction.SURGERY in actions:
        return Proposal(Barc.T3B, "it needed surgery")
    if drop >= 3:
        return Proposal(Barc.T3A, f"haemoglobin fell by {drop_g_dl} g/dL")
    if units or EventAction.TRANSFUSION in actions:
        return Proposal(Barc.T3A, "red cells were given")
    if TREATED & set(actions):
        return Proposal(Barc.T2, "it was acted on")
    if EventAction.NONE in actions:
        return Proposal(Barc.T1, "nothing was done about it")
    return None


def isth_major(
    *,
    site: str = "",
    drop_g_dl: float | None = None,
    red_cell_units: int | None = None,
    resolution: str = "",
) -> bool | None:
    """Whether a bleed is major by ISTH; None when the values neither show nor exclude it.

    Schulman S, Kearon C, J Thromb Haemost 2005;3:692–694, doi:10.1111/j.1538-7836.2005.01204.x.
    """
    if resolution == Resolution.DEATH or site in CRITICAL_SITES:
        return True
    if (drop_g_dl or 0) >= 2 or (red_cell_units or 0) >= 2:
        return True
    return False if None not in (drop_g_dl, red_cell_units) and site else None


def propose_rutherford(*, neuro: str = "", pulse: str = "", action: str = "") -> Proposal | None:
    """Class of acute limb ischaemia from the bedside check of the limb.

    The check does not say how far a loss of feeling reaches or how weak the limb is: III is proposed only
    after an amputation. Rutherford RB et al., J Vasc Surg 1997;26:517–538,
    doi:10.1016/S0741-5214(97)70045-4.
    """
    if action == LimbAction.AMPUTATION:
        return Proposal(Rutherford.III, "the limb was amputated")
    if neuro in (LimbNeuro.MOTOR, LimbNeuro.BOTH):
        return Proposal(Rutherford.IIB, "power was lost")
    if neuro == LimbNeuro.SENSORY:
        return Proposal(Rutherford.IIA, "feeling was lost and power kept")
    if neuro == LimbNeuro.NORMAL and pulse == Pulse.ABSENT:
        return Proposal(Rutherford.IIA, "feeling and power were kept, no pulse was heard")
    if neuro == LimbNeuro.NORMAL and pulse:
        return Proposal(Rutherford.I, "feeling, power and a pulse were there")
    return None


def propose_kdigo(
    *,
    baseline_umol_l: float | None = None,
    highest_umol_l: float | None = None,
    rise_48h_umol_l: float | None = None,
    renal_replacement: bool | None = None,
) -> Proposal | None:
    """KDIGO stage from creatinine and renal replacement; None below stage 1 or without values.

    ``highest_umol_l`` is the highest within 7 days, ``rise_48h_umol_l`` the largest rise within 48 h. KDIGO,
    Kidney Int Suppl 2012;2:1–138, doi:10.1038/kisup.2012.1. Urine is not recorded.
    """
    if renal_replacement:
        return Proposal(str(KidneyStage.THREE), "renal replacement was begun")
    ratio = round(highest_umol_l / baseline_umol_l, 2) if baseline_umol_l and highest_umol_l else 0
    because = f"creatinine rose to {ratio:.1f} times the start"
    injured = ratio >= 1.5 or (rise_48h_umol_l or 0) >= CREATININE_RISE_UMOL_L
    if ratio >= 3:
        return Proposal(str(KidneyStage.THREE), because)
    if injured and (highest_umol_l or 0) >= CREATININE_STAGE_3_UMOL_L:
        return Proposal(str(KidneyStage.THREE), f"creatinine reached {highest_umol_l:g} µmol/L")
    if ratio >= 2:
        return Proposal(str(KidneyStage.TWO), because)
    if ratio >= 1.5:
        return Proposal(str(KidneyStage.ONE), because)
    if injured:
        return Proposal(str(KidneyStage.ONE), f"creatinine rose by {rise_48h_umol_l:g} µmol/L in 48 h")
    return None


def propose_stage(
    *,
    lactate_mmol_l: float | None = None,
    inotropes: bool | None = None,
    vasopressors: bool | None = None,
) -> Proposal | None:
    """The least SCAI stage that the values meet; None when they say too little. Never more than a proposal.

    Naidu SS et al., J Am Coll Cardiol 2022;79:933–946, doi:10.1016/j.jacc.2022.01.018.
    """
    lactate = lactate_mmol_l or 0
    if lactate >= LACTATE_EXTREMIS_MMOL_L:
        return Proposal(ShockStage.E, f"lactate was {lactate_mmol_l:g} mmol/L")
    if lactate >= LACTATE_HYPOPERFUSION_MMOL_L:
        return Proposal(ShockStage.C, f"lactate was {lactate_mmol_l:g} mmol/L")
    if inotropes or vasopressors:
        return Proposal(ShockStage.C, "a drug was needed for the circulation")
    return None
