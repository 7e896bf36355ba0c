"""Coded values of what a programme can switch on: screening, puncture, fixation, pressures, waiting list."""

from __future__ import annotations

from django.db.models import TextChoices

# Puncture and fixation of a run


class RoadmapAccess(TextChoices):
    """Where the wire came from that the needle aimed at (common practice)."""

    FEMORAL = "FEMORAL_4FR", "Small femoral sheath"
    RADIAL = "RADIAL_L", "Left radial"
    BRACHIAL = "BRACHIAL_L", "Left brachial"
    OLD_PUMP = "EXISTING_IABP", "Pump already in place"
    NONE = "NONE", "No such wire"


class PocketSide(TextChoices):
    """The puncture as seen from the pocket of a pacemaker or defibrillator (common practice)."""

    LATERAL = "LATERAL", "Lateral of the pocket"
    MEDIAL = "MEDIAL", "Medial of the pocket"
    NO_POCKET = "NO_DEVICE", "No pocket on this side"


class CheckAngiogram(TextChoices):
    """Contrast check of the artery for injury before the balloon goes in (common practice)."""

    CLEAR = "DONE_CLEAR", "Done, no injury"
    ABNORMAL = "DONE_ABNORMAL", "Done, abnormal"
    NOT_DONE = "NOT_DONE", "Not done"


class Securement(TextChoices):
    """How the catheter is held, and whether slack was left against kinking (common practice)."""

    SHEATH = "SUTURE_SHEATH", "Sutured at the sheath"
    HUB = "SUTURE_HUB", "Sutured at the hub"
    ADHESIVE = "ADHESIVE_DEVICE", "Adhesive holder"
    SLACK = "LOOP_SLACK", "Loop of slack"


# Screening of the vessels


class VesselImaging(TextChoices):
    CT = "CT_ANGIO", "CT angiography"
    DUPLEX = "DUPLEX", "Duplex"
    ANGIOGRAM = "ANGIOGRAM", "Angiogram"
    ON_THE_TABLE = "INTRAPROC_ONLY", "Only during the procedure"
    NONE = "NONE", "None"


class ArchState(TextChoices):
    NONE = "NONE", "Unremarkable"
    MILD = "MILD", "Mildly tortuous"
    SEVERE = "SEVERE", "Severely tortuous"
    ANEURYSM = "ANEURYSM", "Aneurysm"
    DISSECTION = "DISSECTION", "Dissection"


class IliofemoralDisease(TextChoices):
    NONE = "NONE", "None"
    MILD = "MILD", "Mild"
    SEVERE = "SEVERE", "Severe"
    UNKNOWN = "UNK", "Unknown"


class Hand(TextChoices):
    RIGHT = "R", "Right"
    LEFT = "L", "Left"
    UNKNOWN = "U", "Unknown"


class RouteReason(TextChoices):
    """Why this route was chosen: without it, a comparison of routes compares indications."""

    LONG = "EXPECT_LONG", "Long support expected"
    MOBILITY = "MOBILITY", "To walk"
    PERIPHERAL = "PAD", "Peripheral artery disease"
    POCKET = "CIED", "Pacemaker or defibrillator"
    OPERATOR = "OPERATOR", "Operator’s experience"
    BRIDGE = "BRIDGE_FROM_FEMORAL", "Planned change from femoral"
    URGENCY = "URGENCY", "Urgency"
    OTHER = "OTHER", "Other"


class ProcedureConsent(TextChoices):
    YES = "Y", "Documented"
    NO = "N", "Not documented"
    EMERGENCY = "EMERGENCY", "Emergency, none possible"


# Pressures and flow


class OnSupport(TextChoices):
    """What the patient was on when pressures and flow were measured."""

    NONE = "NONE", "Neither"
    INOTROPE = "INOTROPE", "Inotrope"
    PUMP = "IABP", "Balloon pump"
    BOTH = "BOTH", "Balloon pump and inotrope"


class OutputMethod(TextChoices):
    THERMODILUTION = "THERMODILUTION", "Thermodilution"
    FICK = "FICK_MEASURED", "Fick, oxygen uptake measured"
    FICK_ASSUMED = "FICK_ASSUMED", "Fick, oxygen uptake assumed"


class SurfaceFormula(TextChoices):
    """Body surface area: Mosteller RD, Simplified calculation of body-surface area, N Engl J Med
    1987;317:1098; Du Bois D, Du Bois EF, A formula to estimate the approximate surface area if height and
    weight be known, Arch Intern Med 1916;17:863–871."""

    MOSTELLER = "MOSTELLER", "Mosteller"
    DU_BOIS = "DUBOIS", "Du Bois"


# Waiting list


class ListingTier(TextChoices):
    """Urgency on the waiting list in the United States since October 2018; the policy in force decides."""

    ONE = "1", "1"
    TWO = "2", "2"
    THREE = "3", "3"
    FOUR = "4", "4"
    FIVE = "5", "5"
    SIX = "6", "6"
    INACTIVE = "INACTIVE", "Inactive"
    NOT_LISTED = "NOT_LISTED", "Not listed"
