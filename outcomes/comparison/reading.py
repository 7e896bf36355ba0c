"""What the comparison needs beyond the counts: patients, condition at the start, how the pump was placed.

All arrays follow the rows of the dataset's tables. -1 means not recorded; numbers with a decimal are kept
times ten.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime

from outcomes.dataset import Dataset, codes, load_dataset
from outcomes.dataset.clinical import Columns
from outcomes.dataset.codes import numbered
from outcomes.dataset.copying import Column
from outcomes.dataset.deriving import aligned
from outcomes.dataset.queries import Reader
from outcomes.estimators.arrays import Ints
from registry.models import Centre, FailedAttempt
from registry.snapshot import one_snapshot


@dataclass(frozen=True, eq=False)
class Facts:
    """Columns by name: of courses (with their patient), of runs, and of failed attempts.

    ``centres`` are the names of those read, by the key that stands in the courses.
    """

    course: Columns
    run: Columns
    attempt: Columns
    centres: dict[int, str] = field(default_factory=dict)


def load(
    *, centres: Sequence[Centre], as_of: datetime | None = None, cut_at: datetime | None = None
) -> tuple[Dataset, Facts]:
    """The dataset of some centres and the facts beside it, of one moment, up to a data cut."""
    with one_snapshot():
        dataset = load_dataset(centres=centres, as_of=as_of, cut_at=cut_at)
        return dataset, load_facts(dataset, centres)


def load_facts(dataset: Dataset, centres: Sequence[Centre]) -> Facts:
    """The facts of a dataset that was read for these centres."""
    last_day = dataset.cut_at.astimezone(dataset.zone).date()
    wanted = tuple(centre.pk for centre in centres)
    whole = not Centre.objects.exclude(pk__in=wanted).exists()
    reader = Reader(wanted, dataset.as_of, last_day, whole)
    clinical = dataset.clinical
    attempts = aligned(_attempts(reader), dataset.attempts.pk)
    return Facts(clinical.course, clinical.run, attempts, {centre.pk: centre.name for centre in centres})


def _attempts(reader: Reader) -> dict[str, Ints]:
    columns = {
        "pk": Column("a.id", "id"),
        "access": Column(numbered("a.access_method", codes.ACCESS_METHODS), "choice"),
        "urgency": Column(numbered("a.urgency", codes.URGENCIES), "choice"),
    }
    return reader.read(columns, f"{reader.rows(FailedAttempt)} a WHERE {reader.of_centres('a')}")
