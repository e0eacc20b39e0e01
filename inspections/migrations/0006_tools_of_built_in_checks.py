"""What the three built-in kinds of checks need to be at hand."""

from django.db import migrations

TOOLS = {"sensor-wear": "caliper", "pivot-freedom": "spring balance", "fastener-torque": "torque wrench"}


def add(apps, schema_editor):
    CheckKind = apps.get_model("inspections", "CheckKind")
    for code, tools in TOOLS.items():
        CheckKind.objects.filter(plant=None, code=code, tools_needed="").update(tools_needed=tools)


class Migration(migrations.Migration):
    dependencies = [("inspections", "0005_rounds")]
    operations = [migrations.RunPython(add, migrations.RunPython.noop)]
