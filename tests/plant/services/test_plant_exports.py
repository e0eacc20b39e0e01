"""Everything of a plant as one file: asked for once, made by a job, told of, cleared away."""

from __future__ import annotations

import datetime as dt
import zipfile

import pytest
from django.utils import timezone

from plant.calc.retention import KeptFor
from plant.models import Job, Notice, Person, PlantExport
from plant.services import plant_exports
from plant.services.clearing import clear_old
from plant.services.job_kinds import JobLost, JobStopped
from plant.services.jobs import do_job, end_job, stop_job, take_job
from plant.services.names import remove_name
from plant.services.plant_exports import ask_for_export, clears_on, export_path, exports_folder
from plant.services.plant_import.writing import import_plant
from tests import make
from tests.plant_folders import empty_site


@pytest.fixture(autouse=True)
def apart(tmp_path, settings):
    settings.DATA_DIR = tmp_path
    return tmp_path


@pytest.fixture
def asked(alder, pat):
    make.incident(make.conveyor(alder), timezone.now())
    return ask_for_export(plant=alder, by=pat)


def test_a_job_writes_the_file_and_whoever_asked_is_told(asked, pat, alder):
    assert asked.standing == "waiting"
    assert do_job(asked.job_id)
    asked.refresh_from_db()
    assert asked.standing == "there"
    assert asked.created_by == pat
    assert asked.n_rows > 5
    assert asked.file_name == f"alder-pit-{timezone.localdate(timezone=alder.zone)}.zip"
    path = export_path(asked)
    assert path.stat().st_size == asked.n_bytes
    assert path.stat().st_mode & 0o077 == 0
    assert [each.name for each in exports_folder().iterdir()] == [path.name]
    with zipfile.ZipFile(path) as archive:
        assert f"{asked.file_name.removesuffix('.zip')}/README.txt" in archive.namelist()
    assert Notice.objects.get(person=pat).text == "Everything of Alder Pit is ready to be fetched."
    asked.job.refresh_from_db()
    assert asked.job.done_units == asked.job.total_units > 5


def test_the_file_is_read_in_elsewhere(asked):
    do_job(asked.job_id)
    path = export_path(asked)
    empty_site()
    assert import_plant(path).plant.name == "Alder Pit"


def test_two_who_ask_wait_for_the_same_file(asked, alder, mona, otto, other):
    assert ask_for_export(plant=alder, by=mona) == asked
    assert ask_for_export(plant=other, by=otto) != asked
    do_job(asked.job_id)
    assert ask_for_export(plant=alder, by=mona) != asked


def test_what_a_dead_worker_left_is_swept_and_it_begins_anew(asked):
    left = exports_folder() / f".{asked.client_key}.folder"
    (left / "csv").mkdir(parents=True)
    (exports_folder() / f".{asked.client_key}.zip.1234").write_bytes(b"half")
    Job.objects.filter(pk=asked.job_id).update(
        state=Job.State.RUNNING, holder="dead", heartbeat_at=timezone.now() - dt.timedelta(hours=1)
    )
    assert do_job(asked.job_id)
    assert [each.name for each in exports_folder().iterdir()] == [export_path(asked).name]


def test_a_full_disk_leaves_nothing_half_and_is_told(asked, pat, monkeypatch):
    def full(*_args, **_kwargs):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("plant.files.plant_export.zip_folder", full)
    assert do_job(asked.job_id)
    asked.refresh_from_db()
    assert asked.standing == "failed"
    assert list(exports_folder().iterdir()) == []
    assert "could not be written" in Notice.objects.get(person=pat).text
    assert ask_for_export(plant=asked.plant, by=pat) != asked


def test_a_job_that_is_stopped_leaves_nothing(asked, monkeypatch):
    Job.objects.filter(pk=asked.job_id).update(stop_requested=True)
    assert do_job(asked.job_id)
    asked.refresh_from_db()
    assert asked.standing == "failed"
    assert list(exports_folder().iterdir()) == []


def test_the_night_takes_the_file_away_and_leaves_who_asked(asked, settings):
    do_job(asked.job_id)
    asked.refresh_from_db()
    settings.KEEP_DAYS = {**settings.KEEP_DAYS, KeptFor.EXPORTS: 3}
    gone_on = clears_on(asked)
    clear_old(now=gone_on - dt.timedelta(minutes=1))
    assert export_path(asked).exists()
    assert clear_old(now=gone_on + dt.timedelta(minutes=1))[KeptFor.EXPORTS] == 1
    asked.refresh_from_db()
    assert asked.standing == "cleared"
    assert not export_path(asked).exists()
    assert PlantExport.objects.get() == asked
    assert clear_old(now=gone_on + dt.timedelta(minutes=2))[KeptFor.EXPORTS] == 0


def test_done_twice_it_is_one_file(asked):
    do_job(asked.job_id)
    handle = type("Handle", (), {"still_mine": lambda self: True})()
    written = PlantExport.objects.get().written_at
    plant_exports.do_export(handle, {"export": asked.pk}, write=None)
    assert PlantExport.objects.get().written_at == written


def test_files_with_a_name_go_when_the_name_goes(asked, alder, mona, tess, django_capture_on_commit_callbacks):
    do_job(asked.job_id)
    waiting = ask_for_export(plant=alder, by=mona)
    keeper = make.person("kay", is_keeper=True)
    Person.objects.filter(pk=tess.pk).update(is_active=False)
    with django_capture_on_commit_callbacks(execute=True):
        remove_name(person=tess, by=keeper, typed="tess", reason="asked for it")
    asked.refresh_from_db()
    waiting.refresh_from_db()
    assert (asked.standing, waiting.standing) == ("cleared", "failed")
    assert list(exports_folder().iterdir()) == []


@pytest.mark.parametrize("held_by", ["us", "another"])
def test_a_file_that_was_whole_when_it_was_stopped_is_not_kept(asked, held_by):
    """A name was removed after its last row was read: what lies on the disk still holds it."""
    handle = take_job(asked.job_id)

    def write(plant, path, now, tell):
        path.write_bytes(b"with the name")
        if held_by == "us":
            stop_job(asked.job)
        else:
            Job.objects.filter(pk=asked.job_id).update(state="stopped", holder="")
        return 7, 13

    with pytest.raises((JobStopped, JobLost)) as problem:
        plant_exports.do_export(handle, {"export": asked.pk}, write)
    if problem.type is JobStopped:
        end_job(handle, Job.State.STOPPED)
    asked.refresh_from_db()
    assert (asked.written_at, PlantExport.objects.get(pk=asked.pk).standing) == (None, "failed")
    assert list(exports_folder().iterdir()) == []


def test_a_worker_that_lost_the_job_leaves_the_file_to_the_one_that_has_it(asked):
    handle = take_job(asked.job_id)

    def write(plant, path, now, tell):
        path.write_bytes(b"whole")
        Job.objects.filter(pk=asked.job_id).update(holder="another")
        return 7, 5

    with pytest.raises(JobLost):
        plant_exports.do_export(handle, {"export": asked.pk}, write)
    assert export_path(asked).read_bytes() == b"whole"
