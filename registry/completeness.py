"""How much of each variable is filled, month by month, of the records that could hold it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, time
from typing import Any

from django.db.models import Count, Q
from django.db.models.functions import TruncMonth

from registry.choices import AccessMethod
from registry.fields import CORE, Code, Codes, Label, Words
from registry.models import Centre, Course, DailyCheck, Event, Record, Run
from registry.models.base import label_of
from registry.models.run import AXILLARY_ROUTES

MONTHS = 6
PERCENT = 100


@dataclass(frozen=True)
class Cell:
    """``filled`` of ``records``; no records, no share."""

    filled: int
    records: int

    @property
    def percent(self) -> int | None:
        """Rounded down, so that 100 means every one."""
        return PERCENT * self.filled // self.records if self.records else None


@dataclass(frozen=True)
class Row:
    label: str
    unit: str
    cells: tuple[Cell, ...]


@dataclass(frozen=True)
class Table:
    """One entity: ``months`` are the first days of the months, ``counts`` the records in each."""

    title: str
    months: tuple[date, ...]
    counts: tuple[int, ...]
    rows: tuple[Row, ...]


@dataclass(frozen=True)
class Asked:
    """Which records are counted, by which date, and which columns could be empty in them."""

    title: str
    model: type[Record]
    course: str
    dated: str
    only: Q
    left_out: frozenset[str] = frozenset()
    could: Mapping[str, Q] = field(default_factory=dict)  # which records a column is for, if not all


ARM = Q(route__in=AXILLARY_ROUTES)
THROUGH_SKIN = Q(access_method=AccessMethod.PERCUTANEOUS)
# A removal is not missing while the catheter lies, so those columns stand in the open questions alone.
ASKED = (
    Asked(
        "Daily rows", DailyCheck, "run__course", "checked_on", Q(),
        frozenset({"position_action", "not_mobilised"}), {"cranial_marker_mm": ~Q(film_verdict="")},
    ),
    Asked(
        "Device runs", Run, "course", "inserted_at", Q(device_class="IABP"),
        frozenset({
            *("removed_at", "end_reason", "closure", "closure_success", "exchange_reason"),
            *("compression_min", "catheter_intact", "duplex_after", "second_operator_code"),
        }),
        {
            **dict.fromkeys(("roadmap_access", "puncture_pocket", "check_angiogram", "securement"), ARM),
            **dict.fromkeys(("needle_angle_deg", "puncture_outside_cage", "stiff_wire"), ARM & THROUGH_SKIN),
            **dict.fromkeys(("puncture_attempts", "micropuncture"), THROUGH_SKIN),
            "standby_min": Q(replaces__device_class="IABP"),
        },
    ),
    Asked("Support courses", Course, "", "runs__inserted_at", Q(runs__run_no=1), frozenset({"arrived_at"})),
    Asked("Events", Event, "course", "onset_at", Q(), frozenset()),
)  # fmt: skip
OF_EVERY_EVENT = {"actions", "resolution", "attribution", "relatedness", "detected_at"}


def _columns(asked: Asked, centre: Centre) -> list[Any]:
    """Optional columns that the centre records; notes and what only some records can hold left out."""
    shown = {CORE, *centre.extended_groups}
    return [
        column
        for column in asked.model.described()
        if (column.blank or column.null)
        and column.group in shown
        and column.name not in asked.left_out
        and not isinstance(column, Words)
        and not column.name.startswith("proposed_")
        and (asked.model is not Event or column.name in OF_EVERY_EVENT)
    ]


def _is_filled(column: Any) -> Q:
    if column.name == "mobility_best":
        return Q(mobility_best__isnull=False) | ~Q(not_mobilised="")  # a reason for none is an answer
    if isinstance(column, Codes):
        return ~Q(**{column.name: []})
    if isinstance(column, (Code, Label)):
        return ~Q(**{column.name: ""})
    return Q(**{f"{column.name}__isnull": False})


def months_before(today: date) -> tuple[date, ...]:
    """The first days of the last months, the present one included."""
    numbers = [today.year * 12 + today.month - 1 - back for back in range(MONTHS - 1, -1, -1)]
    return tuple(date(number // 12, number % 12 + 1, 1) for number in numbers)


def tables(centre: Centre, today: date) -> list[Table]:
    """One table an entity; needs one query each."""
    return [_table(asked, centre, months_before(today)) for asked in ASKED]


def _table(asked: Asked, centre: Centre, months: tuple[date, ...]) -> Table:
    columns = _columns(asked, centre)
    owner = f"{asked.course}__centre" if asked.course else "centre"
    records = asked.model._default_manager.filter(
        asked.only, **{owner: centre, f"{asked.dated}__gte": _start(asked, months[0], centre)}
    )
    by_month: Any = (
        records.annotate(month=TruncMonth(asked.dated)).order_by("month").values("month")
        .annotate(records=Count("pk"), **_counts(asked, columns))
    )  # fmt: skip
    found: dict[Any, dict[str, Any]] = {(row["month"].year, row["month"].month): row for row in by_month}
    kept: list[dict[str, Any]] = [found.get((month.year, month.month), {}) for month in months]
    rows = tuple(
        Row(
            label_of(asked.model, column.name),
            column.unit,
            tuple(Cell(row.get(f"n_{column.name}", 0), row.get(f"of_{column.name}", 0)) for row in kept),
        )
        for column in columns
    )
    return Table(asked.title, months, tuple(row.get("records", 0) for row in kept), rows)


def _counts(asked: Asked, columns: list[Any]) -> dict[str, Count]:
    """For each column how many records hold it, and how many could."""
    found = {}
    for column in columns:
        could = asked.could.get(column.name, Q())
        found[f"n_{column.name}"] = Count("pk", filter=_is_filled(column) & could)
        found[f"of_{column.name}"] = Count("pk", filter=could) if could else Count("pk")
    return found


def _start(asked: Asked, month: date, centre: Centre) -> Any:
    """The first moment of a month on the centre's clock, or its first day for a column of days."""
    return month if asked.dated == "checked_on" else datetime.combine(month, time(0), centre.zone)
