"""A book of version 0.2.0 with rows of its demo plant is brought up to date, or stays as it was."""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest
from django.conf import settings

from deploy.backups import archive
from deploy.backups.book_hash import book_at, book_hash
from deploy.backups.making import Site, back_up
from deploy.environment import CannotStart
from deploy.running import manage
from plant.calc.backups import BackupOccasion
from plant.selectors.backups import backups_in
from tests import clock
from tests.deploy.backups.book_0_2_0 import ROWS, STEPS, make
from tests.deploy.backups.sites import rows_of

ROOT = Path(__file__).resolve().parents[3]


@pytest.fixture(scope="module")
def book_0_2_0(tmp_path_factory, django_db_setup, django_db_blocker):
    path = tmp_path_factory.mktemp("0.2.0") / "driftbook.sqlite3"
    with django_db_blocker.unblock():
        make(path)
    return path


@pytest.fixture
def data(book_0_2_0, tmp_path):
    clock.mark(tmp_path)
    shutil.copyfile(book_0_2_0, tmp_path / "driftbook.sqlite3")
    (tmp_path / "files").mkdir()
    (tmp_path / "files" / "plan.pdf").write_bytes(b"%PDF")
    return tmp_path


def environment_of(data, steps):
    apart = ("DATABASE_URL", "REDIS_URL", "PYTHONWARNINGS")
    known = {name: value for name, value in os.environ.items() if name not in apart}
    settings = "tests.deploy.backups.later_settings" if steps else "tests.settings"
    return {**known, "DRIFTBOOK_DATA": str(data), "DJANGO_SETTINGS_MODULE": settings, "DRIFTBOOK_TEST_STEPS": steps}


def bring_up_to_date(data, steps=""):
    """As `deploy/start` does it."""
    manage(Path(sys.executable), environment_of(data, steps), "bring_up_to_date", says=True)


def hash_of(data):
    with book_at(data / "driftbook.sqlite3") as book:
        return book_hash(book, data)


def steps_in(path):
    with closing(sqlite3.connect(path)) as book:
        return {f"{app}.{name}" for app, name in book.execute("SELECT app, name FROM django_migrations")}


def left_over(data):
    return sorted(each.name for each in data.iterdir() if "upgrading" in each.name)


def test_the_steps_of_0_2_0_are_those_that_it_had():
    """Whoever changes one of them changes what the books of 0.2.0 are."""
    for app, name in STEPS:
        assert (ROOT / app / "migrations" / f"{name}.py").exists()
    assert len(json.loads(ROWS.read_text(encoding="utf-8"))) > 80


def test_steps_that_work_take_it_to_the_new_version_with_all_its_rows(data, capfd, db):
    before = {table: len(given["rows"]) for table, given in json.loads(ROWS.read_text(encoding="utf-8")).items()}
    old_hash = hash_of(data)
    bring_up_to_date(data, "works")
    said = capfd.readouterr().out
    assert "This book is of an earlier version;" in said
    assert "later.0001_notes_on_conveyors" in said
    assert f"The book is up to date with version {settings.VERSION}." in said
    path = data / "driftbook.sqlite3"
    tags = [row[0] for row in sqlite3.connect(path).execute("SELECT tag FROM plant_conveyor ORDER BY id")]
    assert len(tags) == before["plant_conveyor"] > 5
    assert sorted(text for _id, text, _conveyor in ordered(path)) == sorted(f"belt {tag}" for tag in tags)
    for table in ("plant_incident", "inspections_reading", "installs_installation", "plant_person"):
        assert len(rows_of(path, table)) == before[table] > 0
    assert left_over(data) == []
    # The backup of before is the book of before.
    [backup] = backups_in(data / "backups")
    assert backup.path.name.endswith("-before-upgrade.zip")
    assert str(backup.path) in said
    old = data / "old"
    for name in ("driftbook.sqlite3", "files/plan.pdf"):
        archive.unpack(backup.path, name, old / name)
    assert hash_of(old) == old_hash


def ordered(path):
    with closing(sqlite3.connect(path)) as book:
        return book.execute("SELECT id, text, conveyor_id FROM later_note").fetchall()


def test_a_step_that_fails_half_way_leaves_the_book_of_before(data, db):
    before = hash_of(data)
    with pytest.raises(CannotStart) as reason:
        bring_up_to_date(data, "fails")
    words = str(reason.value)
    assert words.startswith(
        "The book could not be brought up to date (later.0002_rewrite_conveyors: the belt of before 2020 has no width)."
        " It is as it was before: start the version that you had"
    )
    [backup] = backups_in(data / "backups")
    assert f"The backup that was made first: {backup.path}." in words
    report = data / "upgrade-failed.txt"
    assert str(report) in words
    assert "rewrite" in report.read_text()
    assert hash_of(data) == before
    assert left_over(data) == []


def test_a_power_cut_in_the_middle_is_noticed_by_the_next_start(data, capfd, db):
    before = hash_of(data)
    with pytest.raises(CannotStart):
        bring_up_to_date(data, "is_killed")
    assert left_over(data) != []
    assert hash_of(data) == before
    capfd.readouterr()
    bring_up_to_date(data, "works")
    assert "An upgrade was broken off the last time. The book is as it was before it" in capfd.readouterr().out
    assert left_over(data) == []
    assert "later.0001_notes_on_conveyors" in steps_in(data / "driftbook.sqlite3")


def test_without_a_backup_nothing_is_changed(data, monkeypatch, db):
    before = hash_of(data)
    monkeypatch.setenv("DRIFTBOOK_BACKUP_FOLDER", str(data / "disk"))
    with pytest.raises(CannotStart, match=r"The folder for backups .* is not there. Is its disk connected?"):
        bring_up_to_date(data)
    assert hash_of(data) == before


def test_a_book_that_another_program_has_open_is_left_alone(data, db):
    before = hash_of(data)
    with closing(sqlite3.connect(data / "driftbook.sqlite3")) as other:
        other.execute("PRAGMA journal_mode=WAL")
        other.execute("SELECT count(*) FROM plant_person").fetchone()
        with pytest.raises(CannotStart, match=r"Another program has the book .* open"):
            bring_up_to_date(data)
    assert hash_of(data) == before


def test_a_damaged_book_is_named_with_the_command_that_puts_the_newest_backup_back(data, db):
    path = data / "driftbook.sqlite3"
    backup = Path(back_up(Site(data, {"NAME": str(path)}, data / "backups"), occasion=BackupOccasion.NIGHT).path)
    content = bytearray(path.read_bytes())
    content[4096 * 3 : 4096 * 40] = b"\xff" * 4096 * 37
    path.write_bytes(content)
    with pytest.raises(CannotStart) as reason:
        bring_up_to_date(data)
    words = str(reason.value)
    assert words.startswith(f"The book {path} is damaged (")
    command = f"deploy/restore {backup} --data {data} --set-aside"
    assert words.endswith(command)
    # What the sentence says works.
    done = subprocess.run(
        [sys.executable, "manage.py", "restore", str(backup), "--set-aside"], cwd=ROOT,
        env=environment_of(data, ""), capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert "This version brings it up to date when it starts." in done.stdout
    assert rows_of(path, "plant_conveyor") != []
