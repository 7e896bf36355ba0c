"""What was measured and done beside the course of events: condition at the start, the procedure, values on
support, life afterwards. Each table follows the rows of courses or runs, or is a few rows of its own.

Read narrow: what fits a byte is a choice, what fits two shares a number with two others. -1 means not
recorded; a column called after tenths or thirds of a unit holds whole ones of these.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from zoneinfo import ZoneInfo

import numpy as np

from outcomes.dataset import codes
from outcomes.dataset.clock import NEVER
from outcomes.dataset.codes import UNRECORDED, numbered
from outcomes.dataset.copying import Column, read_columns
from outcomes.dataset.deriving import aligned, placed, positions, until
from outcomes.dataset.queries import Reader
from outcomes.dataset.tables import Courses, Events, Runs
from outcomes.estimators.arrays import Flags, Ints
from registry.choices import DeviceClass, Guidance, VitalStatus
from registry.choices_extended import OnSupport, SurfaceFormula
from registry.models import Course, CourseOutcome, DailyCheck, FollowUp, HaemodynamicSet, Run

Columns = Mapping[str, Ints]

YES_NO = (
    "arrest_modifier", "inotropes", "vasopressors", "ventilated", "rrt_at_start", "diabetes",
    "peripheral_disease", "prior_stroke", "prior_sternotomy", "smoking",
)  # fmt: skip
TENTHS = ("height_cm", "weight_kg", "haemoglobin_g_dl", "lactate_mmol_l")
WHOLE = (
    "lvef_pct", "lvedd_mm", "creatinine_umol_l", "bilirubin_umol_l", "platelets_10e9_l", "sodium_mmol_l"
)  # fmt: skip
LABORATORY = ("creatinine_umol_l", "haemoglobin_g_dl", "platelets_10e9_l", "lactate_mmol_l")
# Read together with the courses and runs, as every one of these has them.
OF_COURSE = ("admitted", "sex", "birth_year", "aetiology", "transferred")
OF_RUN = ("access", "urgency", "technical_success", "first_position", *(way.value for way in Guidance))
EARLY_DAYS = (1, 3)  # calendar days after the first insertion that stand for 24 to 72 h
LATE_ENTRY_DAYS = 7
NO_DAY = date(9999, 12, 31)
NO_DAY_NUMBER = (NO_DAY - date(1970, 1, 1)).days

LOWEST_RIGHT_ATRIAL = -5
CODE_BITS = 16
CODES_PER_WORD = 3
ON_PUMP = (OnSupport.PUMP, OnSupport.BOTH)


@dataclass(frozen=True, eq=False, repr=False)
class Clinical:
    """``course``, ``laboratory`` and ``aftermath`` follow the courses, ``run`` the runs, ``late_entered`` the
    events. ``pressures`` are sets of pressures and flow, sorted by course and time.

    Days of the aftermath are days since 1970: ``NEVER`` for what did not happen, -1 for never seen alive.
    """

    course: Columns
    run: Columns
    laboratory: Columns
    aftermath: Columns
    pressures: Columns
    late_entered: Flags


def set_apart(rows: dict[str, Ints], names: Iterable[str]) -> dict[str, Ints]:
    """Columns taken out of rows that were read, with the keys of these."""
    return {"pk": rows["pk"], **{name: rows.pop(name) for name in names}}


def read_clinical(
    reader: Reader,
    of_course: Columns,
    of_run: Columns,
    *,
    zone: ZoneInfo,
    cut: int,
    courses: Courses,
    runs: Runs,
    events: Events,
) -> Clinical:
    """All of it, for the courses, runs and events of a dataset read in the same snapshot.

    ``of_course`` and ``of_run`` are the columns that were read with the courses and runs, in their order.
    """
    return Clinical(
        course={**of_course, **aligned(_conditions(reader), courses.pk)},
        run={**of_run, **aligned(_procedure_values(reader), runs.pk)},
        laboratory=aligned(_laboratory(reader, zone), courses.pk),
        aftermath={
            **aligned(_discharges(reader), courses.pk, discharged_on=NEVER),
            **aligned(_follow_ups(reader), courses.pk, died_on=NEVER, found_dead_on=NEVER),
        },
        pressures=derive_pressures(_pressures(reader), courses, cut=cut),
        late_entered=positions(_late_entries(reader)["pk"], events.pk) >= 0,
    )


def derive_pressures(rows: dict[str, Ints], courses: Courses, *, cut: int) -> dict[str, Ints]:
    """Sets known at the cut, by course and time."""
    rows = placed(until(rows, "measured", cut), "course", courses.pk)
    order = np.lexsort((rows["measured"], rows["course"]))
    return {name: column[order] for name, column in rows.items()}


def _known(sql: str) -> str:
    return f"coalesce({sql}, {UNRECORDED})"


def _tenths(sql: str) -> str:
    return _known(f"round({sql} * 10)::int")


def _read(
    reader: Reader, columns: Mapping[str, Column], wide: Mapping[str, str], source: str, zone: str = ""
) -> dict[str, Ints]:
    """The columns, and those of ``wide`` (SQL from -1 to 65,534) three to a number."""
    names = list(wide)
    words = {
        f"wide_{start}": names[start : start + CODES_PER_WORD]
        for start in range(0, len(names), CODES_PER_WORD)
    }
    packed = {word: Column(_word([wide[name] for name in held]), "id") for word, held in words.items()}
    parameters = {
        "centres": list(reader.centres),
        "as_of": reader.as_of,
        "last_day": reader.last_day,
        "zone": zone,
    }
    rows = read_columns({**columns, **packed}, source, parameters)
    for word, held in words.items():
        numbers = rows.pop(word)
        for place, name in enumerate(held):
            code = (numbers >> (CODE_BITS * place)) & (2**CODE_BITS - 1)
            rows[name] = code.astype(np.int32) - np.int32(1)
    return rows


def _word(held: Sequence[str]) -> str:
    return " + ".join(f"(({sql}) + 1)::int8 * {2 ** (CODE_BITS * place)}" for place, sql in enumerate(held))


def _conditions(reader: Reader) -> dict[str, Ints]:
    """Condition at the start, of the courses in which any of it is recorded."""
    small = ("lvef_pct", "lvedd_mm", "sodium_mmol_l")
    columns = {
        "pk": Column("c.id", "id"),
        "presentation": Column(numbered("c.presentation", codes.PRESENTATIONS), "choice"),
        "pacing_device": Column(numbered("c.pacing_device", codes.PACING_DEVICES), "choice"),
        **{name: Column(_known(f"c.{name}::int"), "choice") for name in YES_NO},
        **{name: Column(_known(f"c.{name}"), "choice") for name in small},
        "haemoglobin_g_dl": Column(_tenths("c.haemoglobin_g_dl"), "choice"),
    }
    wide = {name: _tenths(f"c.{name}") for name in TENTHS if name not in columns}
    wide |= {name: _known(f"round(c.{name})::int") for name in WHOLE if name not in columns}
    filled = ", ".join(f"c.{name}" for name in (*YES_NO, *TENTHS, *WHOLE))
    some = f"num_nonnulls({filled}) > 0 OR c.presentation <> '' OR c.pacing_device <> ''"
    return _read(
        reader, columns, wide, f"{reader.rows(Course)} c WHERE {reader.of_centres('c')} AND ({some})"
    )


def _procedure_values(reader: Reader) -> dict[str, Ints]:
    """Times and amounts, of the runs in which any is recorded."""
    columns = {
        "pk": Column("r.id", "id"),
        "puncture_attempts": Column(_known("r.puncture_attempts"), "choice"),
        "standby_min": Column(_known("r.standby_min"), "choice"),
    }
    wide = {
        "procedure_min": _known("r.procedure_min"),
        "fluoroscopy_min": _tenths("r.fluoroscopy_min"),
        "contrast_ml": _known("r.contrast_ml"),
    }
    filled = ", ".join(f"r.{name}" for name in (*wide, "puncture_attempts", "standby_min"))
    rule = f"num_nonnulls({filled}) > 0 AND {reader.of_courses('r.course_id')}"
    return _read(reader, columns, wide, f"{reader.rows(Run)} r WHERE {rule}")


def _pressures(reader: Reader) -> dict[str, Ints]:
    """Sets that say what the patient was on. Mean pressures are in thirds of mmHg, as some are computed: the
    pulmonary one from systolic and diastolic, the arterial one too, but never on a balloon pump.
    """
    off = ", ".join(f"'{code.value}'" for code in OnSupport if code not in ON_PUMP)
    pump = ", ".join(f"'{code.value}'" for code in ON_PUMP)
    arterial = f"CASE WHEN h.on_support IN ({off}) THEN h.systolic_mmhg + 2 * h.diastolic_mmhg END"
    pulmonary = "h.pulmonary_systolic_mmhg + 2 * h.pulmonary_diastolic_mmhg"
    columns = {
        "course": Column("h.course_id", "id"),
        "measured": Column("h.measured_at", "moment"),
        "on_pump": Column(f"(h.on_support IN ({pump}))::int", "choice"),
        "du_bois": Column(f"(h.surface_formula <> '{SurfaceFormula.MOSTELLER.value}')::int", "choice"),
        "right_atrial": Column(_known(f"h.right_atrial_mmhg - ({LOWEST_RIGHT_ATRIAL})"), "choice"),
        "wedge": Column(_known("h.wedge_mmhg"), "choice"),
        "output_tenths": Column(_tenths("h.output_l_min"), "choice"),
        "mixed_venous": Column(_known("h.mixed_venous_pct"), "choice"),
    }
    wide = {
        "arterial_thirds": _known(f"coalesce(h.mean_mmhg * 3, {arterial})"),
        "pulmonary_thirds": _known(f"coalesce(h.pulmonary_mean_mmhg * 3, {pulmonary})"),
        "heart_rate": _known("h.heart_rate_per_min"),
    }
    source = f"{reader.rows(HaemodynamicSet)} h WHERE h.on_support <> ''"
    return _read(reader, columns, wide, f"{source} AND {reader.of_courses('h.course_id')}")


def _laboratory(reader: Reader, zone: ZoneInfo) -> dict[str, Ints]:
    """Values in the daily rows of balloon pumps, one row a course: the last of the early days, and the last
    from the day after the first insertion on.
    """
    first, last = EARLY_DAYS
    began = "(f.inserted_at AT TIME ZONE %(zone)s)::date"
    day = f"(d.checked_on - {began})"
    columns = {"pk": Column("r.course_id", "id")}
    wide = {}
    for name in LABORATORY:
        # The day stands before the value in one number, so that the greatest is that of the last day.
        value = f"{day}::int8 * {2**CODE_BITS} + round(d.{name} * {10 if name in TENTHS else 1})::int8"
        early = f"max({value}) FILTER (WHERE {day} <= {last})"
        wide[f"{name}_early"] = _known(f"({early}) & {2**CODE_BITS - 1}")
        wide[f"{name}_last"] = _known(f"(max({value})) & {2**CODE_BITS - 1}")
    joined = (
        f"{reader.rows(DailyCheck)} d JOIN {reader.rows(Run)} r ON r.id = d.run_id "
        f"JOIN {reader.rows(Run)} f ON f.course_id = r.course_id AND f.run_no = 1"
    )
    filled = " OR ".join(f"d.{name} IS NOT NULL" for name in LABORATORY)
    rule = (
        f"({filled}) AND d.checked_on <= %(last_day)s AND {day} >= {first} "
        f"AND r.device_class = '{DeviceClass.IABP.value}' AND {reader.of_courses('r.course_id')}"
    )
    return _read(reader, columns, wide, f"{joined} WHERE {rule} GROUP BY r.course_id", zone.key)


def _discharges(reader: Reader) -> dict[str, Ints]:
    """Courses whose patient has left hospital, and whether alive."""
    columns = {
        "pk": Column("o.course_id", "id"),
        "discharged_on": Column("o.discharged_on", "day"),
        "left_alive": Column(numbered("o.discharge_status", (VitalStatus.DEAD, VitalStatus.ALIVE)), "choice"),
    }
    rule = f"o.discharged_on <= %(last_day)s AND {reader.of_courses('o.course_id')}"
    return _read(reader, columns, {}, f"{reader.rows(CourseOutcome)} o WHERE {rule}")


def _follow_ups(reader: Reader) -> dict[str, Ints]:
    """What follow-up found, one row a course: the day of death, or else the day it was learnt of; the last
    day known alive; the worst graft dysfunction.
    """
    dead, alive = VitalStatus.DEAD.value, VitalStatus.ALIVE.value
    learnt = f"min(u.seen_on) FILTER (WHERE u.status = '{dead}')"
    seen = f"max(u.seen_on) FILTER (WHERE u.status = '{alive}')"
    columns = {
        "pk": Column("u.course_id", "id"),
        "died_on": Column(f"coalesce(min(u.died_on), date '{NO_DAY}')", "day"),
        "found_dead_on": Column(f"coalesce({learnt}, date '{NO_DAY}')", "day"),
        "alive_on": Column(f"coalesce({seen}, date '1969-12-31')", "day"),
        "graft_dysfunction": Column(f"max({numbered('u.graft_dysfunction', codes.SEVERITIES)})", "choice"),
    }
    rule = f"u.seen_on <= %(last_day)s AND {reader.of_courses('u.course_id')}"
    rows = _read(reader, columns, {}, f"{reader.rows(FollowUp)} u WHERE {rule} GROUP BY u.course_id")
    for name in ("died_on", "found_dead_on"):
        rows[name] = np.where(rows[name] == NO_DAY_NUMBER, NEVER, rows[name])
    return rows


def _late_entries(reader: Reader) -> dict[str, Ints]:
    """Events first entered long after the onset that was then given, by their history."""
    known = "AND h.pgh_created_at <= %(as_of)s" if reader.as_of else ""
    late = f"h.pgh_created_at > h.onset_at + interval '{LATE_ENTRY_DAYS} days'"
    rule = f"h.pgh_label = 'insert' AND {late} {known} AND {reader.of_courses('h.course_id')}"
    return _read(reader, {"pk": Column("h.pgh_obj_id", "id")}, {}, f"registry_eventhistory h WHERE {rule}")
