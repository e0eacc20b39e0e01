"""A backup is of one moment, whole, and everybody's to open; what fails leaves nothing half."""

from __future__ import annotations

import contextlib
import datetime as dt
import errno
import hashlib
import json
import multiprocessing
import random
import shutil
import sqlite3
import stat
import subprocess
import sys
import threading
import time
import zipfile
from pathlib import Path
from types import SimpleNamespace

import pytest
from django.conf import settings

from deploy.backups import archive, making, sqlite_book
from deploy.backups.archive import NotKept
from deploy.backups.making import back_up, look_over
from plant.calc.backups import BackupOccasion, BackupRule
from plant.selectors.backups import backups_in, last_backups
from plant.words.backups import backup_words
from tests.deploy.backups.sites import add_photo, book_of, rows_of, site_in
from tests.servers import GIVE_UP_AFTER_S

AT = dt.datetime(2026, 11, 25, 2, 5, 3, tzinfo=dt.UTC)


@pytest.fixture
def site(tmp_path):
    return site_in(tmp_path)


def made(site, **given):
    return Path(back_up(site, **{"occasion": BackupOccasion.BY_HAND, "now": AT, **given}).path)


def refused(site, **given):
    with pytest.raises(NotKept) as reason:
        made(site, **given)
    assert [each.name for each in site.folder.glob("*.zip")] == []
    assert [each.name for each in site.folder.glob(".unfinished-*")] == []
    return reason.value.reason


def test_it_is_opened_with_ordinary_tools_and_says_what_it_holds(site, tmp_path):
    path = made(site)
    assert path == site.folder / "driftbook-2026-11-25T020503Z.zip"
    with zipfile.ZipFile(path) as box:
        box.extractall(tmp_path / "unpacked")
    unpacked = tmp_path / "unpacked"
    manifest = json.loads((unpacked / "manifest.json").read_text())
    for each in manifest["members"]:
        content = (unpacked / each["name"]).read_bytes()
        assert (each["n_bytes"], each["sha256"]) == (len(content), hashlib.sha256(content).hexdigest())
    assert {each["name"] for each in manifest["members"]} == {
        "begun-empty", "driftbook.sqlite3", "files/photos/1.jpg", "how-to-use.txt",
    }  # fmt: skip
    assert manifest["made_at"] == "2026-11-25T02:05:03+00:00"
    assert manifest["version"] == settings.VERSION
    assert ["plant", "0001_tables"] in manifest["migrations"]
    assert manifest["rows"]["plant_photo"] == 1
    assert manifest["missing"] == []
    assert rows_of(unpacked / "driftbook.sqlite3", "plant_photo") == rows_of(site.book, "plant_photo")


def test_nobody_signs_in_with_what_is_in_it_and_only_its_owner_reads_it(site):
    path = made(site)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert stat.S_IMODE(site.folder.stat().st_mode) == 0o700
    assert b"number-of-a-sign-in" in site.book.read_bytes()
    with zipfile.ZipFile(path) as box:
        everything = b"".join(box.read(name) for name in box.namelist())
    assert b"kept-apart" not in everything
    assert b"number-of-a-sign-in" not in everything
    assert len(rows_of(site.book, "django_session")) == 1


@pytest.fixture(scope="module")
def kept(tmp_path_factory):
    path = made(site_in(tmp_path_factory.mktemp("kept")))
    return path, path.read_bytes(), spans_of(path)


@pytest.mark.parametrize("seed", range(48))
def test_a_byte_that_changed_anywhere_is_seen_and_its_member_named(kept, tmp_path, seed):
    _path, before, spans = kept
    path = tmp_path / "backup.zip"
    dice = random.Random(seed)
    content = bytearray(before)
    name = sorted(spans)[seed % len(spans)]
    place = dice.randrange(*spans[name])
    content[place] ^= dice.randrange(1, 256)
    path.write_bytes(content)
    with pytest.raises(NotKept) as reason:
        archive.check(path)
    words = backup_words(reason.value.reason)
    assert words.startswith(f"{path} is damaged: "), (name, place)
    if name in ("driftbook.sqlite3", "files/photos/1.jpg") and place > spans[name][0] + 200:
        assert f"is damaged: {name} is no longer what was written." in words


