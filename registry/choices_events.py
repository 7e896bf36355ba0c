"""Coded values of events, daily checks and mobilisation, with the source of their meaning."""

from __future__ import annotations

from django.db.models import IntegerChoices, TextChoices


class EventKind(TextChoices):
    """What happened. One clinical happening is one event, however many classifications it meets."""

    REPOSITION = "REPOSITION", "Reposition"
    KINK = "KINK_MALFUNCTION", "Kink or malfunction"
    ACCESS_SITE = "ACCESS_SITE", "Access site"
    BLEEDING = "BLEEDING", "Bleeding"
    VASCULAR = "VASCULAR", "Vascular injury"
    LIMB = "LIMB", "Limb ischaemia"
    NEURO = "NEURO", "Stroke or other neurological"
    INFECTION = "INFECTION", "Infection"
    HAEMATOLOGICAL = "HAEMATOLOGICAL", "Haematological"
    RENAL = "RENAL", "Kidney injury"
    VISCERAL = "VISCERAL", "Visceral ischaemia"
    NERVE = "NERVE", "Nerve injury"
    ARRHYTHMIA = "ARRHYTHMIA", "Arrhythmia"
    OTHER = "OTHER", "Other"


class Precision(TextChoices):
    MINUTE = "MINUTE", "To the minute"
    HOUR = "HOUR", "To the hour"
    DAY = "DAY", "To the day"


class Attribution(TextChoices):
    """Cause group. Kormos RL et al., J Heart Lung Transplant 2020;39:735–750,
    doi:10.1016/j.healun.2020.03.010 (wording from memory)."""

    DEVICE = "DEVICE", "Device"
    PROCEDURE = "PROCEDURE", "Procedure"
    PATIENT = "PATIENT", "Patient"
    MANAGEMENT = "MANAGEMENT", "Management"
    UNKNOWN = "UNKNOWN", "Unknown"


class Relatedness(TextChoices):
    DEFINITE = "DEFINITE", "Definite"
    PROBABLE = "PROBABLE", "Probable"
    POSSIBLE = "POSSIBLE", "Possible"
    UNLIKELY = "UNLIKELY", "Unlikely"
    UNRELATED = "UNRELATED", "Unrelated"


class EventAction(TextChoices):
    NONE = "NONE", "None"
    DRUG = "DRUG", "Drug"
    TRANSFUSION = "TRANSFUSE", "Transfusion"
    REPOSITION = "REPOSITION", "Reposition"
    EXCHANGE = "EXCHANGE", "Exchange"
    REMOVE = "REMOVE", "Removal"
    ENDOVASCULAR = "ENDOVASC", "Endovascular"
    SURGERY = "SURGERY", "Surgery"
    ESCALATE = "ESCALATE", "Escalation"


class Resolution(TextChoices):
    RESOLVED = "RESOLVED", "Resolved"
    SEQUELAE = "SEQUELAE", "Resolved with sequelae"
    ONGOING = "ONGOING", "Ongoing"
    DEATH = "DEATH", "Fatal"


class ReviewState(TextChoices):
    """Reported by the team, then confirmed or refuted by reviewers who were not the operator."""

    REPORTED = "REPORTED", "Reported, not yet reviewed"
    CONFIRMED = "CONFIRMED", "Confirmed"
    REFUTED = "REFUTED", "Reviewed: not an event"


class RepositionTrigger(TextChoices):
    FILM = "FILM", "Film"
    ALARM = "ALARM", "Alarm"
    LOW_AUGMENTATION = "LOW_AUGMENT", "Low augmentation"
    SYMPTOM = "SYMPTOM", "Symptom"
    AFTER_MOBILISATION = "AFTER_MOBILISATION", "After mobilisation"
    ROUTINE_CT = "ROUTINE_CT", "CT done for another reason"


class RepositionPlace(TextChoices):
    BEDSIDE_BLIND = "BEDSIDE_BLIND", "Bedside, no film"
    BEDSIDE_FILM = "BEDSIDE_FILM", "Bedside with film"
    FLUOROSCOPY = "FLUORO", "Fluoroscopy"


