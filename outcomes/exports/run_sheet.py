"""The de-identified rows of the extract as a sheet of the workbook, or the reason why they are not there."""

from __future__ import annotations

from outcomes.exports.material import Material
from outcomes.exports.sheet import Column, Sheet, Value
from outcomes.exports.workbook import workbook
from outcomes.extract import Extract, TooFewAlikeError, build_extract
from outcomes.extract.files import note_extract
from registry.models import Centre, User

NAME = "Runs"
SOURCE = "all ended balloon-pump runs of the centre whose patients did not withdraw, not of this period alone"
COLUMNS = (
    Column("code", "one patient; random, new in every file", 15),
    Column("year", "year of insertion; any: given up so that enough patients are alike", 8),
    Column(
        "age",
        "age at insertion in bands; above 89 always 90+; any: given up; unknown: born later by the record",
        8,
    ),
    Column("sex", "as recorded; any: given up", 6),
    Column("route", "AXILLARY, FEMORAL or OTHER", 11),
    Column("access", "access method, a code of the dictionary", 16),
    Column("intent", "intent at the start of the course, a code of the dictionary", 12),
    Column("shock_stage", "shock stage at the start, a code of the dictionary", 11),
    Column("relation", "how the run relates to the one before, a code of the dictionary", 20),
    Column("run_no", "position of the run in its course", 8),
    Column("dwell_days", "days in place, one decimal", 10),
    Column("out_of_bed_day", "whole days from insertion to the first session out of bed; empty: none", 14),
    Column("walk_day", "whole days from insertion to the first walk; empty: none", 10),
    Column("outcome", "outcome of the course, a code of the dictionary; empty: none yet", 18),
    Column("outcome_day", "whole days from insertion of this run to the outcome", 12),
    Column("events", "KIND:whole days from insertion, joined by semicolons", 44),
)
REASON_COLUMNS = (Column("not_shown", "why the rows of the runs are not in this file", 110),)


def workbook_with_runs(
    material: Material, *, centre: Centre, by: User, purpose: str, approval: str, smallest_group: int
) -> bytes:
    """The workbook with the rows, noted as an extract; or with the reason for their absence, as none left.

    ``material`` must hide small counts, curves and cases: beside the rows they would date single runs.
    Raises ValueError if it does not.
    """
    if material.smallest_cell is None:
        raise ValueError("material: must be as the quality committee sees it")
    try:
        made = build_extract(centre=centre, smallest_group=smallest_group)
    except TooFewAlikeError as refusal:
        return workbook(material, [refused_sheet(refusal)])
    body = workbook(material, [run_sheet(made)])
    note_extract(made, body, centre=centre, by=by, purpose=purpose, approval=approval)
    return body


def run_sheet(extract: Extract) -> Sheet:
    """A row for each run, in shuffled order; the source says how many patients are alike at least."""
    given_up = "; ".join(extract.coarsened) or "nothing"
    source = f"{SOURCE}; at least {extract.k} patients alike; given up for it: {given_up}"
    rows = tuple(
        (code, *(_written(getattr(row, column.name)) for column in COLUMNS[1:])) for code, row in extract.rows
    )
    return Sheet(NAME, COLUMNS, rows, source)


def _written(value: Value | tuple[tuple[str, int], ...]) -> Value:
    return ";".join(f"{kind}:{day}" for kind, day in value) if isinstance(value, tuple) else value


def refused_sheet(refusal: TooFewAlikeError) -> Sheet:
    """In place of the rows: they would single people out."""
    return Sheet(NAME, REASON_COLUMNS, ((f"{refusal} No run is shown.",),), f"none: {refusal}")
