"""Entries of before get the file that brought them, as far as it can be told.

A row that a file brought has the key that its content gives. A correction by a file has a key that was computed
(version 5; a form's is random) and a reason that names the file. Of several files that may have brought a row it is the
one whose work was going on, else the last one sent before. What cannot be told stays a person's, so that no later file
changes it.
"""

import uuid
from collections import defaultdict

from django.db import migrations

KEY_SPACE = uuid.UUID("6f1d4c2e-3b0a-5d53-9a52-6b1e0c9f7a11")
KEY_FIELDS = {
    "incidents": ("Incident", ("conveyor_id", "happened_at", "strand", "chainage_m")),
    "running_hours": ("RunRecord", ("conveyor_id", "starts_at", "ends_at", "kind")),
    "meter_readings": ("MeterReading", ("conveyor_id", "read_at", "event")),
}
MOST_EQUAL = 200  # equal rows that one file was taken to have at most


def natural_key(row, names):
    parts = []
    for name in names:
        value = getattr(row, name)
        if hasattr(value, "isoformat"):
            value = value.isoformat()
        elif isinstance(value, str):
            value = " ".join(value.casefold().split())
        parts.append("" if value is None else str(value))
    return "|".join(parts)


def is_of_a_file(row, plant_key, subject, names):
    stem = f"{plant_key}|{subject}|{natural_key(row, names)}"
    return any(row.client_key == uuid.uuid5(KEY_SPACE, f"{stem}|{n}") for n in range(MOST_EQUAL))


def batch_at(moment, batches):
    """The batch whose work was going on then, else the last one sent before."""
    before = [each for each in batches if each.created_at <= moment]
    working = [
        each
        for each in before
        if each.job is not None
        and each.job.started_at is not None
        and each.job.started_at <= moment
        and (each.job.finished_at is None or moment <= each.job.finished_at)
    ]
    return next(reversed(working or before), None)


def named_in(reason, batches):
    """The batches whose file a reason of a correction names."""
    return [
        each
        for each in batches
        if reason == f"Import of {each.file_name[:70]}" or reason.startswith(f"came again in {each.file_name[:70]}, line ")
    ]


def batch_of(row, subject, names, plant_key, batches):
    if row.client_key.version != 5:
        return None
    if row.corrects_id is None:
        return batch_at(row.created_at, batches) if is_of_a_file(row, plant_key, subject, names) else None
    return batch_at(row.created_at, named_in(row.correction_reason, batches))


def name_files(apps, schema_editor):
    sent = defaultdict(list)
    rows = apps.get_model("plant", "ImportBatch").objects.exclude(state="understood")
    for batch in rows.select_related("job", "plant").order_by("created_at", "pk"):
        sent[batch.plant, batch.subject].append(batch)
    for (plant, subject), batches in sent.items():
        if subject not in KEY_FIELDS:
            continue
        model_name, names = KEY_FIELDS[subject]
        model = apps.get_model("plant", model_name)
        brought = defaultdict(list)
        for row in model.objects.filter(conveyor__plant=plant, import_batch=None).order_by("pk").iterator():
            batch = batch_of(row, subject, names, plant.client_key, batches)
            if batch is not None:
                brought[batch.pk].append(row.pk)
        for batch, keys in brought.items():
            for start in range(0, len(keys), 500):
                model.objects.filter(pk__in=keys[start : start + 500]).update(import_batch=batch)


class Migration(migrations.Migration):
    dependencies = [("plant", "0008_file_that_brought_an_entry")]
    operations = [migrations.RunPython(name_files, migrations.RunPython.noop)]