class RepositionMove(TextChoices):
    ADVANCED = "ADVANCED", "Advanced"
    WITHDRAWN = "WITHDRAWN", "Withdrawn"
    ROTATED = "ROTATED", "Rotated"
    UNFOLDED = "UNFOLDED", "Unfolded"


class Failure(TextChoices):
    """Kind of device fault (Kormos 2020, wording from memory; common practice)."""

    KINK = "KINK", "Kink"
    RUPTURE = "MEMBRANE_RUPTURE", "Membrane rupture"
    GAS_LEAK = "GAS_LEAK", "Gas leak"
    UNWRAP = "INCOMPLETE_UNWRAP", "Balloon not fully unwrapped"
    CONNECTOR = "CONNECTOR", "Connector"
    CONSOLE = "CONSOLE", "Console"
    TRIGGER = "TRIGGER", "Trigger"
    ENTRAPMENT = "ENTRAPMENT", "Entrapment"
    FRACTURE = "FRACTURE", "Fracture"
    THROMBUS = "THROMBUS_ON_DEVICE", "Thrombus on the device"


class KinkSite(TextChoices):
    IN_BALLOON = "IN_BALLOON", "Within the balloon"
    FIRST_CONNECTION = "OUTSIDE_FIRST_CONNECTION", "Just outside the first connection"
    SECUREMENT = "AT_SECUREMENT", "At the securement"
    SUBCUTANEOUS = "SUBCUTANEOUS", "Under the skin"


class MalfunctionFix(TextChoices):
    STRAIGHTEN = "STRAIGHTEN", "Straightened"
    RESUTURE = "RESUTURE", "Re-sutured with slack"
    RESHEATH = "RESHEATH", "New sheath"
    EXCHANGE = "EXCHANGE", "Exchanged"
    REMOVE = "REMOVE", "Removed"
    CONSOLE_SWAP = "CONSOLE_SWAP", "Console changed"


class MajorMinor(TextChoices):
    MAJOR = "MAJOR", "Major"
    MINOR = "MINOR", "Minor"


class Lesion(TextChoices):
    """VARC-3 writing committee, Eur Heart J 2021;42:1825–1857, doi:10.1093/eurheartj/ehaa799; written for
    transcatheter valves and borrowed here. Aortic harm as in Nishida H et al., Ann Vasc Surg 2022."""

    HAEMATOMA = "HAEMATOMA", "Haematoma"
    PSEUDOANEURYSM = "PSEUDOANEURYSM", "Pseudoaneurysm"
    FISTULA = "AV_FISTULA", "Arteriovenous fistula"
    DISSECTION_LOCAL = "DISSECTION_LOCAL", "Dissection of the access artery"
    DISSECTION_A = "AORTIC_DISSECTION_A", "Aortic dissection, type A"
    DISSECTION_B = "AORTIC_DISSECTION_B", "Aortic dissection, type B"
    RUPTURE = "AORTIC_RUPTURE", "Aortic rupture"
    PERFORATION = "PERFORATION", "Perforation"
    THROMBOSIS = "THROMBOSIS", "Thrombosis"
    STENOSIS = "STENOSIS", "Stenosis"
    EMBOLUS = "EMBOLUS", "Embolus"
    CLOSURE_FAILURE = "CLOSURE_FAILURE", "Closure failure"
    VISCERAL = "VISCERAL_OCCLUSION", "Visceral artery occlusion"


class VascularTreatment(TextChoices):
    NONE = "NONE", "None"
    COMPRESSION = "COMPRESSION", "Compression"
    THROMBIN = "THROMBIN", "Thrombin injection"
    STENT = "STENT", "Stent"
    ENDOGRAFT = "ENDOGRAFT", "Endograft"
    SURGERY = "SURGERY", "Surgery"


class BleedSite(TextChoices):
    ACCESS = "ACCESS", "Access site"
    GI = "GI", "Gastrointestinal"
    INTRACRANIAL = "INTRACRANIAL", "Intracranial"
    RETROPERITONEAL = "RETROPERITONEAL", "Retroperitoneal"
    THORAX = "THORAX", "Thorax"
    AIRWAY = "AIRWAY", "Airway"
    GU = "GU", "Urinary"
    OTHER = "OTHER", "Other"


