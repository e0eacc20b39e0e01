from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('plant', '0007_words_of_the_plant'),
    ]

    operations = [
        migrations.AlterField(
            model_name='tally',
            name='what',
            field=models.CharField(choices=[('job', 'job'), ('mail', 'mail'), ('page', 'page')], max_length=8),
        ),
    ]
