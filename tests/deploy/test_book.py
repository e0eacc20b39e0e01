"""A book that this code cannot serve is refused with a sentence before anything of it is changed or served."""

from __future__ import annotations

import contextlib
import os
import shutil
import sqlite3
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest
from django.db import OperationalError, connection, connections
from django.db.backends.sqlite3.base import DatabaseWrapper

from deploy.environment import CannotStart
from deploy.running import manage, why_not
from deploy.system_checks import book_faults
from tests.migrated_book import lay_down


@contextlib.contextmanager
def opened(path: Path):
    known = {**connections["default"].settings_dict, "NAME": str(path), "OPTIONS": {}, "ENGINE": "sqlite3"}
    book = DatabaseWrapper(known, alias="a-book")
    connections["a-book"] = book  # its migrations are read by this name
    try:
        yield book
    finally:
        book.close()
        del connections["a-book"]


def write(path: Path, sql: str) -> None:
    with contextlib.closing(sqlite3.connect(path)) as book:
        book.execute(sql)
        book.commit()


@pytest.fixture
def path(tmp_path, db):
    lay_down(tmp_path)
    return tmp_path / "driftbook.sqlite3"


def test_a_sound_book_of_this_version_is_served(path):
    with opened(path) as book:
        assert book_faults(book) == []
    assert book_faults(connection) == []


def test_an_empty_file_is_a_book_to_be_made(tmp_path, db):
    with opened(tmp_path / "driftbook.sqlite3") as book:
        assert book_faults(book) == []


def test_steps_of_another_version_are_named(path):
    for app, name in (("plant", "0099_from_later_on"), ("reports", "0042_more_of_it"), ("axes", "0999_of_a_library")):
        write(path, f"insert into django_migrations (app, name, applied) values ('{app}', '{name}', '2030-01-01')")
    with opened(path) as book:
        [fault] = book_faults(book)
    assert "does not know steps that the book has: plant.0099_from_later_on, reports.0042_more_of_it." in fault.msg
    assert "Nothing was changed." in fault.msg
    assert "Start the version that wrote it" in fault.hint


@pytest.mark.parametrize("where", ["head", "middle", "cut off"])
def test_a_damaged_file_is_named_with_what_to_do(path, where):
    content = bytearray(path.read_bytes())
    if where == "head":
        content[:64] = os.urandom(64)
    elif where == "middle":
        content[4096 * 3 : 4096 * 40] = b"\xff" * 4096 * 37
    else:
        content = content[: len(content) // 2]
    path.write_bytes(content)
    with opened(path) as book:
        [fault] = book_faults(book)
    assert f"The book {path} is damaged (" in fault.msg
    assert ".recover" in fault.hint


@pytest.mark.parametrize("words", ["disk I/O error", "database or disk is full"])
def test_a_full_disk_is_not_taken_for_a_damaged_book(path, monkeypatch, words):
    """Whoever put back a backup for want of space would lose what was written since."""

    def no_room(book):
        cause = sqlite3.OperationalError(words)
        cause.sqlite_errorcode = sqlite3.SQLITE_FULL if "full" in words else sqlite3.SQLITE_IOERR
        raise OperationalError(words) from cause

    monkeypatch.setattr("deploy.system_checks.damage_of", no_room)
    monkeypatch.setattr(shutil, "disk_usage", lambda folder: SimpleNamespace(free=0))
    with opened(path) as book:
        [fault] = book_faults(book)
    assert fault.id == "driftbook.E007"
    assert "The disk is full" in fault.msg
    assert "Free space" in fault.hint
    assert "backup" not in fault.msg + fault.hint


def test_a_disk_that_fails_with_room_left_is_said_to_damage_the_book(path, monkeypatch):
    def failing(book):
        raise OperationalError("disk I/O error") from sqlite3.OperationalError("disk I/O error")

    monkeypatch.setattr("deploy.system_checks.damage_of", failing)
    with opened(path) as book:
        [fault] = book_faults(book)
    assert fault.id == "driftbook.E005"


def test_a_start_says_it_in_one_sentence_and_leaves_the_book_alone(path):
    write(
        path, "insert into django_migrations (app, name, applied) values ('plant', '0099_from_later_on', '2030-01-01')"
    )
    before = path.read_bytes()
    env = {
        **os.environ,
        "DRIFTBOOK_DATA": str(path.parent),
        "DJANGO_SETTINGS_MODULE": "tests.settings",
        "DATABASE_URL": "",
    }
    with pytest.raises(CannotStart) as reason:
        manage(Path(sys.executable), env, "migrate", "--verbosity=0")
    words = str(reason.value)
    assert words.startswith("This version does not know steps that the book has: plant.0099_from_later_on.")
    assert words.endswith("or name another folder with --data (DRIFTBOOK_DATA).")
    assert path.read_bytes() == before


def test_other_failures_keep_their_last_line():
    assert why_not("Traceback\n  x\nValueError: no\n") == "ValueError: no"
    assert why_not("") == ""