class Barc(TextChoices):
    """Mehran R et al., Circulation 2011;123:2736–2747, doi:10.1161/CIRCULATIONAHA.110.009449."""

    T1 = "1", "1: not actionable"
    T2 = "2", "2: overt, actionable"
    T3A = "3a", "3a: Hb drop 3 to below 5 g/dL, or any transfusion"
    T3B = "3b", "3b: Hb drop 5 g/dL or more, tamponade, surgery or vasoactives"
    T3C = "3c", "3c: intracranial or vision at risk"
    T4 = "4", "4: related to bypass surgery"
    T5A = "5a", "5a: probable fatal"
    T5B = "5b", "5b: definite fatal"


class Limb(TextChoices):
    ARM_LEFT = "ARM_L", "Left arm"
    ARM_RIGHT = "ARM_R", "Right arm"
    LEG_LEFT = "LEG_L", "Left leg"
    LEG_RIGHT = "LEG_R", "Right leg"


class Rutherford(TextChoices):
    """Acute limb ischaemia. Rutherford RB et al., J Vasc Surg 1997;26:517–538,
    doi:10.1016/S0741-5214(97)70045-4. Written for legs; for an arm read fingers for toes."""

    I = "I", "I: viable"  # noqa: E741 - the class is called I
    IIA = "IIa", "IIa: marginally threatened"
    IIB = "IIb", "IIb: immediately threatened"
    III = "III", "III: irreversible"


class LimbAction(TextChoices):
    OBSERVE = "OBSERVE", "Observed"
    REMOVE = "REMOVE_DEVICE", "Device removed"
    THROMBECTOMY = "THROMBECTOMY", "Thrombectomy"
    BYPASS = "BYPASS", "Bypass"
    FASCIOTOMY = "FASCIOTOMY", "Fasciotomy"
    AMPUTATION = "AMPUTATION", "Amputation"


class NeuroKind(TextChoices):
    """NeuroARC types. Lansky AJ et al., J Am Coll Cardiol 2017;69:679–691,
    doi:10.1016/j.jacc.2016.11.045 (from memory)."""

    ISCHAEMIC = "1a", "Ischaemic stroke"
    ISCHAEMIC_BLEED = "1aH", "Ischaemic stroke with haemorrhagic change"
    INTRACEREBRAL = "1b", "Intracerebral haemorrhage"
    SUBARACHNOID = "1c", "Subarachnoid haemorrhage"
    STROKE_OTHER = "1d", "Stroke, not otherwise specified"
    HYPOXIC = "1e", "Hypoxic-ischaemic injury"
    COVERT = "2a", "Covert infarct (imaging only)"
    COVERT_BLEED = "2b", "Covert haemorrhage (imaging only)"
    TIA = "3a", "Transient ischaemic attack"
    DELIRIUM = "3b", "Delirium without injury"


class NeuroTiming(TextChoices):
    PROCEDURE = "PROCEDURAL_24H", "Within 24 h of the procedure"
    SUPPORT = "ON_SUPPORT", "On support"
    AFTER_REMOVAL = "AFTER_REMOVAL", "After removal"
    AFTER_TRANSPLANT = "AFTER_TRANSPLANT", "After transplant"


class InfectionKind(TextChoices):
    BLOODSTREAM_DEVICE = "BLOODSTREAM_DEVICE", "Bloodstream, device"
    BLOODSTREAM_OTHER = "BLOODSTREAM_OTHER", "Bloodstream, other source"
    SITE_LOCAL = "SITE_LOCAL", "Access site, superficial"
    SITE_DEEP = "SITE_DEEP", "Access site, deep"
    PNEUMONIA = "PNEUMONIA", "Pneumonia"
    URINE = "URINE", "Urinary"
    SEPSIS = "SEPSIS_UNKNOWN", "Sepsis, source unknown"
    OTHER = "OTHER", "Other"


