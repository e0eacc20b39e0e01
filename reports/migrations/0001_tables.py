"""All tables of the app, as of version 0.2.0."""

import django.core.validators
import django.db.models.deletion
import django.utils.timezone
import simple_history.models
import uuid
from django.conf import settings
from django.db import migrations, models

from plant.migrations._many_models import CreateModels


class Migration(migrations.Migration):

    initial = True

    dependencies = [
        ('inspections', '0001_tables'),
        ('installs', '0001_tables'),
        ('plant', '0001_tables'),
    ]

    operations = [
        CreateModels([
            migrations.CreateModel(
                name='HistoricalMonthlyReport',
                fields=[
                    ('id', models.BigIntegerField(auto_created=True, blank=True, db_index=True, verbose_name='ID')),
                    ('client_key', models.UUIDField(db_index=True, default=uuid.uuid4, editable=False)),
                    ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False, verbose_name='entered at')),
                    ('version', models.PositiveIntegerField(default=1, editable=False)),
                    ('month', models.DateField(editable=False, verbose_name='month')),
                    ('edition', models.PositiveSmallIntegerField(default=1, editable=False, verbose_name='edition')),
                    ('reason', models.CharField(blank=True, max_length=300, verbose_name='why a new edition')),
                    ('comment', models.TextField(blank=True, max_length=4000, verbose_name="the engineer's comment")),
                    ('published_at', models.DateTimeField(blank=True, editable=False, null=True, verbose_name='published')),
                    ('code_version', models.CharField(blank=True, editable=False, max_length=60)),
                    ('content', models.JSONField(blank=True, default=dict, editable=False)),
                    ('rows', models.JSONField(blank=True, default=dict, editable=False)),
                    ('history_id', models.AutoField(primary_key=True, serialize=False)),
                    ('history_date', models.DateTimeField(db_index=True)),
                    ('history_change_reason', models.CharField(max_length=100, null=True)),
                    ('history_type', models.CharField(choices=[('+', 'Created'), ('~', 'Changed'), ('-', 'Deleted')], max_length=1)),
                    ('created_by', models.ForeignKey(blank=True, db_constraint=False, editable=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to=settings.AUTH_USER_MODEL, verbose_name='entered by')),
                    ('history_user', models.ForeignKey(null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to=settings.AUTH_USER_MODEL)),
                    ('plant', models.ForeignKey(blank=True, db_constraint=False, editable=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='plant.plant')),
                    ('published_by', models.ForeignKey(blank=True, db_constraint=False, editable=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to=settings.AUTH_USER_MODEL)),
                ],
                options={
                    'verbose_name': 'historical monthly report',
                    'verbose_name_plural': 'historical monthly reports',
                    'ordering': ('-history_date', '-history_id'),
                    'get_latest_by': ('history_date', 'history_id'),
                },
                bases=(simple_history.models.HistoricalChanges, models.Model),
            ), migrations.CreateModel(
                name='MonthlyReport',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('client_key', models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                    ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False, verbose_name='entered at')),
                    ('version', models.PositiveIntegerField(default=1, editable=False)),
                    ('month', models.DateField(editable=False, verbose_name='month')),
                    ('edition', models.PositiveSmallIntegerField(default=1, editable=False, verbose_name='edition')),
                    ('reason', models.CharField(blank=True, max_length=300, verbose_name='why a new edition')),
                    ('comment', models.TextField(blank=True, max_length=4000, verbose_name="the engineer's comment")),
                    ('published_at', models.DateTimeField(blank=True, editable=False, null=True, verbose_name='published')),
                    ('code_version', models.CharField(blank=True, editable=False, max_length=60)),
                    ('content', models.JSONField(blank=True, default=dict, editable=False)),
                    ('rows', models.JSONField(blank=True, default=dict, editable=False)),
                    ('created_by', models.ForeignKey(blank=True, editable=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL, verbose_name='entered by')),
                    ('plant', models.ForeignKey(editable=False, on_delete=django.db.models.deletion.PROTECT, related_name='monthly_reports', to='plant.plant')),
                    ('published_by', models.ForeignKey(blank=True, editable=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ],
                options={
                    'verbose_name': 'monthly report',
                    'verbose_name_plural': 'monthly reports',
                    'ordering': ['-month', '-edition'],
                    'permissions': [('publish_monthlyreport', 'Can publish a monthly report')],
                    'constraints': [models.UniqueConstraint(fields=('plant', 'month', 'edition'), name='month_edition_once'), models.UniqueConstraint(condition=models.Q(('published_at__isnull', True)), fields=('plant', 'month'), name='month_one_draft')],
                },
            ), migrations.CreateModel(
                name='MonthMail',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('claimed_at', models.DateTimeField(default=django.utils.timezone.now)),
                    ('sent_at', models.DateTimeField(blank=True, null=True)),
                    ('tries', models.PositiveSmallIntegerField(default=0)),
                    ('failure', models.CharField(blank=True, max_length=300)),
                    ('person', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='+', to=settings.AUTH_USER_MODEL)),
                    ('report', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='mails', to='reports.monthlyreport')),
                ],
                options={
                    'verbose_name': 'mail of a month',
                    'verbose_name_plural': 'mails of months',
                    'constraints': [models.UniqueConstraint(fields=('report', 'person'), name='month_mail_once')],
                },
            ), migrations.CreateModel(
                name='StudyNote',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('client_key', models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                    ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False, verbose_name='entered at')),
                    ('correction_reason', models.CharField(blank=True, max_length=300, verbose_name='reason of the correction')),
                    ('is_withdrawn', models.BooleanField(default=False, editable=False, verbose_name='withdrawn')),
                    ('text', models.TextField(max_length=2000, verbose_name='note')),
                    ('corrects', models.OneToOneField(blank=True, editable=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='corrected_by', to='reports.studynote')),
                    ('created_by', models.ForeignKey(blank=True, editable=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL, verbose_name='entered by')),
                    ('installation', models.ForeignKey(editable=False, on_delete=django.db.models.deletion.CASCADE, related_name='study_notes', to='installs.installation', verbose_name='installation')),
                ],
                options={
                    'verbose_name': 'note on a comparison',
                    'verbose_name_plural': 'notes on comparisons',
                    'ordering': ['-created_at', '-pk'],
                },
            ), migrations.CreateModel(
                name='StudyWindow',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('client_key', models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                    ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False, verbose_name='entered at')),
                    ('correction_reason', models.CharField(blank=True, max_length=300, verbose_name='reason of the correction')),
                    ('is_withdrawn', models.BooleanField(default=False, editable=False, verbose_name='withdrawn')),
                    ('before_months', models.PositiveSmallIntegerField(default=12, validators=[django.core.validators.MinValueValidator(1), django.core.validators.MaxValueValidator(60)], verbose_name='months before')),
                    ('after_from', models.DateField(blank=True, null=True, verbose_name='after, from')),
                    ('after_until', models.DateField(blank=True, null=True, verbose_name='after, until')),
                    ('reason', models.CharField(max_length=300, verbose_name='reason')),
                    ('corrects', models.OneToOneField(blank=True, editable=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='corrected_by', to='reports.studywindow')),
                    ('created_by', models.ForeignKey(blank=True, editable=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL, verbose_name='entered by')),
                    ('installation', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='study_windows', to='installs.installation')),
                ],
                options={
                    'verbose_name': 'window of a comparison',
                    'verbose_name_plural': 'windows of comparisons',
                    'ordering': ['-created_at'],
                },
            ), migrations.CreateModel(
                name='Subscription',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('since', models.DateTimeField(default=django.utils.timezone.now)),
                    ('person', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='subscriptions', to=settings.AUTH_USER_MODEL)),
                    ('plant', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='subscriptions', to='plant.plant')),
                ],
                options={
                    'verbose_name': 'subscription',
                    'verbose_name_plural': 'subscriptions',
                    'constraints': [models.UniqueConstraint(fields=('plant', 'person'), name='subscription_once')],
                },
            )],
        ),
    ]
