"""A backup is put back whole or not at all, and what was there is never lost."""

from __future__ import annotations

import datetime as dt
import errno
import json
import os
import subprocess
import sys
import zipfile
from pathlib import Path
from types import SimpleNamespace

import pytest
from django.db import connections

from deploy import folder_lock
from deploy.backups import archive, restoring
from deploy.backups.archive import NotKept
from deploy.backups.book_hash import book_at, book_hash, hashes_of_tables, number, plain
from deploy.backups.making import Site, back_up
from deploy.backups.restoring import restore
from deploy.data_folder import RESTORE_MARK
from deploy.environment import CannotStart
from deploy.running import check_no_restore
from plant.calc.backups import BackupOccasion, BackupRule
from plant.words.backups import backup_words
from tests.deploy.backups.sites import add_photo, book_of, rows_of, site_in

ROOT = Path(__file__).resolve().parents[3]
AT = dt.datetime(2026, 11, 25, 2, 5, 3, tzinfo=dt.UTC)


@pytest.fixture
def site(tmp_path):
    return site_in(tmp_path)


@pytest.fixture
def path(site):
    return Path(back_up(site, occasion=BackupOccasion.BY_HAND, now=AT).path)


def empty_site(folder: Path) -> Site:
    return Site(folder, {"NAME": str(folder / "driftbook.sqlite3")}, folder / "backups")


def hash_of(site: Site) -> str:
    with book_at(site.book) as book:
        return book_hash(book, site.data)


def refused(site, path, **given):
    with pytest.raises(NotKept) as reason:
        restore(site, path, **{"may_set_aside": False, **given})
    return reason.value.reason


def content_of(folder):
    return {str(each.relative_to(folder)): each.read_bytes() for each in sorted(folder.rglob("*")) if each.is_file()}


def test_on_an_empty_machine_it_is_the_same_book(site, path, tmp_path, db):
    new = empty_site(tmp_path / "new")
    done = restore(new, path, may_set_aside=False)
    assert done.aside is None
    assert not done.is_behind
    assert hash_of(new) == hash_of(site)
    assert rows_of(new.book, "parent") == rows_of(site.book, "parent")
    assert (new.data / "begun-empty").exists()
    assert not (new.data / "secret_key").exists()
    assert new.data.stat().st_mode & 0o077 == 0
    assert all(each.stat().st_mode & 0o077 == 0 for each in new.data.rglob("*") if each.is_file())


def test_a_changed_row_and_a_changed_photo_change_the_hash(site, db):
    before = hash_of(site)
    with book_of(site) as book:
        book.execute("UPDATE plant_photo SET caption = 'torn'")
    changed = hash_of(site)
    assert changed != before
    with book_of(site) as book:
        book.execute("UPDATE plant_photo SET caption = ''")
    assert hash_of(site) == before
    photo = site.data / "files" / "photos" / "1.jpg"
    photo.write_bytes(photo.read_bytes()[:-1] + b"2")
    assert hash_of(site) not in (before, changed)


def test_sign_ins_are_ended_also_those_of_a_backup_that_somebody_packed_by_hand(site, path, tmp_path):
    by_hand = tmp_path / "by-hand.zip"
    writer = archive.Writer(by_hand, AT)
    with site.book.open("rb") as file:
        writer.add(archive.SQLITE, file)
    manifest = archive.check(path)
    rows = {**manifest.rows, "django_session": 1}
    writer.seal(archive.Manifest(**{**vars(manifest), "rows": rows}))
    writer.close()
    new = empty_site(tmp_path / "new")
    restore(new, by_hand, may_set_aside=False)
    assert rows_of(site.book, "django_session") != []
    assert rows_of(new.book, "django_session") == []


def test_a_folder_that_holds_a_book_is_refused_and_left_alone(site, path):
    with book_of(site) as book:
        book.execute("INSERT INTO parent VALUES (7, 0)")
    before = content_of(site.data)
    words = backup_words(refused(site, path))
    assert words.startswith(f"{site.data} holds a book. Nothing was changed.")
    assert f"deploy/restore {path} --data {site.data} --set-aside" in words
    assert content_of(site.data) == before


