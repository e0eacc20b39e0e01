"""Each model gets its first sheet, and what is fitted or under way is held against it."""

from django.db import migrations

NOT_STATED = {"id", "client_key", "created_at", "created_by", "version", "plant", "device_model"}


def stated_of(row):
    return {each.name: getattr(row, each.name) for each in row._meta.concrete_fields if each.name not in NOT_STATED}


def write_first_sheets(apps, schema_editor):
    DeviceModel, Fastener, ModelPart, ModelSheet, Installation = (
        apps.get_model("installs", name)
        for name in ("DeviceModel", "Fastener", "ModelPart", "ModelSheet", "Installation")
    )
    for model in DeviceModel.objects.all():
        sheet = ModelSheet.objects.filter(device_model=model).order_by("-number").first()
        if sheet is None:
            content = {
                **stated_of(model),
                "fasteners": [stated_of(each) for each in Fastener.objects.filter(device_model=model).order_by("pk")],
                "parts": [
                    stated_of(each) for each in ModelPart.objects.filter(device_model=model).order_by("kind", "pk")
                ],
            }
            sheet = ModelSheet.objects.create(
                device_model=model, number=1, content=content, created_by_id=model.created_by_id
            )
        Installation.objects.filter(device__device_model=model, sheet=None).update(sheet=sheet)


class Migration(migrations.Migration):
    dependencies = [("installs", "0005_see_placement")]
    operations = [migrations.RunPython(write_first_sheets, migrations.RunPython.noop)]
