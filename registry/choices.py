"""Every coded value of the logbook, with the source of its meaning.

Codes are stored as written here; labels are what people read. A code is never reused for another meaning.
"Common practice" marks a fact of the trade for which no published source is claimed.
"""

from __future__ import annotations

from django.db.models import TextChoices


class Role(TextChoices):
    """Who a signed-in person is to the programme (project convention)."""

    COORDINATOR = "COORDINATOR", "Coordinator"
    PHYSICIAN = "PHYSICIAN", "Physician"
    COMMITTEE = "COMMITTEE", "Quality committee"
    ADMINISTRATOR = "ADMINISTRATOR", "Administrator"


class Sex(TextChoices):
    FEMALE = "F", "Female"
    MALE = "M", "Male"
    OTHER = "X", "Other"
    UNKNOWN = "U", "Unknown"


class BloodGroup(TextChoices):
    """ABO group: it drives waiting time, hence dwell (common practice)."""

    A = "A", "A"
    B = "B", "B"
    AB = "AB", "AB"
    O = "O", "O"  # noqa: E741 - the blood group is called O
    UNKNOWN = "U", "Unknown"


class ConsentBasis(TextChoices):
    """The footing on which the record is held (project convention)."""

    QUALITY = "QI", "Quality improvement"
    CONSENT = "IRB_CONSENT", "Research, consent given"
    WAIVER = "IRB_WAIVER", "Research, consent waived"
    EXEMPT = "IRB_EXEMPT", "Research, exempt"
    OTHER = "OTHER", "Other"


class Aetiology(TextChoices):
    ISCHAEMIC = "ISCHAEMIC", "Ischaemic"
    DILATED = "DILATED_NONISCH", "Dilated, non-ischaemic"
    HYPERTROPHIC = "HYPERTROPHIC", "Hypertrophic"
    RESTRICTIVE = "RESTRICTIVE_INFILTR", "Restrictive or infiltrative"
    VALVULAR = "VALVULAR", "Valvular"
    MYOCARDITIS = "MYOCARDITIS", "Myocarditis"
    CONGENITAL = "CONGENITAL", "Congenital"
    TOXIC = "CHEMO_TOXIC", "Cancer therapy or toxic"
    POSTPARTUM = "POSTPARTUM", "Peripartum"
    GRAFT_FAILURE = "GRAFT_FAILURE", "Failing heart graft"
    OTHER = "OTHER", "Other"
    UNKNOWN = "UNK", "Unknown"


class Presentation(TextChoices):
    CHRONIC = "CHRONIC_DECOMP", "Chronic heart failure, decompensated"
    DE_NOVO = "DE_NOVO", "New heart failure"
    INFARCTION = "AMI_SHOCK", "Shock after myocardial infarction"
    POSTCARDIOTOMY = "POSTCARDIOTOMY", "After cardiac surgery"
    ELECTIVE = "ELECTIVE_OPTIM", "Planned optimisation"
    ARRHYTHMIC = "ARRHYTHMIC", "Arrhythmia"
    OTHER = "OTHER", "Other"


class ShockStage(TextChoices):
    """SCAI shock stage. Naidu SS et al., SCAI SHOCK stage classification expert consensus update,
    J Am Coll Cardiol 2022;79:933–946, doi:10.1016/j.jacc.2022.01.018. A bedside judgement, never computed."""

    A = "A", "A: at risk"
    B = "B", "B: beginning"
    C = "C", "C: classic"
    D = "D", "D: deteriorating"
    E = "E", "E: extremis"


class Intent(TextChoices):
    """Therapy plan at the start of support (common practice)."""

    TRANSPLANT = "BTT", "Bridge to transplant"
    DURABLE = "BTD", "Bridge to durable pump"
    RECOVERY = "BTR", "Bridge to recovery"
    DECISION = "BTDEC", "Bridge to decision"
    OTHER = "OTHER", "Other"


class PacingDevice(TextChoices):
    NONE = "NONE", "None"
    LEFT = "LEFT", "Left pocket"
    RIGHT = "RIGHT", "Right pocket"
    BOTH = "BOTH", "Both sides"


class DeviceClass(TextChoices):
    IABP = "IABP", "Intra-aortic balloon pump"
    MICROAXIAL = "MICROAXIAL", "Microaxial pump"
    VA_ECMO = "VA_ECMO", "Veno-arterial ECMO"
    EXTRACORPOREAL = "EXTRACORP_VAD", "Extracorporeal ventricular assist"
    RIGHT_SIDE = "RIGHT_SIDE", "Right-sided support"
    OTHER = "OTHER", "Other temporary device"


