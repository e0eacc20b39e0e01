from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('plant', '0010_exports_of_plants'),
    ]

    operations = [
        migrations.AlterField(
            model_name='tally',
            name='what',
            field=models.CharField(choices=[('job', 'job'), ('mail', 'mail'), ('page', 'page'), ('clearing', 'clearing')], max_length=8),
        ),
    ]
