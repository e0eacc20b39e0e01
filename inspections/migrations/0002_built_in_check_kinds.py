"""The three kinds of checks that every plant has."""

from django.db import migrations

KINDS = [
    {
        "code": "sensor-wear",
        "name": "Sensor wear",
        "rule": "sensor_wear",
        "minutes": 20,
        "method": "Measure the diameter of each sensor roller at its most worn place, drive side and off side apart. "
        "Look for flat spots and turn the roller by hand.",
    },
    {
        "code": "pivot-freedom",
        "name": "Pivot freedom",
        "rule": "pivot_freedom",
        "minutes": 10,
        "method": "Swing the frame by hand through its whole range, both ways. Note whether it is free, stiff or "
        "seized, and the force at which it starts to move where a spring balance is at hand.",
    },
    {
        "code": "fastener-torque",
        "name": "Fastener torque",
        "rule": "fastener_torque",
        "minutes": 25,
        "method": "Note the torque at which each fastener first moves when it is tightened (as found), tighten it to "
        "target and note that (as left). Use a wrench whose calibration is in date.",
    },
]


def add(apps, schema_editor):
    CheckKind = apps.get_model("inspections", "CheckKind")
    for values in KINDS:
        CheckKind.objects.get_or_create(plant=None, code=values["code"], defaults={**values, "needs_lockout": True})


class Migration(migrations.Migration):
    dependencies = [("inspections", "0001_checks_and_visits")]
    operations = [migrations.RunPython(add, migrations.RunPython.noop)]