def spans_of(path):
    """From which byte to which each member goes, and what follows the last."""
    with zipfile.ZipFile(path) as box:
        found = sorted((each.header_offset, each.filename) for each in box.infolist())
        ends = [*(each for each, _name in found[1:]), box.start_dir]
    spans = {name: (begin, end) for (begin, name), end in zip(found, ends, strict=True)}
    return {**spans, "its list of contents": (ends[-1], path.stat().st_size)}


@pytest.mark.parametrize("share", [0.0, 0.3, 0.9, 0.999])
def test_one_that_was_cut_off_is_none(kept, tmp_path, share):
    path, before = tmp_path / "backup.zip", kept[1]
    path.write_bytes(before[: int(len(before) * share)])
    with pytest.raises(NotKept) as reason:
        archive.check(path)
    assert reason.value.reason.rule in (BackupRule.NO_BACKUP, BackupRule.MEMBER_CHANGED)


def test_what_would_land_outside_of_the_folder_is_not_taken(tmp_path):
    for name in ("../secret", "/etc/x", "files/../../x", "other/x", "files\\x", "x.sqlite3", "files//x"):
        assert not archive.is_ours(name)
    assert archive.is_ours("files/photos/1.jpg")


WRITER = """
import sqlite3, sys, time
from pathlib import Path
book = sqlite3.connect(sys.argv[1], timeout=60)
files, number = Path(sys.argv[2]), int(sys.argv[3])
book.execute("PRAGMA synchronous=NORMAL")
print("writes", flush=True)
while True:
    number += 10
    (files / f"{number}.jpg").write_bytes(b"photo %d" % number)
    book.execute("BEGIN IMMEDIATE")
    book.execute("INSERT INTO parent VALUES (?, 3)", [number])
    for child in range(3):
        book.execute("INSERT INTO child (parent) VALUES (?)", [number])
    photo = [number, f"{number:032x}", f"photos/{number}.jpg"]
    book.execute("INSERT INTO plant_photo (id, client_key, created_at, image_format, file, caption, sha256, plant_id) "
                 "VALUES (?, ?, '2026-11-25', 'JPEG', ?, '', '', 1)", photo)
    book.commit()
    time.sleep(0.002)
"""


@contextlib.contextmanager
def people_at_work(site, n=3):
    command = [sys.executable, "-c", WRITER, str(site.book), str(site.data / "files" / "photos")]
    writers = [subprocess.Popen([*command, str(1000 + each)], stdout=subprocess.PIPE, text=True) for each in range(n)]
    try:
        for each in writers:
            assert each.stdout.readline() == "writes\n"
        yield
        assert [each.poll() for each in writers] == [None] * n, "a writer failed"
    finally:
        for each in writers:
            each.kill()
            each.wait()
            each.stdout.close()


def test_while_people_write_it_is_of_one_moment(site, tmp_path):
    """Every parent with its children, every photo with its file, and the next one has all that this one has."""
    seen = set()
    with people_at_work(site):
        for number in range(3):
            until = time.monotonic() + GIVE_UP_AFTER_S
            while len(rows_of(site.book, "parent")) <= len(seen) + 5:
                assert time.monotonic() < until
            path = made(site, now=AT + dt.timedelta(seconds=number))
            copy = tmp_path / f"{number}.sqlite3"
            archive.unpack(path, archive.SQLITE, copy)
            parents = {row[0] for row in rows_of(copy, "parent")}
            children = [row[1] for row in rows_of(copy, "child")]
            photos = {row[0] for row in rows_of(copy, "plant_photo")} - {1}
            assert sorted(children) == sorted([*parents, *parents, *parents])
            assert photos == parents
            manifest = archive.check(path)
            assert manifest.missing == []
            assert manifest.rows["parent"] == len(parents)
            assert parents > seen
            seen = parents