class KidneyStage(IntegerChoices):
    """Kidney injury stage. KDIGO Clinical Practice Guideline for Acute Kidney Injury,
    Kidney Int Suppl 2012;2:1–138, doi:10.1038/kisup.2012.1."""

    ONE = 1, "Stage 1"
    TWO = 2, "Stage 2"
    THREE = 3, "Stage 3"


class AssistRatio(TextChoices):
    R11 = "1:1", "1:1"
    R12 = "1:2", "1:2"
    R13 = "1:3", "1:3"
    R14 = "1:4", "1:4"
    STANDBY = "STANDBY", "Standby"


class KinkSeen(TextChoices):
    NONE = "NONE", "None"
    IN_BALLOON = "IN_BALLOON", "Within the balloon"
    FIRST_CONNECTION = "OUTSIDE_FIRST_CONNECTION", "Just outside the first connection"
    SECUREMENT = "AT_SECUREMENT", "At the securement"
    SUBCUTANEOUS = "SUBCUTANEOUS", "Under the skin"


class SiteState(TextChoices):
    CLEAN = "CLEAN", "Clean"
    OOZE = "OOZE", "Oozing"
    HAEMATOMA = "HAEMATOMA", "Haematoma"
    ERYTHEMA = "ERYTHEMA", "Redness"
    PURULENCE = "PURULENCE", "Pus"
    TENDER = "TENDER", "Tender"


class Pulse(TextChoices):
    PRESENT = "PRESENT", "Present"
    DOPPLER = "DOPPLER_ONLY", "Doppler only"
    ABSENT = "ABSENT", "Absent"


class LimbNeuro(TextChoices):
    NORMAL = "NORMAL", "Normal"
    SENSORY = "SENSORY", "Sensory loss"
    MOTOR = "MOTOR", "Motor loss"
    BOTH = "BOTH", "Sensory and motor"


class NotMobilised(TextChoices):
    UNSTABLE = "UNSTABLE", "Unstable"
    SEDATED = "SEDATED", "Sedated"
    FEMORAL_POLICY = "FEMORAL_POLICY", "Femoral bed-rest policy"
    STAFFING = "STAFFING", "Staffing"
    PROCEDURE = "PROCEDURE", "Procedure that day"
    REFUSED = "REFUSED", "Refused"
    PAIN = "PAIN", "Pain"
    OTHER = "OTHER", "Other"


class Mobility(IntegerChoices):
    """ICU Mobility Scale. Hodgson C et al., Heart Lung 2014;43:19–24, doi:10.1016/j.hrtlng.2013.11.003."""

    L0 = 0, "0: nothing, or passive only"
    L1 = 1, "1: exercises sitting in bed"
    L2 = 2, "2: passively moved to chair"
    L3 = 3, "3: sitting over edge of bed"
    L4 = 4, "4: standing"
    L5 = 5, "5: transfer from bed to chair"
    L6 = 6, "6: marching on the spot"
    L7 = 7, "7: walking with two or more people"
    L8 = 8, "8: walking with one person"
    L9 = 9, "9: walking alone with an aid"
    L10 = 10, "10: walking alone without an aid"


OUT_OF_BED_LEVEL = Mobility.L4
WALK_LEVEL = Mobility.L7


class DuringMobilisation(TextChoices):
    """Anything during the session or within one hour after it."""

    NONE = "NONE", "Nothing"
    MIGRATION = "MIGRATION", "Balloon migration"
    AUGMENTATION = "AUGMENT_CHANGE", "Augmentation changed"
    ALARM = "ALARM", "Alarm"
    BLEED = "BLEED", "Bleeding"
    PARAESTHESIA = "PARAESTHESIA", "Numbness"
    HYPOTENSION = "HYPOTENSION", "Hypotension"
    ARRHYTHMIA = "ARRHYTHMIA", "Arrhythmia"
    FALL = "FALL", "Fall"
    LINE_PULL = "LINE_PULL", "Pulled line"


class Aid(TextChoices):
    NONE = "NONE", "None"
    FRAME = "FRAME", "Walking frame"
    TILT_TABLE = "TILT_TABLE", "Tilt table"
    CHAIR = "CHAIR", "Chair"
