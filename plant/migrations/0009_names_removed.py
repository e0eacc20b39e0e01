import django.db.models.deletion
import django.utils.timezone
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('plant', '0008_pages_turned_away'),
    ]

    operations = [
        migrations.CreateModel(
            name='NameRemoval',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('at', models.DateTimeField(default=django.utils.timezone.now, verbose_name='when')),
                ('reason', models.CharField(max_length=300, verbose_name='reason')),
                ('n_rewritten', models.PositiveIntegerField(default=0, verbose_name='texts of the site that were rewritten')),
                ('n_typed', models.PositiveIntegerField(default=0, verbose_name='typed texts that may still hold it')),
                ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('person', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='name_removal', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'verbose_name': 'removal of a name',
                'verbose_name_plural': 'removals of names',
                'ordering': ['-at', '-pk'],
            },
        ),
    ]
