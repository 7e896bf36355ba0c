"""Compound keys that Django cannot express: what hangs on a run hangs on that run's own course and patient."""

from django.db import migrations

RULES = {
    "run_patient_is_course_patient": ("registry_run", "course_id, patient_id", "registry_course", "id, patient_id"),
    "run_replaces_within_course": ("registry_run", "replaces_id, course_id", "registry_run", "id, course_id"),
    "event_run_within_course": ("registry_event", "run_id, course_id", "registry_run", "id, course_id"),
}


def add(name: str, table: str, columns: str, target: str, target_columns: str) -> migrations.RunSQL:
    return migrations.RunSQL(
        f"ALTER TABLE {table} ADD CONSTRAINT {name} FOREIGN KEY ({columns}) REFERENCES {target} ({target_columns})"
        " DEFERRABLE INITIALLY DEFERRED",
        f"ALTER TABLE {table} DROP CONSTRAINT {name}",
    )


class Migration(migrations.Migration):
    dependencies = [("registry", "0001_initial")]
    operations = [add(name, *rule) for name, rule in RULES.items()]
