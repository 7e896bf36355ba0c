"""The extract as a CSV file, and the line in the log that each file leaves."""

from __future__ import annotations

import csv
import hashlib
import io
from dataclasses import fields

from outcomes.extract.build import Extract, Row
from registry.models import Centre, DataExtract, User


def as_csv(extract: Extract) -> str:
    """One line a run; events as ``KIND:day`` joined by ``;``. Nothing in it can be taken for a formula."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    names = [field.name for field in fields(Row)]
    writer.writerow(["code", *names])
    for code, row in extract.rows:
        writer.writerow([code, *(_written(getattr(row, name)) for name in names)])
    return out.getvalue()


def _written(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, tuple):
        return ";".join(f"{kind}:{day}" for kind, day in value)
    return str(value)


def note_extract(
    extract: Extract, body: bytes, *, centre: Centre, by: User, purpose: str, approval: str
) -> DataExtract:
    """Note that a file with these rows was taken: by whom, for what, on whose approval, and its digest."""
    return DataExtract.objects.create(
        centre=centre,
        taken_by=by,
        purpose=purpose,
        approval=approval,
        row_count=len(extract.rows),
        smallest_group=extract.k,
        coarsened=list(extract.coarsened),
        file_digest=hashlib.sha256(body).hexdigest(),
    )
