"""The kinds of checks that every plant has: three with the belt locked out, and one from the walkway."""

from django.db import migrations

KINDS = [
    {
        "code": "sensor-wear",
        "name": "Sensor wear",
        "rule": "sensor_wear",
        "minutes": 20,
        "needs_lockout": True,
        "tools_needed": "caliper",
        "method": "Measure the diameter of each sensor roller at its most worn place, drive side and off side apart. "
        "Look for flat spots and turn the roller by hand.",
    },
    {
        "code": "pivot-freedom",
        "name": "Pivot freedom",
        "rule": "pivot_freedom",
        "minutes": 10,
        "needs_lockout": True,
        "tools_needed": "spring balance",
        "method": "Swing the frame by hand through its whole range, both ways. Note whether it is free, stiff or "
        "seized, and the force at which it starts to move where a spring balance is at hand.",
    },
    {
        "code": "fastener-torque",
        "name": "Fastener torque",
        "rule": "fastener_torque",
        "minutes": 25,
        "needs_lockout": True,
        "tools_needed": "torque wrench",
        "method": "Note the torque at which each fastener first moves when it is tightened (as found), tighten it to "
        "target and note that (as left). Use a wrench whose calibration is in date.",
    },
    {
        "code": "belt-offset",
        "name": "Belt offset at stations",
        "rule": "offsets",
        "minutes": 25,
        "needs_lockout": False,
        "needs_running_belt": True,
        "method": "From the walkway, outside every guard, with the belt running: read how far the belt's middle lies "
        "off the structure's centre line at each station, once empty and once loaded. Watch some revolutions and note "
        "the largest offset that comes again. Plus is towards the drive side, minus towards the off side. Never reach "
        "in.",
    },
]


def add(apps, schema_editor):
    CheckKind = apps.get_model("inspections", "CheckKind")
    for values in KINDS:
        CheckKind.objects.get_or_create(plant=None, code=values["code"], defaults=values)


class Migration(migrations.Migration):
    dependencies = [("inspections", "0001_tables")]

    operations = [migrations.RunPython(add, migrations.RunPython.noop)]
