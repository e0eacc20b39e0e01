"""The fourth kind of check that every plant has: belt offset at stations, from the walkway, with the belt running."""

from django.db import migrations

VALUES = {
    "name": "Belt offset at stations",
    "rule": "offsets",
    "minutes": 25,
    "needs_lockout": False,
    "needs_running_belt": True,
    "method": "From the walkway, outside every guard, with the belt running: read how far the belt's middle lies off the "
    "structure's centre line at each station, once empty and once loaded. Watch some revolutions and note the largest "
    "offset that comes again. Plus is towards the drive side, minus towards the off side. Never reach in.",
}


def add(apps, schema_editor):
    CheckKind = apps.get_model("inspections", "CheckKind")
    CheckKind.objects.get_or_create(plant=None, code="belt-offset", defaults=VALUES)


class Migration(migrations.Migration):
    dependencies = [("inspections", "0008_order_of_a_stop")]
    operations = [migrations.RunPython(add, migrations.RunPython.noop)]
