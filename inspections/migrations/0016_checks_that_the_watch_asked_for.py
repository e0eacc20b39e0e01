"""Checks that the rate watch asked for get their origin as a column; until now only the beginning of the reason told.

The watch writes without a person, so a check that a person asked for with the same words stays theirs.
"""

from django.db import migrations

BEGINS = "Rate watch: "


def of_the_watch(model, origin):
    return model.objects.filter(origin=origin, created_by__isnull=True, why__startswith=BEGINS)


def name_origin(apps, schema_editor):
    for name in ("Task", "HistoricalTask"):
        of_the_watch(apps.get_model("inspections", name), "by_hand").update(origin="rate_watch")


def forget_origin(apps, schema_editor):
    for name in ("Task", "HistoricalTask"):
        of_the_watch(apps.get_model("inspections", name), "rate_watch").update(origin="by_hand")


class Migration(migrations.Migration):
    dependencies = [("inspections", "0015_rate_watch_asks_for_checks")]
    operations = [migrations.RunPython(name_origin, forget_origin)]
