from django.db import migrations


def rewrite(apps, schema_editor):
    conveyor = apps.get_model("plant", "Conveyor")
    conveyor.objects.update(name="rewritten")
    raise ValueError("the belt of before 2020 has no width")


class Migration(migrations.Migration):
    atomic = False
    dependencies = [("later", "0001_notes_on_conveyors")]
    operations = [migrations.RunPython(rewrite, migrations.RunPython.noop)]