def back_up_again_and_again(site, has_begun):
    has_begun.set()
    while True:
        back_up(site, occasion=BackupOccasion.BY_HAND)


def test_killed_at_any_moment_it_leaves_no_half_one_that_counts(tmp_path):
    site = site_in(tmp_path, days=100)
    dice, processes = random.Random(1), multiprocessing.get_context("fork")
    n_left = 0
    for _again in range(12):
        has_begun = processes.Event()
        process = processes.Process(target=back_up_again_and_again, args=[site, has_begun])
        process.start()
        assert has_begun.wait(GIVE_UP_AFTER_S)
        time.sleep(dice.uniform(0, 0.6))  # a random moment, whatever is done by then
        process.kill()
        process.join()
        n_left += len(list(site.folder.glob(".unfinished-*")))
        for each in backups_in(site.folder):
            look_over(each.path, site.folder)
    assert n_left, "none was killed in the middle"
    made(site)
    assert list(site.folder.glob(".unfinished-*")) == []
    assert all(each["is_good"] for each in outcomes(site))


def test_no_folder_is_made_where_a_disk_should_be(site, tmp_path):
    away = tmp_path / "disk" / "backups"
    reason = refused(site, into=away)
    assert backup_words(reason).startswith(f"The folder for backups {away} is not there. Is its disk connected?")
    assert not away.parent.exists()


def test_a_folder_that_cannot_be_written_is_said(site, tmp_path):
    (site.folder / making.TURN).mkdir(parents=True)  # as little to be opened for writing as one of another account
    assert "cannot be written" in backup_words(refused(site))


def test_a_folder_among_the_files_would_pack_itself(site):
    inside = site.data / "files" / "backups"
    inside.mkdir()
    assert "lies among the files that are backed up" in backup_words(refused(site, into=inside))


def test_room_is_asked_for_before_anything_is_written(site, monkeypatch):
    monkeypatch.setattr(shutil, "disk_usage", lambda folder: SimpleNamespace(free=2_000_000))
    words = backup_words(refused(site))
    assert words.startswith("A backup needs up to 7 MB and 1 MB are free in")
    assert "DRIFTBOOK_BACKUP_FOLDER" in words


@pytest.mark.parametrize("step", ["add", "seal"])
def test_a_disk_that_becomes_full_leaves_nothing_half(site, monkeypatch, step):
    def full(*args):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(archive.Writer, step, full)
    assert "became full" in backup_words(refused(site))
    [outcome] = outcomes(site)
    assert not outcome["is_good"]
    assert outcome["fault"]["rule"] == "backup.disk_full"


def outcomes(site):
    return [json.loads(line) for line in site.outcomes.read_text().splitlines()]


def test_a_book_that_becomes_full_while_it_is_copied_is_no_damaged_one(site, monkeypatch):
    def full(*args):
        error = sqlite3.OperationalError("database or disk is full")
        error.sqlite_errorcode = sqlite3.SQLITE_FULL
        raise error

    monkeypatch.setattr(sqlite_book, "copy_book", full)
    assert refused(site).rule == BackupRule.DISK_FULL


def test_a_damaged_book_is_said_and_the_older_backups_stay(site):
    older = made(site)
    with book_of(site) as book:
        book.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    content = bytearray(site.book.read_bytes())
    content[4096 * 20 : 4096 * 60] = b"\xff" * 4096 * 40
    site.book.write_bytes(content)
    with pytest.raises(NotKept) as reason:
        made(site, now=AT + dt.timedelta(days=1))
    assert reason.value.reason.rule in (BackupRule.BOOK_DAMAGED, BackupRule.BOOK_NOT_WHOLE)
    assert [each.path for each in backups_in(site.folder)] == [older]
    archive.check(older)


