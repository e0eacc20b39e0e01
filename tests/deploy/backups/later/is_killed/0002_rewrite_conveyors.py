import os
import signal

from django.db import migrations


def rewrite(apps, schema_editor):
    conveyor = apps.get_model("plant", "Conveyor")
    conveyor.objects.update(name="rewritten")
    os.kill(os.getpid(), signal.SIGKILL)


class Migration(migrations.Migration):
    atomic = False
    dependencies = [("later", "0001_notes_on_conveyors")]
    operations = [migrations.RunPython(rewrite, migrations.RunPython.noop)]
