"""A site on a disk of its own that is really full: what each of four acts says then, what is left, and that it goes on.

Run as a program in a name space with a small disk (`test_full_disk_really.py` does); prints one JSON object.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import hashlib
import io
import json
import os
import sys
import uuid
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import django

DATA = Path(os.environ["DRIFTBOOK_DATA"])
ROWS = 4000


@contextlib.contextmanager
def full(leave: int) -> Iterator[None]:
    """Nothing but so many bytes are free within."""
    ballast = DATA / "ballast"
    with ballast.open("wb", buffering=0) as file, contextlib.suppress(OSError):
        while True:
            file.write(b"x" * 65_536)
    with ballast.open("r+b") as file:
        file.truncate(max(0, ballast.stat().st_size - leave))
    try:
        yield
    finally:
        ballast.unlink()


def people() -> tuple[Any, Any]:
    from django.test import Client

    from tests import make

    plant = make.plant(name="Alder Pit", time_zone="UTC")
    pat = make.person("pat", plant, "planner")
    make.conveyor(plant, tag="A-1")
    client = Client(raise_request_exception=False)
    client.force_login(pat)
    return plant, (client, pat)


def files_left() -> list[str]:
    folder = DATA / "files"
    return sorted(path.name for path in folder.rglob("*") if path.is_file()) if folder.exists() else []


def picture() -> bytes:
    from PIL import Image

    buffer = io.BytesIO()
    Image.effect_noise((1200, 1200), 90).convert("RGB").save(buffer, format="JPEG", quality=95)
    return buffer.getvalue()


def upload() -> dict[str, Any]:
    """A photo of half a megabyte with an incident, and room for a part of it."""
    from django.core.files.uploadedfile import SimpleUploadedFile

    from plant.models import Conveyor, Incident, Photo

    _plant, (client, _pat) = people()
    content = picture()
    an_hour_ago = dt.datetime.now(dt.UTC) - dt.timedelta(hours=1)
    form = {
        "conveyor": Conveyor.objects.get().pk, "client_key": uuid.uuid4(), "strand": "carry", "chainage_m": "40 m",
        "severity": "contact", "suspected_cause": "unknown", "source": "log",
        "happened_at": f"{an_hour_ago:%Y-%m-%dT%H:%M}",
    }  # fmt: skip

    def send() -> Any:
        file = SimpleUploadedFile("belt.jpg", content, content_type="image/jpeg")
        return client.post("/incidents/new/", {**form, "new_photos": file})

    with full(leave=len(content) // 2):
        answer = send()
        said = {"status": answer.status_code, "page": answer.content.decode(), "files": files_left()}
        said["rows"] = [Incident.objects.count(), Photo.objects.count()]
    again = send()
    [photo] = Photo.objects.all()
    return said | {
        "again": again.status_code,
        "rows_again": [Incident.objects.count(), Photo.objects.count()],
        "files_again": files_left(),
        "is_whole": photo.sha256 == hashlib.sha256(content).hexdigest(),
    }


def paper() -> dict[str, Any]:
    """A PDF needs no room; where its page writes beside, it says so."""
    _plant, (client, _pat) = people()
    before = files_left()
    with full(leave=0):
        answer = client.get("/labels/")
        is_paper = answer.content.startswith(b"%PDF")
        said = {"status": answer.status_code, "is_paper": is_paper, "page": "" if is_paper else answer.content.decode()}
    return said | {"files": files_left(), "before": before, "again": client.get("/labels/").content[:4].decode()}


def backup() -> dict[str, Any]:
    """Room for a part of the backup, though there seemed to be enough when it began."""
    from django.conf import settings

    from deploy.backups import making
    from deploy.backups.archive import NotKept
    from plant.calc.backups import BackupOccasion
    from plant.words.backups import backup_words

    people()
    folder = Path(settings.BACKUP_FOLDER)
    outcome = making.back_up(making.site_of_settings(), occasion=BackupOccasion.BY_HAND)
    said: dict[str, Any] = {"before": Path(outcome.path).name}
    check_room, making.check_room = making.check_room, lambda *args, **kwargs: None
    try:
        with full(leave=outcome.n_bytes // 2):
            making.back_up(making.site_of_settings(), occasion=BackupOccasion.BY_HAND)
    except NotKept as fault:
        said["words"] = backup_words(fault.reason)
    finally:
        making.check_room = check_room
    said["left"] = sorted(path.name for path in folder.iterdir() if path.name != ".turn")
    again = making.back_up(making.site_of_settings(), occasion=BackupOccasion.BY_HAND)
    return said | {"again": again.is_good}


def import_() -> dict[str, Any]:
    """A file that does not fit; then one that was taken, whose rows do not fit."""
    from django.core.files.uploadedfile import SimpleUploadedFile

    from plant.models import ImportBatch, Incident, Job
    from plant.services import imports, jobs

    plant, (client, pat) = people()
    begin = dt.datetime(2020, 1, 1)  # noqa: DTZ001  (as it stands in the file)
    lines = [f"A-1,{begin + dt.timedelta(minutes=n):%Y-%m-%d %H:%M},carry,{n % 200},row {n}\n" for n in range(ROWS)]
    content = ("tag,when,strand,chainage,note\n" + "".join(lines)).encode()

    def send() -> Any:
        file = SimpleUploadedFile("log.csv", content, content_type="text/csv")
        return client.post("/imports/new/", {"subject": "incidents", "client_key": uuid.uuid4(), "file": file})

    with full(leave=len(content) // 3):
        answer = send()
        said = {"status": answer.status_code, "page": answer.content.decode(), "files": files_left()}
        said["batches"] = ImportBatch.objects.count()
    said["again"] = send().status_code
    batch = ImportBatch.objects.get()
    job = imports.start_import(batch=batch, by=pat)
    with full(leave=600_000), contextlib.suppress(Exception):
        jobs.do_job(job.pk)
    job.refresh_from_db()
    said["state"] = job.state
    said["rows"] = Incident.objects.count()
    for _n in range(10):
        job = Job.objects.get(pk=job.pk)
        if job.state == Job.State.DONE:
            break
        if job.state == Job.State.FAILED:
            jobs.retry_failed(job, by=pat)
        Job.objects.filter(pk=job.pk).update(heartbeat_at=dt.datetime(2020, 1, 1, tzinfo=dt.UTC))
        jobs.do_job(job.pk)
    notes = list(Incident.objects.values_list("note", flat=True))
    batch.refresh_from_db()
    return said | {"state_again": job.state, "rows_again": len(notes), "different": len(set(notes)), "plant": plant.pk}


ACTS: dict[str, Callable[[], dict[str, Any]]] = {"upload": upload, "paper": paper, "backup": backup, "import": import_}

if __name__ == "__main__":
    django.setup()
    print(json.dumps(ACTS[sys.argv[1]]()))