def test_a_photo_that_cannot_be_read_is_named(site, monkeypatch):
    real = making.io.FileIO.__init__

    def closed(self, path, *args):
        if str(path).endswith("1.jpg"):
            raise PermissionError(errno.EACCES, "Permission denied")
        real(self, path, *args)

    monkeypatch.setattr(making.Source, "__init__", lambda self, path: opened_as(self, path, closed))
    words = backup_words(refused(site))
    assert words.startswith(f"{site.data}/files/photos/1.jpg could not be read for the backup (Permission denied).")


def opened_as(source, path, open_):
    source.path = path
    with source.named():
        open_(source, path)


def test_a_file_that_the_book_names_and_that_is_gone_is_listed(site):
    add_photo(site, 2)
    (site.data / "files" / "photos" / "2.jpg").unlink()
    assert archive.check(made(site)).missing == ["photos/2.jpg"]
    assert outcomes(site)[0]["missing"] == 1


def test_where_there_is_no_book_none_is_made(site):
    site.book.unlink()
    assert refused(site).rule == BackupRule.NO_BOOK
    assert not site.book.exists()


def test_two_at_once_do_not_meet(site, monkeypatch):
    waits, goes_on = threading.Event(), threading.Event()
    real = sqlite_book.copy_book

    def slow(*args):
        waits.set()
        assert goes_on.wait(GIVE_UP_AFTER_S)
        real(*args)

    monkeypatch.setattr(sqlite_book, "copy_book", slow)
    first = threading.Thread(target=made, args=[site])
    first.start()
    try:
        assert waits.wait(GIVE_UP_AFTER_S)
        with pytest.raises(NotKept) as reason:
            made(site)
    finally:
        goes_on.set()
        first.join()
    assert reason.value.reason.rule == BackupRule.BUSY
    assert len(backups_in(site.folder)) == 1


def test_how_the_last_ones_went_is_read_by_the_keeper(site, settings):
    settings.DATA_DIR, settings.BACKUP_FOLDER = site.data, site.folder
    assert last_backups().last is None
    path = made(site)
    with pytest.raises(NotKept):
        made(site, into=site.data / "away", now=AT + dt.timedelta(hours=1))
    with site.outcomes.open("a") as file:
        file.write('{"at": "2026-11-2')  # the power went
    found = last_backups()
    assert [each.is_good for each in found.outcomes] == [False, True]
    assert found.last_good.path == str(path)
    assert found.last_good.n_bytes == path.stat().st_size == found.newest.n_bytes
    assert found.last.fault.rule == BackupRule.FOLDER_MISSING
    assert "Is its disk connected?" in backup_words(found.last.fault)
    assert found.is_beside_the_book
    assert found.newest.made_at == AT


def test_older_ones_are_thinned_by_the_rule_and_named(tmp_path):
    site = site_in(tmp_path, days=2, weeks=1, months=1)
    paths = [made(site, now=AT + dt.timedelta(days=day)) for day in range(3)]
    (site.folder / "notes.txt").write_text("of somebody else")
    assert [each.path for each in backups_in(site.folder)] == paths[:0:-1]
    assert outcomes(site)[-1]["thinned"] == [paths[0].name]
    assert (site.folder / "notes.txt").exists()


def test_a_folder_named_by_hand_is_not_thinned(tmp_path):
    site = site_in(tmp_path, days=1, weeks=0, months=0)
    stick = tmp_path / "stick"
    stick.mkdir()
    for day in range(2):
        made(site, now=AT + dt.timedelta(days=day), into=stick)
    assert len(backups_in(stick)) == 2


def test_every_rule_has_a_text():
    from plant.words.backups import TEXTS

    assert {*BackupRule, *BackupOccasion} == set(TEXTS)
