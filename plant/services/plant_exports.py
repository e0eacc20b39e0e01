"""Everything of a plant as one file: asked for on a page, made by a job, kept some days, cleared away by night."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import transaction
from django.utils import timezone
from django.utils.text import slugify
from django.utils.translation import gettext as _

from plant.calc.retention import KeptFor
from plant.models import Job, Notice, Person, Plant, PlantExport
from plant.services.job_kinds import JobHandle, JobLost, JobStopped
from plant.services.jobs import ask_for_job, stop_job
from plant.services.names import when_a_name_goes

EXPORT = "export_plant"
# Writes the file: plant, where to, moment, and what is told of rows done and rows in all; answers rows and bytes.
WriteExport = Callable[[Plant, Path, datetime, Callable[[int, int], None]], tuple[int, int]]


def exports_folder() -> Path:
    """Beside what is backed up: a file here is a copy of what the book holds."""
    return Path(settings.DATA_DIR) / "exports"


def export_path(export: PlantExport) -> Path:
    return exports_folder() / f"{export.client_key}.zip"


@transaction.atomic
def ask_for_export(*, plant: Plant, by: Any) -> PlantExport:
    """Ask for everything of a plant; whoever asks while one is made waits for the same."""
    Plant.objects.select_for_update().get(pk=plant.pk)  # of two who press at once the second finds the first's
    alive = PlantExport.objects.of_plant(plant).filter(job__state__in=[Job.State.WAITING, Job.State.RUNNING])
    running: PlantExport | None = alive.first()
    if running is not None:
        return running
    export = PlantExport.objects.create(plant=plant, created_by=by)
    export.job = ask_for_job(EXPORT, args={"export": export.pk}, plant=plant, by=by)
    export.save(update_fields=["job"])
    return export


def do_export(handle: JobHandle, args: dict[str, Any], write: WriteExport) -> dict[str, Any]:
    """The job; run again it begins anew."""
    export = PlantExport.objects.select_related("plant").get(pk=args["export"])
    if export.written_at is not None:
        return {"export": export.pk}
    now, path = timezone.now(), export_path(export)
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    clear_drafts(export)
    n_rows, n_bytes = write(export.plant, path, now, lambda done, total: handle.progress(done, max(total, 1)))
    with transaction.atomic():
        try:
            # Stopped after the last row, as when a name was removed: the file holds what is no longer in the book.
            handle.progress(n_rows, max(n_rows, 1))
        except (JobLost, JobStopped):
            clear_unwanted(export)
            raise
        PlantExport.objects.filter(pk=export.pk).update(
            file_name=file_name(export.plant, now), n_rows=n_rows, n_bytes=n_bytes, written_at=timezone.now()
        )
    return {"export": export.pk, "rows": n_rows}


def file_name(plant: Plant, now: datetime) -> str:
    return f"{slugify(plant.name) or 'plant'}-{now.astimezone(plant.zone):%Y-%m-%d}.zip"


def clear_drafts(export: PlantExport) -> None:
    """What a worker that died left half written."""
    for draft in exports_folder().glob(f".{export.client_key}*"):
        if draft.is_dir():
            shutil.rmtree(draft, ignore_errors=True)
        else:
            draft.unlink(missing_ok=True)


def clear_unwanted(export: PlantExport) -> None:
    """A whole file that nobody waits for any more."""
    if PlantExport.objects.select_related("job").get(pk=export.pk).standing in ("cleared", "failed"):
        export_path(export).unlink(missing_ok=True)


def tell_export_end(job: Job) -> None:
    """Tell whoever asked, once a job."""
    export = PlantExport.objects.select_related("plant").filter(pk=job.args.get("export")).first()
    if export is None:
        return
    clear_drafts(export)
    clear_unwanted(export)
    if export.created_by_id is None:
        return
    if export.written_at is not None:
        words = _("Everything of %(plant)s is ready to be fetched.") % {"plant": export.plant}
    else:
        words = _("Everything of %(plant)s could not be written. Ask again, or tell the keeper of this site.") % {
            "plant": export.plant
        }
    Notice.objects.get_or_create(
        person_id=export.created_by_id,
        key=f"export-{export.pk}-{job.pk}",
        defaults={"plant": export.plant, "text": words[:300], "url": PAGE},
    )


PAGE = "/plant/export/"


def clear_exports(before: datetime) -> int:
    """Take files away that were written before then; who asked for them stays."""
    cleared = 0
    for export in PlantExport.objects.filter(written_at__lt=before, cleared_at=None):
        # The file first: killed in between, the next night finds the row again.
        export_path(export).unlink(missing_ok=True)
        cleared += PlantExport.objects.filter(pk=export.pk).update(cleared_at=timezone.now())
    return cleared


@when_a_name_goes
def forget_exports(person: Person, by: Person) -> None:
    """Files hold the names of their day: those that are there go, and what is being written is stopped."""
    for job in Job.objects.unfinished().filter(kind=EXPORT):
        stop_job(job)
    transaction.on_commit(lambda: clear_exports(timezone.now() + timedelta(minutes=1)), robust=True)


def clears_on(export: PlantExport) -> datetime | None:
    """From when on the timetable takes the file away."""
    return export.written_at and export.written_at + timedelta(days=settings.KEEP_DAYS[KeptFor.EXPORTS])
