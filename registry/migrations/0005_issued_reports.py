import django.db.models.deletion
import pgtrigger.compiler
import pgtrigger.migrations
import uuid
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('registry', '0004_rounds_screening_and_proposals'),
    ]

    operations = [
        migrations.CreateModel(
            name='DataExtract',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('taken_at', models.DateTimeField(auto_now_add=True)),
                ('purpose', models.TextField()),
                ('approval', models.CharField(max_length=120)),
                ('row_count', models.PositiveIntegerField()),
                ('smallest_group', models.PositiveIntegerField()),
                ('coarsened', models.JSONField(default=list)),
                ('file_digest', models.CharField(max_length=64)),
                ('centre', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='extracts', to='registry.centre')),
                ('taken_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'ordering': ['-taken_at'],
            },
        ),
        migrations.CreateModel(
            name='IssuedReport',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('public_id', models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ('period', models.CharField(max_length=40)),
                ('period_start', models.DateTimeField()),
                ('period_end', models.DateTimeField()),
                ('as_of', models.DateTimeField()),
                ('issued_at', models.DateTimeField(auto_now_add=True)),
                ('signed_name', models.CharField(max_length=150)),
                ('statement', models.TextField()),
                ('content', models.TextField()),
                ('content_digest', models.CharField(max_length=64)),
                ('data_fingerprint', models.CharField(max_length=64)),
                ('definitions_version', models.CharField(max_length=40)),
                ('software_version', models.CharField(max_length=40)),
                ('centre', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='issued_reports', to='registry.centre')),
                ('issued_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'ordering': ['-period_start', '-as_of'],
            },
        ),
        pgtrigger.migrations.AddTrigger(
            model_name='dataextract',
            trigger=pgtrigger.compiler.Trigger(name='kept_for_ever', sql=pgtrigger.compiler.UpsertTriggerSql(func="RAISE EXCEPTION 'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;", hash='cc232d6867899cbbd367aac364abd17809ebea96', operation='UPDATE OR DELETE', pgid='pgtrigger_kept_for_ever_c18b8', table='registry_dataextract', when='BEFORE')),
        ),
        migrations.AddConstraint(
            model_name='issuedreport',
            constraint=models.CheckConstraint(condition=models.Q(('period_end__gt', models.F('period_start'))), name='issued_period_ordered'),
        ),
        migrations.AddConstraint(
            model_name='issuedreport',
            constraint=models.CheckConstraint(condition=models.Q(('statement', ''), _negated=True), name='issued_has_statement'),
        ),
        pgtrigger.migrations.AddTrigger(
            model_name='issuedreport',
            trigger=pgtrigger.compiler.Trigger(name='kept_for_ever', sql=pgtrigger.compiler.UpsertTriggerSql(func="RAISE EXCEPTION 'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;", hash='c02187be9c3a10185c7be253d60cdab23dcb1443', operation='UPDATE OR DELETE', pgid='pgtrigger_kept_for_ever_0240f', table='registry_issuedreport', when='BEFORE')),
        ),
    ]
