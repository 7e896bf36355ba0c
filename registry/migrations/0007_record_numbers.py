"""A local record number is one patient's at a centre: the centre stands beside the number, in its history too."""

import django.db.models.deletion
import django.db.models.functions.text
import pgtrigger.compiler
import pgtrigger.migrations
from django.db import migrations, models

# The history takes no changes; for its new column alone its triggers stand aside.
FILL = """
UPDATE registry_patientidentity AS identity SET centre_id = patient.centre_id
FROM registry_patient AS patient WHERE patient.id = identity.patient_id;
ALTER TABLE registry_patientidentityhistory DISABLE TRIGGER USER;
UPDATE registry_patientidentityhistory AS identity SET centre_id = patient.centre_id
FROM registry_patienthistory AS patient WHERE patient.pgh_obj_id = identity.patient_id;
ALTER TABLE registry_patientidentityhistory ENABLE TRIGGER USER;
SET CONSTRAINTS ALL IMMEDIATE;
"""


class Migration(migrations.Migration):

    dependencies = [
        ('registry', '0006_downloads'),
    ]

    operations = [
        pgtrigger.migrations.RemoveTrigger(
            model_name='patientidentity',
            name='insert_insert',
        ),
        pgtrigger.migrations.RemoveTrigger(
            model_name='patientidentity',
            name='update_update',
        ),
        pgtrigger.migrations.RemoveTrigger(
            model_name='patientidentity',
            name='delete_delete',
        ),
        migrations.AddField(
            model_name='patientidentity',
            name='centre',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='registry.centre'),
        ),
        migrations.AddField(
            model_name='patientidentityhistory',
            name='centre',
            field=models.ForeignKey(db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', related_query_name='+', to='registry.centre'),
        ),
        migrations.RunSQL(FILL, migrations.RunSQL.noop),
        migrations.AlterField(
            model_name='patientidentity',
            name='centre',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='registry.centre'),
        ),
        migrations.AlterField(
            model_name='patientidentityhistory',
            name='centre',
            field=models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', related_query_name='+', to='registry.centre'),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name='patientidentity',
            trigger=pgtrigger.compiler.Trigger(name='insert_insert', sql=pgtrigger.compiler.UpsertTriggerSql(func='INSERT INTO "registry_patientidentityhistory" ("centre_id", "id", "patient_id", "pgh_context", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "public_id", "record_number", "version") VALUES (NEW."centre_id", NEW."id", NEW."patient_id", COALESCE(NULLIF(CURRENT_SETTING(\'pghistory.context_metadata\', TRUE), \'\'), NULL)::JSONB, COALESCE(NULLIF(CURRENT_SETTING(\'pghistory.context_id\', TRUE), \'\'), NULL)::UUID, NOW(), \'insert\', NEW."id", NEW."public_id", NEW."record_number", NEW."version"); RETURN NULL;', hash='25d189f38ba20d84017027473202d09323092f68', operation='INSERT', pgid='pgtrigger_insert_insert_2589c', table='registry_patientidentity', when='AFTER')),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name='patientidentity',
            trigger=pgtrigger.compiler.Trigger(name='update_update', sql=pgtrigger.compiler.UpsertTriggerSql(condition='WHEN (OLD.* IS DISTINCT FROM NEW.*)', func='INSERT INTO "registry_patientidentityhistory" ("centre_id", "id", "patient_id", "pgh_context", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "public_id", "record_number", "version") VALUES (NEW."centre_id", NEW."id", NEW."patient_id", COALESCE(NULLIF(CURRENT_SETTING(\'pghistory.context_metadata\', TRUE), \'\'), NULL)::JSONB, COALESCE(NULLIF(CURRENT_SETTING(\'pghistory.context_id\', TRUE), \'\'), NULL)::UUID, NOW(), \'update\', NEW."id", NEW."public_id", NEW."record_number", NEW."version"); RETURN NULL;', hash='352b0052b4ee4a8fe3eb74ba2a29a95403213f30', operation='UPDATE', pgid='pgtrigger_update_update_79fa3', table='registry_patientidentity', when='AFTER')),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name='patientidentity',
            trigger=pgtrigger.compiler.Trigger(name='delete_delete', sql=pgtrigger.compiler.UpsertTriggerSql(func='INSERT INTO "registry_patientidentityhistory" ("centre_id", "id", "patient_id", "pgh_context", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "public_id", "record_number", "version") VALUES (OLD."centre_id", OLD."id", OLD."patient_id", COALESCE(NULLIF(CURRENT_SETTING(\'pghistory.context_metadata\', TRUE), \'\'), NULL)::JSONB, COALESCE(NULLIF(CURRENT_SETTING(\'pghistory.context_id\', TRUE), \'\'), NULL)::UUID, NOW(), \'delete\', OLD."id", OLD."public_id", OLD."record_number", OLD."version"); RETURN NULL;', hash='95968638cbe4bdc0fee062132e27fd31590326d3', operation='DELETE', pgid='pgtrigger_delete_delete_127fa', table='registry_patientidentity', when='AFTER')),
        ),
        migrations.AddConstraint(
            model_name='patient',
            constraint=models.UniqueConstraint(fields=('id', 'centre'), name='patient_of_centre'),
        ),
        migrations.AddConstraint(
            model_name='patientidentity',
            constraint=models.UniqueConstraint(models.F('centre'), django.db.models.functions.text.Upper('record_number'), condition=models.Q(('record_number', ''), _negated=True), name='identity_record_number_once'),
        ),
        migrations.AddConstraint(
            model_name='run',
            constraint=models.UniqueConstraint(fields=('id', 'patient'), name='run_of_patient'),
        ),
    ]
