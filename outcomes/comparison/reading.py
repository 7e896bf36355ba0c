"""What the comparison needs beyond the dataset: patients, condition at the start, how the pump was placed.

All arrays follow the rows of the dataset's tables. -1 means not recorded; numbers with a decimal are kept
times ten.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime

from django.db import connection, transaction

from outcomes.dataset import Dataset, load_dataset
from outcomes.dataset.codes import UNRECORDED, numbered
from outcomes.dataset.copying import Column
from outcomes.dataset.deriving import positions
from outcomes.dataset.queries import OF_CENTRES, Reader
from outcomes.estimators.arrays import Ints
from registry.choices import AccessMethod, Aetiology, Presentation, Sex, Urgency
from registry.models import Centre, Course, FailedAttempt, Patient, Run

SEXES = tuple(Sex)
AETIOLOGIES = tuple(Aetiology)
PRESENTATIONS = tuple(Presentation)
ACCESS_METHODS = tuple(AccessMethod)
URGENCIES = tuple(Urgency)
YES_NO = (
    "arrest_modifier", "inotropes", "vasopressors", "ventilated", "rrt_at_start", "diabetes",
    "peripheral_disease", "prior_stroke", "prior_sternotomy", "smoking",
)  # fmt: skip
TENTHS = ("height_cm", "weight_kg", "haemoglobin_g_dl", "lactate_mmol_l")
WHOLE = (
    "lvef_pct", "lvedd_mm", "creatinine_umol_l", "bilirubin_umol_l", "platelets_10e9_l", "sodium_mmol_l"
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class Facts:
    """Columns by name: of courses (with their patient), of runs, and of failed attempts."""

    course: dict[str, Ints]
    run: dict[str, Ints]
    attempt: dict[str, Ints]


@contextmanager
def one_snapshot() -> Iterator[None]:
    """Let everything read inside see the same state, unless a transaction is already under way."""
    nested = connection.in_atomic_block
    with transaction.atomic():
        if not nested:
            with connection.cursor() as cursor:
                cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
        yield


def load(*, centres: Sequence[Centre], as_of: datetime | None = None) -> tuple[Dataset, Facts]:
    """The dataset of some centres and the facts beside it, of one moment."""
    with one_snapshot():
        dataset = load_dataset(centres=centres, as_of=as_of)
        return dataset, load_facts(dataset, centres)


def load_facts(dataset: Dataset, centres: Sequence[Centre]) -> Facts:
    """The facts of a dataset that was read for these centres."""
    last_day = dataset.cut_at.astimezone(dataset.zone).date()
    wanted = tuple(centre.pk for centre in centres)
    whole = not Centre.objects.exclude(pk__in=wanted).exists()
    reader = Reader(wanted, dataset.as_of, last_day, whole)
    return Facts(
        course=_aligned(_courses(reader), dataset.courses.pk),
        run=_aligned(_runs(reader), dataset.runs.pk),
        attempt=_aligned(_attempts(reader), dataset.attempts.pk),
    )


def _aligned(rows: dict[str, Ints], wanted: Ints) -> dict[str, Ints]:
    """The columns in the order of the wanted keys."""
    keys = rows.pop("pk")
    if not keys.size:
        return dict.fromkeys(rows, wanted[:0])
    where = positions(keys, wanted)
    return {name: column[where] for name, column in rows.items()}


def _known(sql: str) -> str:
    return f"coalesce({sql}, {UNRECORDED})"


def _courses(reader: Reader) -> dict[str, Ints]:
    columns = {
        "pk": Column("c.id", "id"),
        "sex": Column(numbered("p.sex", SEXES), "choice"),
        "birth_year": Column("p.birth_year", "code"),
        "aetiology": Column(numbered("c.aetiology", AETIOLOGIES), "choice"),
        "presentation": Column(numbered("c.presentation", PRESENTATIONS), "choice"),
        "admitted": Column("coalesce(c.admitted_at, 'infinity')", "moment"),
        "transferred": Column("c.transferred_in::int", "choice"),
        **{name: Column(_known(f"c.{name}::int"), "choice") for name in YES_NO},
        **{name: Column(_known(f"round(c.{name} * 10)"), "code") for name in TENTHS},
        **{name: Column(_known(f"round(c.{name})"), "code") for name in WHOLE},
    }
    source = f"{reader.rows(Course)} c JOIN {reader.rows(Patient)} p ON p.id = c.patient_id"
    return reader.read(columns, f"{source} WHERE c.{OF_CENTRES}")


def _placing(table: str) -> dict[str, Column]:
    return {
        "pk": Column(f"{table}.id", "id"),
        "access": Column(numbered(f"{table}.access_method", ACCESS_METHODS), "choice"),
        "urgency": Column(numbered(f"{table}.urgency", URGENCIES), "choice"),
    }


def _runs(reader: Reader) -> dict[str, Ints]:
    return reader.read(_placing("r"), f"{reader.rows(Run)} r WHERE {reader.of_courses('r.course_id')}")


def _attempts(reader: Reader) -> dict[str, Ints]:
    return reader.read(_placing("a"), f"{reader.rows(FailedAttempt)} a WHERE a.{OF_CENTRES}")
