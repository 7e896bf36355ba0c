"""What was measured: patients at the start, the procedure, values before and on support."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from datetime import timedelta
from math import sqrt
from statistics import mean, quantiles, stdev

from scipy.stats import t

from tests.outcomes.recomputing.rows import (
    DAY,
    GROUPS,
    Cells,
    Course,
    Figure,
    Recomputation,
    day_of,
    key_of,
    moment,
    of,
)

NUMBERS = {
    "height": "height_cm", "lvef": "lvef_pct", "lvedd": "lvedd_mm", "creatinine": "creatinine_umol_l",
    "bilirubin": "bilirubin_umol_l", "haemoglobin": "haemoglobin_g_dl", "platelets": "platelets_10e9_l",
    "lactate": "lactate_mmol_l", "sodium": "sodium_mmol_l",
}  # fmt: skip
YES_NO = {
    "transferred": "transferred_in", "inotropes": "inotropes", "vasopressors": "vasopressors",
    "ventilated": "ventilated", "rrt_at_start": "rrt_at_start", "arrest": "arrest_modifier",
    "diabetes": "diabetes", "peripheral": "peripheral_disease", "stroke": "prior_stroke",
    "sternotomy": "prior_sternotomy", "smoking": "smoking",
}  # fmt: skip
LEVELS = {
    "stage": "shock_stage",
    "intent": "intent",
    "aetiology": "aetiology",
    "presentation": "presentation",
}
ACCESS = ("PERCUTANEOUS", "OPEN_CUTDOWN", "GRAFT_CONDUIT")
GUIDANCE = ("ULTRASOUND", "FLUORO", "ROADMAP_WIRE", "ANGIO", "LANDMARK")
AMOUNTS = {
    "punctures": "puncture_attempts", "time": "procedure_min", "fluoroscopy": "fluoroscopy_min",
    "contrast": "contrast_ml", "standby": "standby_min",
}  # fmt: skip
LABORATORY = {name: NUMBERS[name] for name in ("creatinine", "haemoglobin", "platelets", "lactate")}


def _number(text: str) -> float | None:
    return float(text) if text else None


def _yes(text: str) -> float | None:
    return {"yes": 1.0, "no": 0.0}.get(text)


def _quartiles(values: Sequence[float]) -> tuple[float, float, float]:
    if len(values) == 1:
        return values[0], values[0], values[0]
    low, middle, high = quantiles(values, n=4, method="inclusive")
    return middle, low, high


def median(book: Recomputation, key: str, values: Sequence[float | None]) -> None:
    known = [value for value in values if value is not None]
    book.figures[key] = Figure(len(known), len(values), *(_quartiles(known) if known else ()))


def share(book: Recomputation, key: str, values: Iterable[float | None], *, limits: bool = False) -> None:
    known = [value for value in values if value is not None]
    book.share(key, sum(value == 1 for value in known), len(known), limits=limits)


def _apart(book: Recomputation, key: str, pairs: Sequence[tuple[str, float | None]], *, binary: bool) -> None:
    """Axillary less femoral in standard deviations: the root of the mean of both variances."""
    arms = [
        [value for route, value in pairs if route == arm and value is not None]
        for arm in ("AXILLARY", "FEMORAL")
    ]
    value = None
    if arms[0] and arms[1]:
        apart = mean(arms[0]) - mean(arms[1])
        spread = sqrt(mean(_variance(arm, binary=binary) for arm in arms))
        value = apart / spread if spread else (0.0 if apart == 0 else None)
    book.figures[key] = Figure(len(arms[0]) + len(arms[1]), len(pairs), value)


def _variance(values: Sequence[float], *, binary: bool) -> float:
    if binary:
        return mean(values) * (1 - mean(values))
    return stdev(values) ** 2 if len(values) > 1 else 0.0


def baseline(book: Recomputation) -> None:
    """Patients at the start, by the route of the first run."""
    patients = {cells["study_no"]: cells for cells in book.log.table("patients")}
    told = {key_of(cells): cells for cells in book.log.table("courses")}
    for name, describe, binary in _characteristics(book, patients, told):
        pairs = [(course.route, describe(course)) for course in book.begun]
        for group in GROUPS:
            values = [value for route, value in pairs if group in ("ALL", route)]
            (share if binary else median)(book, f"baseline/{group}/{name}", values)
        _apart(book, f"baseline/ALL/{name}/difference", pairs, binary=binary)


Described = tuple[str, Callable[[Course], float | None], bool]


def _characteristics(
    book: Recomputation, patients: dict[str, Cells], told: dict[tuple[str, str], Cells]
) -> list[Described]:
    def age(course: Course) -> float:
        return course.started_at.year - int(patients[course.key[0]]["birth_year"])

    def mass_index(course: Course) -> float | None:
        height, weight = (_number(told[course.key][name]) for name in ("height_cm", "weight_kg"))
        return None if height is None or weight is None else weight / (height / 100) ** 2

    def admitted(course: Course) -> float | None:
        text = told[course.key]["admitted_at"]
        return max(course.started_at - moment(text), timedelta()) / DAY if text else None

    def paced(course: Course) -> float | None:
        code = told[course.key]["pacing_device"]
        return None if not code else float(code != "NONE")

    found: list[Described] = [
        ("age", age, False), ("bmi", mass_index, False), ("admitted", admitted, False),
        ("pacing", paced, True),
        ("female", lambda course: float(patients[course.key[0]]["sex"] == "F"), True),
    ]  # fmt: skip
    for name, column in NUMBERS.items():
        found.append((name, lambda course, column=column: _number(told[course.key][column]), False))
    for name, column in YES_NO.items():
        found.append((name, lambda course, column=column: _yes(told[course.key][column]), True))
    for name, column in LEVELS.items():
        found += _levels(book, name, lambda course, column=column: told[course.key][column])
    return [*found, *_levels(book, "urgency", lambda course: course.runs[0].cells["urgency"])]


def _levels(book: Recomputation, name: str, code_of: Callable[[Course], str]) -> list[Described]:
    """One yes or no for each level that occurs; an unknown cause is no answer."""
    known = {code_of(course) for course in book.begun} - {"", "UNK"}

    def described(level: str) -> Described:
        def is_level(course: Course) -> float | None:
            return None if code_of(course) not in known else float(code_of(course) == level)

        return f"{name}/{level}", is_level, True

    return [described(level) for level in known]


def procedure(book: Recomputation) -> None:
    """How pumps were placed here."""
    for group in GROUPS:
        runs = [run for run in of(group, book.begun_runs) if run.seen_from == run.inserted_at]
        key = f"procedure/{group}"
        share(book, f"{key}/success", [_yes(run.cells["technical_success"]) for run in runs], limits=True)
        verdicts = [run.cells["first_position"] for run in runs]
        told = [None if code in ("", "CANNOT_TELL") else float(code == "ACCEPTABLE") for code in verdicts]
        share(book, f"{key}/position", told, limits=True)
        for code in ACCESS:
            share(book, f"{key}/access/{code}", [float(run.cells["access_method"] == code) for run in runs])
        for code in GUIDANCE:
            used = [float(code in run.cells["guidance"].split(";")) for run in runs]
            share(book, f"{key}/guidance/{code}", used)
        for name, column in AMOUNTS.items():
            asked = [run for run in runs if name != "standby" or run.cells["replaces_run_no"]]
            median(book, f"{key}/{name}", [_number(run.cells[column]) for run in asked])


def on_support(book: Recomputation) -> None:
    """The same courses before and on the pump."""
    for when in ("early", "last"):
        pairs = {course.key: _pairs(book, course, when) for course in book.begun}
        for name in (*_MEASURED, *LABORATORY):
            for group in GROUPS:
                mine = [pairs[course.key][name] for course in of(group, book.begun)]
                _changes(book, f"support.{when}/{group}/{name}", mine, with_medians=group == "ALL")


Pair = tuple[float | None, float | None]


def _changes(book: Recomputation, key: str, pairs: Sequence[Pair], *, with_medians: bool) -> None:
    both = [(a, b) for a, b in pairs if a is not None and b is not None]
    if with_medians:
        for place, part in ((0, "before"), (1, "after")):
            values = [pair[place] for pair in both]
            numbers = _quartiles(values) if values else ()
            book.figures[f"{key}/{part}"] = Figure(len(both), len(pairs), *numbers)
    changes = [b - a for a, b in both]
    limits: tuple[float, ...] = ()
    if len(changes) > 1:
        width = float(t.ppf(0.975, len(changes) - 1)) * stdev(changes) / sqrt(len(changes))
        limits = (mean(changes) - width, mean(changes) + width)
    book.figures[f"{key}/change"] = Figure(
        len(both), len(pairs), *([mean(changes), *limits] if changes else [])
    )


def _pairs(book: Recomputation, course: Course, when: str) -> dict[str, Pair]:
    told = next(cells for cells in book.log.table("courses") if key_of(cells) == course.key)
    in_time = sorted(book.log.table("haemodynamics"), key=lambda cells: moment(cells["measured_at"]))
    sets = [
        (moment(cells["measured_at"]) - course.started_at, cells)
        for cells in in_time
        if key_of(cells) == course.key and moment(cells["measured_at"]) <= book.log.cut
    ]
    off = [
        cells
        for at, cells in sets
        if cells["on_support"] in ("NONE", "INOTROPE") and -7 * DAY <= at <= timedelta()
    ]
    on = [
        cells
        for at, cells in sets
        if cells["on_support"] in ("IABP", "BOTH") and at >= DAY and (when == "last" or at <= 3 * DAY)
    ]
    found = {
        name: (_last(read(cells, told) for cells in off), _last(read(cells, told) for cells in on))
        for name, read in _MEASURED.items()
    }
    return found | {
        name: (_number(told[column]), _laboratory(book, course, column, when))
        for name, column in LABORATORY.items()
    }


def _last(values: Iterable[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return known[-1] if known else None


def _laboratory(book: Recomputation, course: Course, column: str, when: str) -> float | None:
    pumps = {run.number for run in course.runs if run.is_pump}
    begun = book.log.day(course.started_at)
    rows = [
        ((day_of(cells["checked_on"]) - begun).days, cells[column])
        for cells in book.log.daily
        if key_of(cells) == course.key and cells["run_no"] in pumps
    ]
    return _last(
        _number(text) for number, text in sorted(rows) if number >= 1 and (when == "last" or number <= 3)
    )


def _mean(measured: str, high: str, low: str) -> float | None:
    if measured:
        return float(measured)
    return (float(high) + 2 * float(low)) / 3 if high and low else None


def _arterial(cells: Cells, told: Cells) -> float | None:
    off = cells["on_support"] in ("NONE", "INOTROPE")
    return _mean(cells["mean_mmhg"], cells["systolic_mmhg"] if off else "", cells["diastolic_mmhg"])


def _pulmonary(cells: Cells, told: Cells) -> float | None:
    names = ("pulmonary_mean_mmhg", "pulmonary_systolic_mmhg", "pulmonary_diastolic_mmhg")
    return _mean(*(cells[name] for name in names))


def _index(cells: Cells, told: Cells) -> float | None:
    output, height, weight = cells["output_l_min"], told["height_cm"], told["weight_kg"]
    if not (output and height and weight):
        return None
    surface = sqrt(float(height) * float(weight) / 3600)
    if cells["surface_formula"] != "MOSTELLER":
        surface = 0.007184 * float(height) ** 0.725 * float(weight) ** 0.425
    return float(output) / surface


_MEASURED: dict[str, Callable[[Cells, Cells], float | None]] = {
    "arterial": _arterial,
    "heart_rate": lambda cells, told: _number(cells["heart_rate_per_min"]),
    "right_atrial": lambda cells, told: _number(cells["right_atrial_mmhg"]),
    "pulmonary": _pulmonary,
    "wedge": lambda cells, told: _number(cells["wedge_mmhg"]),
    "output": lambda cells, told: _number(cells["output_l_min"]),
    "index": _index,
    "mixed_venous": lambda cells, told: _number(cells["mixed_venous_pct"]),
}