def test_the_old_book_is_set_aside_whole(site, path, db):
    with book_of(site) as book:
        book.execute("INSERT INTO parent VALUES (7, 0)")
    add_photo(site, 2)
    old = hash_of(site)
    done = restore(site, path, may_set_aside=True, now=AT)
    assert done.aside == site.data / "set-aside-2026-11-25T020503Z"
    assert rows_of(site.book, "parent") == []
    aside = empty_site(done.aside)
    assert rows_of(aside.book, "parent") == [(7, 0)]
    assert hash_of(aside) == old != hash_of(site)
    assert path.exists()
    assert (site.data / "secret_key").read_text() == "kept-apart"


def test_a_changed_byte_is_refused_and_nothing_is_taken(site, path, tmp_path):
    content = bytearray(path.read_bytes())
    content[len(content) // 2] ^= 1
    path.write_bytes(content)
    before = content_of(site.data)
    words = backup_words(refused(site, path, may_set_aside=True))
    assert f"{path} is damaged: driftbook.sqlite3 is no longer what was written." in words
    assert content_of(site.data) == before
    new = empty_site(tmp_path / "new")
    refused(new, path)
    assert not new.data.exists()


def test_a_newer_backup_is_refused_with_the_steps_that_are_not_known(site, tmp_path):
    with book_of(site) as book:
        book.execute("INSERT INTO django_migrations (app, name, applied) VALUES ('plant', '0099_later', '2030-01-01')")
    path = Path(back_up(site, occasion=BackupOccasion.BY_HAND).path)
    new = empty_site(tmp_path / "new")
    words = backup_words(refused(new, path))
    assert "with steps that this version does not know: plant.0099_later." in words
    assert not new.data.exists()


def test_room_is_asked_for_before_anything_is_unpacked(path, tmp_path, monkeypatch):
    monkeypatch.setattr(restoring.shutil, "disk_usage", lambda folder: SimpleNamespace(free=2_000_000))
    reason = refused(empty_site(tmp_path / "new"), path)
    assert reason.rule == BackupRule.NO_ROOM_TO_UNPACK
    assert list((tmp_path / "new").iterdir()) == []


def test_a_disk_that_becomes_full_leaves_the_old_book(site, path, monkeypatch):
    def full(*args):
        raise OSError(errno.ENOSPC, "No space left on device")

    before = content_of(site.data)
    monkeypatch.setattr(restoring.archive, "unpack", full)
    assert refused(site, path, may_set_aside=True).rule == BackupRule.DATA_DISK_FULL
    assert content_of(site.data) == before


class PowerCut(BaseException):
    """Nothing is cleared up behind it."""


@pytest.mark.parametrize("step", range(7))
def test_cut_off_between_any_two_moves_the_same_command_ends_it(site, path, monkeypatch, step, db):
    """Until then the site does not start, and the old book is somewhere, whole."""
    old, real, moves = hash_of(site), Path.rename, []

    def cut(self, target):
        if len(moves) == step:
            raise PowerCut
        moves.append(target)
        return real(self, target)

    with book_of(site) as book:
        book.execute("INSERT INTO parent VALUES (7, 0)")
    monkeypatch.setattr(Path, "rename", cut)
    monkeypatch.setattr(restoring.shutil, "rmtree", lambda *args, **given: None)
    try:
        restore(site, path, may_set_aside=True)
        was_cut = False
    except PowerCut:
        was_cut = True
    monkeypatch.undo()
    assert was_cut is (step < 6), moves
    if was_cut:
        with pytest.raises(CannotStart, match=rf"broken off. Run it again: deploy/restore {path} --data {site.data}"):
            check_no_restore(site.data)
        restore(site, path, may_set_aside=False)
    check_no_restore(site.data)
    assert not (site.data / RESTORE_MARK).exists()
    assert hash_of(site) == old
    assert rows_of(site.book, "parent") == []
    books = [rows_of(each, "parent") for each in site.data.glob("set-aside-*/driftbook.sqlite3")]
    assert [(7, 0)] in books


def test_a_site_that_runs_is_not_written_over(site, path):
    kept = folder_lock.hold(site.data, port=8123)
    try:
        done = restore_by_hand(site, str(path), "--set-aside")
    finally:
        kept.close()
    assert done.returncode == 2
    assert f"The data folder {site.data} is in use: process {os.getpid()} serves it on port 8123." in done.stderr


def restore_by_hand(site, *args):
    # The environment of the test run stands in for the one that the script makes.
    code = (
        "import sys; sys.path.insert(0, '.')\n"
        "from pathlib import Path\n"
        "from deploy import environment, keeping\n"
        "environment.ensure = lambda *a, **k: Path(sys.executable)\n"
        f"sys.exit(environment.run_to_end(keeping.restore, {[*args, '--data', str(site.data)]!r}))"
    )
    env = {name: value for name, value in os.environ.items() if name not in ("DATABASE_URL", "PYTHONWARNINGS")}
    return subprocess.run([sys.executable, "-c", code], cwd=ROOT, env=env, capture_output=True, text=True, check=False)


def test_the_commands_say_what_they_did(site, path, tmp_path):
    listed = restore_by_hand(site)
    assert "2026-11-25 02:05 UTC" in listed.stdout
    assert str(path) in listed.stdout
    checked = restore_by_hand(site, str(path), "--check")
    assert f"{path} is whole:" in checked.stdout
    new = empty_site(tmp_path / "new")
    done = restore_by_hand(new, str(path))
    assert done.returncode == 0, done.stderr
    assert f"The book of 2026-11-25 at 02:05 UTC is back in {new.data}: " in done.stdout
    assert "Everybody signs in anew." in done.stdout
    again = restore_by_hand(new, str(path))
    assert again.returncode == 2
    assert again.stderr.startswith(f"{new.data} holds a book.")
    assert "Traceback" not in again.stderr
    missing = restore_by_hand(new, str(tmp_path / "no.zip"))
    assert missing.stderr.startswith(f"{tmp_path / 'no.zip'} is not there.")


def test_any_other_zip_is_no_backup(tmp_path):
    path = tmp_path / "other.zip"
    with zipfile.ZipFile(path, "w") as box:
        box.writestr("letter.txt", "Dear all")
    assert refused(empty_site(tmp_path / "new"), path).rule == BackupRule.NO_BACKUP


def test_a_form_of_a_later_version_is_said(path, tmp_path):
    later = tmp_path / "later.zip"
    writer = archive.Writer(later, AT)
    manifest = archive.check(path)
    writer.seal(archive.Manifest(**{**vars(manifest), "form": archive.FORM + 1, "version": "9.0.0"}))
    writer.close()
    words = backup_words(refused(empty_site(tmp_path / "new"), later))
    assert "was written by version 9.0.0 in a form that this version does not know" in words


@pytest.mark.parametrize(
    ("one", "other"),
    [(5, 5.0), (1e16, json.loads("1e16")), (-0.0, 0), ({"b": 1, "a": 2.0}, {"a": 2, "b": 1.0})],
)
def test_equal_values_are_written_equally(one, other):
    assert plain(one) == plain(other)


def test_values_that_differ_are_written_differently():
    assert plain(True) != plain(1) != plain("1 ")
    assert number(0.1) != number(0.1000000000000001)


def test_a_book_that_is_behind_is_hashed_by_its_own_tables(tmp_path, db):
    """As the book of before an upgrade is: its tables are not those of the code."""
    from django.db.migrations.executor import MigrationExecutor

    with book_at(tmp_path / "behind.sqlite3") as book:
        book.disable_constraint_checking()
        MigrationExecutor(book).migrate([("plant", "0001_tables")])
        tables = hashes_of_tables(book)
    assert "plant_conveyor" in tables
    assert "installs_device" not in tables
    assert "book-at-hand" not in connections
