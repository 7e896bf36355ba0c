"""A spreadsheet on its way in: kept for its owner only, read as the owner decided, and then forgotten."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django.utils import timezone

from registry.models import Centre, ColumnMatch, SheetState, StagedSheet, User
from registry.spreadsheet.columns import Layout, Target, fold, guess, targets
from registry.spreadsheet.header import find_grid
from registry.spreadsheet.limits import Cell, RefusedFile
from registry.spreadsheet.orders import DayOrder, evidence
from registry.spreadsheet.rows import digest_of, read_row
from registry.spreadsheet.saving import Order
from registry.spreadsheet.text import decode, read_text
from registry.spreadsheet.units import proven_unit, unit_in
from registry.spreadsheet.values import ColumnReading
from registry.spreadsheet.workbook import RawSheet, is_workbook, read_sheet, sheet_names

KEPT = timedelta(hours=12)
NAME_LENGTH = 200
PASTED = "Pasted rows"


def staged_by(user: User) -> StagedSheet | None:
    """The sheet this person is importing. What was left half a day ago, by anybody, is forgotten here."""
    StagedSheet.objects.filter(staged_at__lt=timezone.now() - KEPT).delete()
    return StagedSheet.objects.filter(owner=user).first()


def forget(user: User) -> None:
    """Drop what this person was importing."""
    StagedSheet.objects.filter(owner=user).delete()


def stage(user: User, *, name: str, data: bytes = b"", text: str = "") -> StagedSheet:
    """Take in a file, or pasted text, in place of what was there before. Raises RefusedFile."""
    sheet = StagedSheet(owner=user, name=name[:NAME_LENGTH] or PASTED)
    if data and is_workbook(data):
        sheet.sheets = sheet_names(data)
        if not sheet.sheets:
            raise RefusedFile("This workbook has no visible sheet.")
        sheet.upload = data
        if len(sheet.sheets) == 1:
            choose(sheet, sheet.sheets[0])
    else:
        _take(sheet, RawSheet(read_text(text or decode(data)), []))
    forget(user)
    sheet.save()
    return sheet


def choose(sheet: StagedSheet, name: str) -> None:
    """Read one sheet of the workbook and drop the file. The caller saves. Raises RefusedFile."""
    _take(sheet, read_sheet(bytes(sheet.upload or b""), name))
    sheet.upload = None


def _take(sheet: StagedSheet, raw: RawSheet) -> None:
    grid = find_grid(raw.rows, raw.merged)
    sheet.grid = {
        "headings": grid.headings,
        "rows": grid.rows,
        "passed_over": grid.passed_over,
        "epoch_1904": raw.epoch_1904,
    }
    sheet.state = SheetState.READING
    sheet.rows_total = len(grid.rows)


def column(sheet: StagedSheet, place: int) -> list[Cell]:
    """All cells of one column."""
    return [cells[place] for _, cells in sheet.grid["rows"]]


def suggest_matches(sheet: StagedSheet, layout: str, centre: Centre) -> dict[int, str]:
    """A target for each column: as matched last time, else by its heading."""
    headings = sheet.grid["headings"]
    remembered = {match.heading: match.target for match in _remembered(centre, layout)}
    found = guess(headings, layout)
    for place, heading in enumerate(headings):
        if fold(heading) in remembered:
            found[place] = remembered[fold(heading)]
    return _each_once(found)


def _each_once(found: dict[int, str]) -> dict[int, str]:
    taken: set[str] = set()
    once = {}
    for place, target in sorted(found.items()):
        once[place] = "" if target in taken else target
        taken.add(target)
    return once


def _remembered(centre: Centre, layout: str) -> list[ColumnMatch]:
    return list(ColumnMatch.objects.filter(centre=centre, layout=layout))


def remembered_reading(sheet: StagedSheet, place: int, centre: Centre) -> ColumnMatch | None:
    """How the column was read last time, if it was matched to the same target."""
    said = sheet.decisions["columns"][str(place)]
    heading = fold(sheet.grid["headings"][place])
    return ColumnMatch.objects.filter(
        centre=centre, layout=sheet.decisions["layout"], heading=heading, target=said["target"]
    ).first()


def guess_layout(sheet: StagedSheet) -> str:
    """Whether the headings look like those of events or of device runs."""
    scores = {
        layout: sum(
            not target.startswith("patient.") for target in guess(sheet.grid["headings"], layout).values()
        )
        for layout in Layout
    }
    return max(scores, key=lambda layout: scores[layout])


def readings(sheet: StagedSheet) -> list[ColumnReading]:
    """How each matched column is read, by what was decided."""
    known = targets(sheet.decisions["layout"])
    return [
        ColumnReading(
            place=int(place),
            heading=sheet.grid["headings"][int(place)],
            target=known[said["target"]],
            unit=said.get("unit", "") or _own_unit(sheet, int(place), known[said["target"]]),
            day_order=said.get("day_order")
            or evidence(column(sheet, int(place))).proven
            or DayOrder.DAY_FIRST,
            swapped=said.get("swapped") == "yes",
            epoch_1904=sheet.grid["epoch_1904"],
            words=said.get("words", {}),
        )
        for place, said in sheet.decisions.get("columns", {}).items()
        if said.get("target") in known
    ]


def _own_unit(sheet: StagedSheet, place: int, target: Target) -> str:
    """The unit that the heading names or the values prove."""
    return unit_in(sheet.grid["headings"][place], target) or proven_unit(target, column(sheet, place))


def order_of(sheet: StagedSheet) -> Order:
    """The import that the decisions ask for, its rows read."""
    how = readings(sheet)
    layout, headings = sheet.decisions["layout"], sheet.grid["headings"]
    fixed = _fixed(sheet)
    rows = [
        read_row(
            number,
            cells,
            how,
            digest=digest_of(layout, headings, cells),
            fixed=fixed,
            assumed=sheet.decisions.get("assumed", ""),
        )
        for number, cells in sheet.grid["rows"]
    ]
    return Order(layout, rows, sheet.decisions.get("answers", {}), sheet.decisions.get("reason", ""))


def _fixed(sheet: StagedSheet) -> dict[str, Any]:
    known = targets(sheet.decisions["layout"])
    found = {}
    for name, value in sheet.decisions.get("fixed", {}).items():
        field = known[name].field
        found[name] = [value] if hasattr(field, "codes") else field.to_python(value)
    return found


def remember(sheet: StagedSheet, centre: Centre) -> None:
    """Keep how the columns were read, for the next sheet with the same headings."""
    said = sheet.decisions.get("columns", {})
    matches = {}
    for place, heading in enumerate(sheet.grid["headings"]):
        own = said.get(str(place), {})
        matches[fold(heading)] = ColumnMatch(
            centre=centre,
            layout=sheet.decisions["layout"],
            heading=fold(heading),
            target=own.get("target", ""),
            unit=own.get("unit", ""),
            day_order=own.get("day_order", ""),
            words=own.get("words", {}),
        )
    ColumnMatch.objects.bulk_create(
        matches.values(),
        update_conflicts=True,
        unique_fields=["centre", "layout", "heading"],
        update_fields=["target", "unit", "day_order", "words"],
    )


def finish(sheet: StagedSheet) -> None:
    """Keep only the counts of a finished import; the cells go."""
    sheet.state = SheetState.DONE
    sheet.report = {"counts": sheet.report.get("counts", {})}
    sheet.upload, sheet.sheets, sheet.grid, sheet.decisions = None, [], {}, {}
    sheet.save()