class Route(TextChoices):
    """Access artery and side."""

    AXILLARY_LEFT = "AXILLARY_L", "Left axillary"
    AXILLARY_RIGHT = "AXILLARY_R", "Right axillary"
    SUBCLAVIAN_LEFT = "SUBCLAVIAN_L", "Left subclavian"
    SUBCLAVIAN_RIGHT = "SUBCLAVIAN_R", "Right subclavian"
    FEMORAL_LEFT = "FEMORAL_L", "Left femoral"
    FEMORAL_RIGHT = "FEMORAL_R", "Right femoral"
    BRACHIAL = "BRACHIAL", "Brachial"
    TRANSAORTIC = "TRANSAORTIC", "Through the ascending aorta"
    OTHER = "OTHER", "Other"


class RouteGroup(TextChoices):
    """The two routes that are compared, and the rest; subclavian counts as axillary (project convention)."""

    AXILLARY = "AXILLARY", "Axillary"
    FEMORAL = "FEMORAL", "Femoral"
    OTHER = "OTHER", "Other route"


ROUTE_GROUPS: dict[str, RouteGroup] = {
    Route.AXILLARY_LEFT: RouteGroup.AXILLARY,
    Route.AXILLARY_RIGHT: RouteGroup.AXILLARY,
    Route.SUBCLAVIAN_LEFT: RouteGroup.AXILLARY,
    Route.SUBCLAVIAN_RIGHT: RouteGroup.AXILLARY,
    Route.FEMORAL_LEFT: RouteGroup.FEMORAL,
    Route.FEMORAL_RIGHT: RouteGroup.FEMORAL,
    Route.BRACHIAL: RouteGroup.OTHER,
    Route.TRANSAORTIC: RouteGroup.OTHER,
    Route.OTHER: RouteGroup.OTHER,
}


class AccessMethod(TextChoices):
    PERCUTANEOUS = "PERCUTANEOUS", "Percutaneous"
    CUTDOWN = "OPEN_CUTDOWN", "Open, direct"
    GRAFT = "GRAFT_CONDUIT", "Open, through a graft"


class Guidance(TextChoices):
    ULTRASOUND = "ULTRASOUND", "Ultrasound"
    FLUOROSCOPY = "FLUORO", "Fluoroscopy"
    ROADMAP_WIRE = "ROADMAP_WIRE", "Guide wire from leg or arm"
    ANGIOGRAM = "ANGIO", "Angiogram"
    LANDMARK = "LANDMARK", "Landmarks only"


class BalloonVolume(TextChoices):
    """Nominal balloon volumes in mL; the label of the device in use decides."""

    ML_25 = "25", "25"
    ML_30 = "30", "30"
    ML_34 = "34", "34"
    ML_35 = "35", "35"
    ML_40 = "40", "40"
    ML_50 = "50", "50"


class Location(TextChoices):
    CATH_LAB = "CATH_LAB", "Catheter laboratory"
    HYBRID = "HYBRID_OR", "Hybrid theatre"
    THEATRE = "OR", "Operating theatre"
    BEDSIDE = "BEDSIDE", "Bedside"
    ELSEWHERE = "ELSEWHERE", "Another hospital"


class Sedation(TextChoices):
    LOCAL = "LOCAL", "Local anaesthesia"
    CONSCIOUS = "CONSCIOUS_SED", "Light sedation"
    GENERAL = "GA", "General anaesthesia"


class Urgency(TextChoices):
    ELECTIVE = "ELECTIVE", "Planned"
    URGENT = "URGENT", "Urgent"
    EMERGENT = "EMERGENT", "Emergency"


class FilmVerdict(TextChoices):
    """The reader's verdict on balloon position. Markers are called cranial and caudal on every route."""

    ACCEPTABLE = "ACCEPTABLE", "Acceptable"
    HIGH = "HIGH", "Too high"
    LOW = "LOW", "Too low"
    ROTATED = "ROTATED_FOLDED", "Rotated or folded"
    CANNOT_TELL = "CANNOT_TELL", "Cannot tell"


class PositionAction(TextChoices):
    NONE = "NONE", "None"
    BEDSIDE = "BEDSIDE_ADJUST", "Adjusted at the bedside"
    FLUOROSCOPY = "FLUORO_ADJUST", "Adjusted under fluoroscopy"
    EXCHANGE = "EXCHANGE", "Exchanged"
    REMOVE = "REMOVE", "Removed"
    OBSERVE = "OBSERVE", "Observed"


class Relation(TextChoices):
    """How a run relates to the one before it. No other way to change a catheter exists."""

    FIRST = "FIRST", "First device of the course"
    SAME_SITE = "SAME_SITE_EXCHANGE", "Exchange at the same site"
    NEW_SITE = "NEW_SITE_SAME_ROUTE", "New site, same route"
    CROSSOVER = "ROUTE_CROSSOVER", "Change of route"
    ESCALATION = "DEVICE_ESCALATION", "Escalation to greater support"
    DEESCALATION = "DEVICE_DEESCALATION", "De-escalation"
    REINSERTION = "REINSERTION_AFTER_GAP", "Re-insertion after a gap"


