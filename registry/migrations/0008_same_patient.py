"""Compound keys that Django cannot express: what hangs on a patient stands at that patient's centre, and a failed
attempt is followed by a run of the same patient.
"""

from importlib import import_module

from django.db import migrations

add = import_module("registry.migrations.0002_same_course").add

RULES = {
    "course_at_centre_of_patient": (
        "registry_course", "patient_id, centre_id", "registry_patient", "id, centre_id",
    ),
    "failed_attempt_at_centre_of_patient": (
        "registry_failedattempt", "patient_id, centre_id", "registry_patient", "id, centre_id",
    ),
    "failed_attempt_followed_in_same_patient": (
        "registry_failedattempt", "followed_by_id, patient_id", "registry_run", "id, patient_id",
    ),
    "identity_at_centre_of_patient": (
        "registry_patientidentity", "patient_id, centre_id", "registry_patient", "id, centre_id",
    ),
}


class Migration(migrations.Migration):
    dependencies = [("registry", "0007_record_numbers")]
    operations = [add(name, *rule) for name, rule in RULES.items()]
