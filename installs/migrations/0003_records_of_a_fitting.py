"""What the records of a fitting keep of what a person entered.

On SQLite the table of installations is made anew by that, so its triggers of migration 0002 are made anew too.
"""

import django.db.models.deletion
import django.utils.timezone
import uuid
from django.conf import settings
from django.db import migrations, models


SAME_TIME = """other.id IS NOT NEW.id
      AND (other.removed_at IS NULL OR other.removed_at > NEW.installed_at)
      AND (NEW.removed_at IS NULL OR NEW.removed_at > other.installed_at)"""

RULES = {
    "installation_device_no_overlap": "other.device_id = NEW.device_id",
    "installation_place_no_overlap": "other.conveyor_id = NEW.conveyor_id AND other.strand = NEW.strand "
    "AND other.chainage_m = NEW.chainage_m",
}


def refuse_overlaps(apps, schema_editor):
    if schema_editor.connection.vendor == "postgresql":
        return  # its constraints stay through a change of columns
    for name, same in RULES.items():
        for event in ("INSERT", "UPDATE"):
            schema_editor.execute(f"DROP TRIGGER IF EXISTS {name}_{event.lower()}")
            schema_editor.execute(f"""CREATE TRIGGER {name}_{event.lower()} BEFORE {event} ON installs_installation
    WHEN EXISTS (SELECT 1 FROM installs_installation other WHERE {same} AND {SAME_TIME})
    BEGIN SELECT RAISE(ABORT, '{name}'); END""")


class Migration(migrations.Migration):

    dependencies = [
        ('installs', '0002_refuse_overlaps'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.AddField(
            model_name='devicemodel',
            name='clearance_along_mm',
            field=models.FloatField(blank=True, null=True, verbose_name='least room along the belt'),
        ),
        migrations.AddField(
            model_name='historicaldevicemodel',
            name='clearance_along_mm',
            field=models.FloatField(blank=True, null=True, verbose_name='least room along the belt'),
        ),
        migrations.AddField(
            model_name='historicalisolation',
            name='adjustment_off_mm',
            field=models.FloatField(blank=True, null=True, verbose_name='adjustment, out on the off side positive'),
        ),
        migrations.AddField(
            model_name='historicalsurvey',
            name='clearance_along_mm',
            field=models.FloatField(blank=True, null=True, verbose_name='room along the belt'),
        ),
        migrations.AddField(
            model_name='isolation',
            name='adjustment_off_mm',
            field=models.FloatField(blank=True, null=True, verbose_name='adjustment, out on the off side positive'),
        ),
        migrations.AddField(
            model_name='survey',
            name='clearance_along_mm',
            field=models.FloatField(blank=True, null=True, verbose_name='room along the belt'),
        ),
        migrations.AddField(
            model_name='trialrun',
            name='time_doubts',
            field=models.JSONField(blank=True, default=list, editable=False),
        ),
        migrations.AddField(
            model_name='trialrun',
            name='time_reason',
            field=models.CharField(blank=True, max_length=300, verbose_name='why these times stand'),
        ),
        migrations.AlterField(
            model_name='fitting',
            name='open_points',
            field=models.CharField(blank=True, editable=False, max_length=1000, verbose_name='open points'),
        ),
        migrations.AlterField(
            model_name='historicalfitting',
            name='open_points',
            field=models.CharField(blank=True, editable=False, max_length=1000, verbose_name='open points'),
        ),
        migrations.AlterField(
            model_name='historicalinstallation',
            name='access',
            field=models.CharField(blank=True, help_text='For example: drive side walkway.', max_length=200, verbose_name='access'),
        ),
        migrations.AlterField(
            model_name='historicalinstallation',
            name='note',
            field=models.CharField(blank=True, max_length=1000, verbose_name='note'),
        ),
        migrations.AlterField(
            model_name='historicalisolation',
            name='adjustment_note',
            field=models.CharField(blank=True, max_length=300, verbose_name='what was adjusted'),
        ),
        migrations.AlterField(
            model_name='installation',
            name='access',
            field=models.CharField(blank=True, help_text='For example: drive side walkway.', max_length=200, verbose_name='access'),
        ),
        migrations.AlterField(
            model_name='installation',
            name='note',
            field=models.CharField(blank=True, max_length=1000, verbose_name='note'),
        ),
        migrations.AlterField(
            model_name='isolation',
            name='adjustment_note',
            field=models.CharField(blank=True, max_length=300, verbose_name='what was adjusted'),
        ),
        migrations.CreateModel(
            name='PassedFastener',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('client_key', models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False, verbose_name='entered at')),
                ('correction_reason', models.CharField(blank=True, max_length=300, verbose_name='reason of the correction')),
                ('is_withdrawn', models.BooleanField(default=False, editable=False, verbose_name='withdrawn')),
                ('number', models.PositiveSmallIntegerField(verbose_name='which one')),
                ('reason', models.CharField(max_length=300, verbose_name='why it is passed over')),
                ('passed_at', models.DateTimeField(verbose_name='when')),
                ('corrects', models.OneToOneField(blank=True, editable=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='corrected_by', to='installs.passedfastener')),
                ('created_by', models.ForeignKey(blank=True, editable=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL, verbose_name='entered by')),
                ('fastener', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='installs.fastener')),
                ('fitting', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='passed_fasteners', to='installs.fitting')),
                ('passed_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'verbose_name': 'fastener passed over',
                'verbose_name_plural': 'fasteners passed over',
                'ordering': ['passed_at', 'pk'],
                'indexes': [models.Index(fields=['fitting', 'fastener', 'number'], name='passed_fastener_of_fitting')],
            },
        ),
        migrations.RunPython(refuse_overlaps, refuse_overlaps),
    ]
