"""Published criteria, shortened, as they stand beside the fields they grade.

Each has its citation and a version, which changes with the wording: a confirmation in the settings counts for
one version only. ``from_memory`` marks what was written down without the paper at hand.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from registry.choices_events import EventKind, Mobility
from registry.models import Centre, ConfirmedDefinition


@dataclass(frozen=True)
class Criteria:
    """One classification: ``grades`` holds (grade, what it asks for)."""

    name: str
    title: str
    source: str
    version: str
    grades: tuple[tuple[str, str], ...]
    note: str = ""
    from_memory: bool = False


BARC = Criteria(
    "barc",
    "BARC bleeding types",
    "Mehran R et al., Standardized bleeding definitions for cardiovascular clinical trials, Circulation "
    "2011;123:2736–2747, doi:10.1161/CIRCULATIONAHA.110.009449",
    "2011",
    (
        ("1", "Not actionable."),
        ("2", "Overt and actionable, none of the types below."),
        ("3a", "Overt with a haemoglobin drop of 3 to below 5 g/dL, or any transfusion for it."),
        ("3b", "Drop of 5 g/dL or more, tamponade, surgery to control it, or intravenous vasoactives."),
        ("3c", "Intracranial (microbleeds and haemorrhagic change of an infarct aside), or sight at risk."),
        ("4", "Around bypass surgery, within 48 h."),
        ("5a, 5b", "Fatal: probable, definite."),
    ),
    "The drop is corrected: add 1 g/dL for each unit of red cells given.",
)
ISTH = Criteria(
    "isth",
    "ISTH major bleeding",
    "Schulman S, Kearon C, Definition of major bleeding in clinical investigations of antihemostatic "
    "medicinal products in non-surgical patients, J Thromb Haemost 2005;3:692–694, "
    "doi:10.1111/j.1538-7836.2005.01204.x",
    "2005",
    (
        (
            "Major",
            "Fatal; or in a critical site (intracranial, intraspinal, intraocular, retroperitoneal, "
            "intra-articular, pericardial, muscle with compartment syndrome); or a haemoglobin fall of "
            "2 g/dL or more; or 2 or more units of red cells.",
        ),
    ),
)
RUTHERFORD = Criteria(
    "rutherford",
    "Acute limb ischaemia",
    "Rutherford RB et al., Recommended standards for reports dealing with lower extremity ischemia, J Vasc "
    "Surg 1997;26:517–538, doi:10.1016/S0741-5214(97)70045-4",
    "1997",
    (
        ("I", "Viable: no loss of feeling or power."),
        ("IIa", "Marginally threatened: no loss of feeling, or the toes only; full power."),
        ("IIb", "Immediately threatened: loss of feeling beyond the toes; mild to moderate weakness."),
        ("III", "Irreversible: profound loss of feeling and power."),
    ),
    "Written for legs; for an arm read fingers for toes.",
)
KDIGO = Criteria(
    "kdigo",
    "KDIGO acute kidney injury",
    "KDIGO Clinical Practice Guideline for Acute Kidney Injury, Kidney Int Suppl 2012;2:1–138, "
    "doi:10.1038/kisup.2012.1",
    "2012",
    (
        (
            "1",
            "1.5 to 1.9 times baseline within 7 days, or a rise of 26.5 µmol/L or more within 48 h, "
            "or urine below 0.5 mL/kg/h for 6 to 12 h.",
        ),
        ("2", "2.0 to 2.9 times baseline, or urine below 0.5 mL/kg/h for 12 h or more."),
        (
            "3",
            "3.0 times baseline or more, or 353.6 µmol/L or more, or renal replacement begun, "
            "or urine below 0.3 mL/kg/h for 24 h or more, or none for 12 h.",
        ),
    ),
    "The worst criterion decides.",
)
MOBILITY = Criteria(
    "mobility",
    "ICU Mobility Scale",
    "Hodgson C et al., Feasibility and inter-rater reliability of the ICU Mobility Scale, Heart Lung "
    "2014;43:19–24, doi:10.1016/j.hrtlng.2013.11.003",
    "2014",
    tuple((str(level), text.partition(": ")[2]) for level, text in Mobility.choices),
    "The highest level reached, however short.",
)
SCAI = Criteria(
    "scai",
    "SCAI shock stages",
    "Naidu SS et al., SCAI SHOCK stage classification expert consensus update, J Am Coll Cardiol "
    "2022;79:933–946, doi:10.1016/j.jacc.2022.01.018",
    "2022",
    (
        ("A", "At risk: normal pressure, warm, normal lactate."),
        ("B", "Beginning: relative hypotension or a fast pulse without hypoperfusion; normal lactate."),
        (
            "C",
            "Classic: hypoperfusion that needs a drug or a device beyond volume; lactate 2 mmol/L or more, "
            "creatinine 1.5 times or 26.5 µmol/L above baseline, urine below 30 mL/h.",
        ),
        ("D", "Deteriorating: as C and not answering the first support; more drugs or devices."),
        ("E", "Extremis: collapse; lactate 8 mmol/L or more, pH below 7.2, base deficit above 10."),
    ),
    "Judged at the bedside. What is computed here is the least stage that the entered values meet.",
)
VARC = Criteria(
    "varc",
    "VARC-3 vascular complications",
    "VARC-3 writing committee, Valve Academic Research Consortium 3: updated endpoint definitions for aortic "
    "valve clinical research, Eur Heart J 2021;42:1825–1857, doi:10.1093/eurheartj/ehaa799",
    "VARC-3, 2021",
    (
        (
            "Major",
            "Any aortic dissection or rupture; any other lesion, unplanned intervention or closure failure "
            "that leads to death, bleeding of VARC type 2 or more, limb or visceral ischaemia, or "
            "irreversible neurological impairment.",
        ),
        ("Minor", "The same lesions or interventions without those results."),
    ),
    "Written for transcatheter valves and borrowed here.",
    from_memory=True,
)
MALFUNCTION = Criteria(
    "malfunction",
    "Device malfunction",
    "Kormos RL et al., The Society of Thoracic Surgeons Intermacs/MCS-ARC consensus on adverse event "
    "definitions, J Heart Lung Transplant 2020;39:735–750, doi:10.1016/j.healun.2020.03.010",
    "MCS-ARC, 2020",
    (
        (
            "Major",
            "A failure that causes or could cause inadequate support or death, or leads to exchange, "
            "removal, urgent transplant or repair.",
        ),
        ("Minor", "Any other failure."),
    ),
    from_memory=True,
)
NEURO = Criteria(
    "neuro",
    "NeuroARC types",
    "Lansky AJ et al., Proposed standardized neurological endpoints for cardiovascular clinical trials, J Am "
    "Coll Cardiol 2017;69:679–691, doi:10.1016/j.jacc.2016.11.045",
    "NeuroARC, 2017",
    (
        ("1", "Overt injury of the brain: symptoms with infarct, bleeding or hypoxic injury."),
        ("2", "Covert injury: found on imaging only."),
        ("3", "Symptoms without injury: transient ischaemic attack, delirium."),
    ),
    "Disabling: Rankin 2 or more at 90 days with a rise of at least 1.",
    from_memory=True,
)
ALL: tuple[Criteria, ...] = (
    BARC, ISTH, RUTHERFORD, KDIGO, MOBILITY, SCAI, VARC, MALFUNCTION, NEURO,
)  # fmt: skip

OF_FIELD: dict[tuple[str, str], tuple[Criteria, ...]] = {
    ("event", "barc"): (BARC, ISTH),
    ("event", "rutherford"): (RUTHERFORD,),
    ("event", "kidney_stage"): (KDIGO,),
    ("event", "neuro_kind"): (NEURO,),
    ("daily_check", "mobility_best"): (MOBILITY,),
    ("mobilisation", "level"): (MOBILITY,),
    ("course", "shock_stage"): (SCAI,),
}
SEVERITY: dict[str, Criteria] = {
    EventKind.KINK: MALFUNCTION,
    EventKind.ACCESS_SITE: VARC,
    EventKind.VASCULAR: VARC,
    EventKind.VISCERAL: VARC,
}


def criteria_for(entity: str, field: str, kind: str = "") -> tuple[Criteria, ...]:
    """What stands beside a field; ``kind`` is the kind of event."""
    if (entity, field) == ("event", "severity"):
        return (SEVERITY[kind],) if kind in SEVERITY else ()
    return OF_FIELD.get((entity, field), ())


def unconfirmed(centre: Centre) -> frozenset[str]:
    """Names of the criteria from memory that nobody at this centre has compared with the paper."""
    given = set(ConfirmedDefinition.objects.filter(centre=centre).values_list("name", "version"))
    return frozenset(c.name for c in _from_memory(ALL) if (c.name, c.version) not in given)


def _from_memory(listed: Iterable[Criteria]) -> list[Criteria]:
    return [criteria for criteria in listed if criteria.from_memory]
