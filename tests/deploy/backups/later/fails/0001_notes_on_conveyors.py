from django.db import migrations, models


def write_notes(apps, schema_editor):
    note = apps.get_model("later", "Note")
    for conveyor in apps.get_model("plant", "Conveyor").objects.order_by("pk"):
        note.objects.create(conveyor=conveyor, text=f"belt {conveyor.tag}")


class Migration(migrations.Migration):
    initial = True
    dependencies = [("plant", "0001_tables")]
    operations = [
        migrations.CreateModel(
            name="Note",
            fields=[
                ("id", models.BigAutoField(primary_key=True)),
                ("conveyor", models.ForeignKey("plant.Conveyor", on_delete=models.CASCADE, related_name="+")),
                ("text", models.TextField()),
            ],
        ),
        migrations.RunPython(write_notes, migrations.RunPython.noop),
    ]
