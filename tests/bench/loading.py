"""Fill the scratch database by COPY. It is a server of its own; no other data are ever in it."""

from __future__ import annotations

import csv
import os
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tests.bench.bare import bare

if TYPE_CHECKING:  # whoever only reads must not carry it
    import pandas as pd

ROOT = Path(__file__).resolve().parents[2]
FOLDER = ROOT / ".data" / "bench"
ROWS_AT_ONCE = 200_000
ZONE = "Europe/Berlin"


def set_up() -> None:
    """Set Django up on the scratch server, whatever the environment says."""
    os.environ.pop("DATABASE_URL", None)
    os.environ.update(
        PGLOCAL_DIR=os.environ.get("BENCH_DIR", str(FOLDER)),
        DEBUG="1",
        DJANGO_SETTINGS_MODULE="registry.settings",
    )
    import django

    django.setup()


def migrate() -> None:
    from django.core.management import call_command

    call_command("migrate", verbosity=0)


def load(tables: dict[str, pd.DataFrame]) -> None:
    """Replace all rows. Triggers of ours are off, so there is no history; constraints are checked."""
    from django.db import connection, transaction

    from registry.models import Centre

    names = [f"registry_{name}" for name in tables]
    with connection.cursor() as cursor:
        with transaction.atomic():
            cursor.execute("TRUNCATE registry_centre, registry_patient, registry_candidate CASCADE")
            for number in sorted(tables["patient"].centre_id.unique()):
                Centre.objects.create(pk=number, code=f"B{number}", name=f"Centre {number}", time_zone=ZONE)
            with bare(cursor, names):
                for name, rows in tables.items():
                    cursor.execute(f"ALTER TABLE registry_{name} DISABLE TRIGGER USER")
                    _set_defaults(cursor, name)
                    _copy(cursor, name, rows)
                    cursor.execute(f"ALTER TABLE registry_{name} ENABLE TRIGGER USER")
        cursor.execute("VACUUM ANALYZE")


def _set_defaults(cursor: Any, name: str) -> None:
    """What the models fill in, the scratch tables fill in: empty texts, public ids, a first choice."""
    for field in _fields(name).values():
        if not (field.null or field.primary_key or field.is_relation):
            change = f'ALTER COLUMN "{field.column}" SET DEFAULT {_default(field)}'
            cursor.execute(f"ALTER TABLE registry_{name} {change}")


def _default(field: Any) -> str:
    from django.db import connection
    from django.db.models import BooleanField, CharField, DateField, TextField, UUIDField

    value = field.get_default()
    if isinstance(field, UUIDField):
        return "gen_random_uuid()"
    if field.db_type(connection).endswith("[]"):
        return "'{}'"
    if not value and field.choices and not field.blank:
        value = field.choices[0][0]
    if isinstance(field, CharField | TextField):
        return f"'{value or ''}'"
    if isinstance(field, BooleanField):
        return str(bool(value))
    return "NULL" if isinstance(field, DateField) else str(value or 0)


def _copy(cursor: Any, name: str, rows: pd.DataFrame) -> None:
    fields = _fields(name)
    columns = ", ".join(f'"{column}"' for column in rows.columns)
    # Nothing written means null where the column can be null, else an empty text.
    nullable = ", ".join(f'"{column}"' for column in rows.columns if fields[column].null)
    form = f"FORMAT CSV, FORCE_NULL ({nullable})" if nullable else "FORMAT CSV"
    with cursor.cursor.copy(f"COPY registry_{name} ({columns}) FROM STDIN ({form})") as copy:
        for start in range(0, len(rows), ROWS_AT_ONCE):
            part = rows[start : start + ROWS_AT_ONCE]
            copy.write(part.to_csv(None, header=False, index=False, quoting=csv.QUOTE_ALL))


def _fields(name: str) -> dict[str, Any]:
    from django.apps import apps

    return {field.column: field for field in apps.get_model("registry", name)._meta.concrete_fields}