class ExchangeReason(TextChoices):
    KINK = "KINK", "Kink"
    RUPTURE = "RUPTURE_BLOOD", "Rupture, blood in the gas line"
    LOW_AUGMENTATION = "LOW_AUGMENTATION", "Low augmentation"
    GAS_LEAK = "GAS_LEAK", "Gas leak"
    MALPOSITION = "MALPOSITION", "Malposition"
    SITE_BLEED = "SITE_BLEED", "Bleeding at the site"
    LIMB = "LIMB", "Limb ischaemia"
    INFECTION = "INFECTION", "Infection"
    PLANNED_ROUTE = "PLANNED_ROUTE_CHANGE", "Planned change of route"
    ROUTINE = "ROUTINE", "Routine"
    MORE_SUPPORT = "MORE_SUPPORT", "More support needed"
    OTHER = "OTHER", "Other"


class EndReason(TextChoices):
    TRANSPLANT = "TRANSPLANT", "Transplant"
    DURABLE = "DURABLE_VAD", "Durable pump"
    WEANED = "WEANED", "Weaned"
    EXCHANGE = "EXCHANGE", "Exchange or change of route"
    ESCALATION = "ESCALATION", "Escalation"
    COMPLICATION = "COMPLICATION", "Complication"
    DEATH = "DEATH", "Death"
    WITHDRAWAL = "WITHDRAWAL", "Treatment withdrawn"
    TRANSFER_OUT = "TRANSFER_OUT", "Transferred with the device"


class Closure(TextChoices):
    MANUAL = "MANUAL", "Manual compression"
    SUTURE = "SUTURE_DEVICE", "Suture device"
    PLUG = "PLUG_DEVICE", "Plug device"
    SURGICAL = "SURGICAL", "Surgical repair"
    UPSIZE = "SHEATH_UPSIZE_8FR_THEN_MANUAL", "Sheath, then manual compression"
    STENT = "STENT_BAILOUT", "Covered stent"
    OPEN_CHEST = "AT_TRANSPLANT_OPEN", "In theatre at transplant or durable pump"
    NONE = "NONE", "Left in place"


class Duplex(TextChoices):
    NOT_DONE = "NOT_DONE", "Not done"
    NORMAL = "NORMAL", "Normal"
    STENOSIS = "STENOSIS", "Stenosis"
    OCCLUSION = "OCCLUSION", "Occlusion"
    PSEUDOANEURYSM = "PSEUDOANEURYSM", "Pseudoaneurysm"


class AttemptFailure(TextChoices):
    """Why an attempt by the intended route failed."""

    NO_PUNCTURE = "NO_PUNCTURE", "Artery not entered"
    WIRE = "WIRE_NOT_PASSED", "Wire did not pass"
    SHEATH = "SHEATH_BUCKLED", "Sheath or balloon did not follow"
    VESSEL_SMALL = "VESSEL_UNSUITABLE", "Vessel too small or diseased"
    INJURY = "VESSEL_INJURY", "Vessel injury"
    UNSTABLE = "PATIENT_UNSTABLE", "Patient unstable"
    OTHER = "OTHER", "Other"


class DeclineReason(TextChoices):
    """Why a considered patient received no pump."""

    VESSEL = "VESSEL_UNSUITABLE", "Vessels unsuitable"
    AORTIC_VALVE = "AORTIC_REGURGITATION", "Aortic regurgitation"
    AORTA = "AORTIC_DISEASE", "Aortic disease"
    TOO_WELL = "IMPROVED", "Improved without support"
    TOO_SICK = "NEEDS_MORE_SUPPORT", "Needed more support"
    DIED = "DIED_BEFORE", "Died before"
    REFUSED = "PATIENT_DECLINED", "Patient declined"
    OTHER_THERAPY = "OTHER_THERAPY", "Went straight to another therapy"
    OTHER = "OTHER", "Other"


class Outcome(TextChoices):
    """The one terminal outcome of a support course; none recorded means still supported."""

    TRANSPLANT = "TRANSPLANT", "Transplant"
    DURABLE = "DURABLE_VAD", "Durable pump"
    WEANED = "RECOVERED_WEANED", "Recovered and weaned"
    DIED = "DIED_ON_SUPPORT", "Died on support"
    WITHDRAWN = "WITHDRAWN_PALLIATIVE", "Support withdrawn, palliative"
    TRANSFERRED = "TRANSFERRED", "Transferred on support"


class FollowUpPoint(TextChoices):
    D30 = "30D", "30 days"
    D90 = "90D", "90 days"
    M6 = "6M", "6 months"
    Y1 = "1Y", "1 year"


class VitalStatus(TextChoices):
    ALIVE = "ALIVE", "Alive"
    DEAD = "DEAD", "Dead"
    LOST = "LTFU", "Not reached"


class Severity(TextChoices):
    NONE = "NONE", "None"
    MILD = "MILD", "Mild"
    MODERATE = "MODERATE", "Moderate"
    SEVERE = "SEVERE", "Severe"
