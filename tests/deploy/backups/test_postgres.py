"""A book of SQLite is carried onto PostgreSQL, brought up to date there, backed up and put back: the hash stays."""

from __future__ import annotations

import contextlib
import os
import shutil
import subprocess
import sys
import uuid
from pathlib import Path
from urllib.parse import urlsplit

import psycopg
import pytest
from psycopg import sql

from deploy.backups.archive import NotKept
from deploy.backups.book_hash import book_at, book_hash
from deploy.backups.making import Site, back_up
from deploy.backups.restoring import restore
from plant.calc.backups import BackupOccasion
from plant.selectors.backups import backups_in
from plant.words.backups import backup_words
from tests import clock
from tests.deploy.backups.book_0_2_0 import make
from tests.deploy.backups.sites import site_in

ROOT = Path(__file__).resolve().parents[3]
BY_HAND = BackupOccasion.BY_HAND
SERVER = os.environ.get("DRIFTBOOK_TEST_DATABASE_URL", "")


@pytest.fixture(scope="module")
def server():
    if not SERVER and os.environ.get("CI") == "true":
        pytest.fail("CI brings PostgreSQL: DRIFTBOOK_TEST_DATABASE_URL is missing")
    if not SERVER:
        pytest.skip("no PostgreSQL server: DRIFTBOOK_TEST_DATABASE_URL names one")
    if shutil.which("pg_dump") is None:
        pytest.skip("pg_dump is not on this machine")
    return SERVER


@pytest.fixture
def empty(server):
    """Makes empty data bases, each named by its address, and takes them away in the end."""
    made = []
    with psycopg.connect(server, autocommit=True) as connection:

        def another():
            name = f"driftbook_backup_{uuid.uuid4().hex[:12]}"
            connection.execute(sql.SQL("CREATE DATABASE {}").format(sql.Identifier(name)))
            made.append(name)
            return urlsplit(server)._replace(path=f"/{name}").geturl()

        yield another
        for name in made:
            connection.execute(sql.SQL("DROP DATABASE {} WITH (FORCE)").format(sql.Identifier(name)))


def database_of(address):
    parts = urlsplit(address)
    return {"ENGINE": "django.db.backends.postgresql", "NAME": parts.path[1:], "HOST": parts.hostname,
            "PORT": parts.port, "USER": parts.username, "PASSWORD": parts.password}  # fmt: skip


def manage(data, address, *args, steps=""):
    settings = "tests.deploy.backups.later_settings" if steps else "tests.settings"
    apart = ("REDIS_URL", "PYTHONWARNINGS")
    known = {name: value for name, value in os.environ.items() if name not in apart}
    env = {**known, "DRIFTBOOK_DATA": str(data), "DATABASE_URL": address, "DJANGO_SETTINGS_MODULE": settings,
           "DRIFTBOOK_TEST_STEPS": steps}  # fmt: skip
    return subprocess.run(
        [sys.executable, "manage.py", *args], cwd=ROOT, env=env, capture_output=True, text=True, check=False
    )


def hash_of(data, address):
    done = manage(data, address, "book_hash")
    assert done.returncode == 0, done.stderr
    return done.stdout.split()[-1]


def marked(folder):
    clock.mark(folder)
    return folder


def test_from_sqlite_to_postgresql_and_through_a_failed_upgrade_the_book_is_the_same(empty, tmp_path, db):
    old = marked(tmp_path / "old")
    make(old / "driftbook.sqlite3")
    (old / "files").mkdir()
    (old / "files" / "plan.pdf").write_bytes(b"%PDF")
    with book_at(old / "driftbook.sqlite3") as book:
        wanted = book_hash(book, old)
    site = Site(old, {"NAME": str(old / "driftbook.sqlite3")}, old / "backups")
    path = back_up(site, occasion=BY_HAND).path
    first, data = empty(), marked(tmp_path / "new")
    carried = manage(data, first, "restore", path)
    assert carried.returncode == 0, carried.stderr
    assert hash_of(data, first) == wanted
    again = manage(data, first, "restore", path, "--set-aside")
    assert again.returncode == 2
    assert "holds tables already. Nothing was changed." in again.stderr

    failed = manage(data, first, "bring_up_to_date", steps="fails")
    assert failed.returncode == 2, failed.stderr
    assert "later.0002_rewrite_conveyors: the belt of before 2020 has no width" in failed.stderr
    assert hash_of(data, first) == wanted
    [backup] = backups_in(data / "backups")
    assert str(backup.path) in failed.stderr

    second, other = empty(), marked(tmp_path / "other")
    put_back = manage(other, second, "restore", str(backup.path))
    assert put_back.returncode == 0, put_back.stderr
    assert hash_of(other, second) == wanted

    worked = manage(other, second, "bring_up_to_date", steps="works")
    assert worked.returncode == 0, worked.stderr
    with psycopg.connect(second) as connection:
        assert connection.execute("SELECT count(*) FROM later_note").fetchone()[0] > 5
        # Numbers go on behind those that were carried.
        connection.execute("INSERT INTO auth_group (name) VALUES ('one more')")


def refused(site, path=None):
    act = (lambda: restore(site, path, may_set_aside=False)) if path else (lambda: back_up(site, occasion=BY_HAND))
    with pytest.raises(NotKept) as reason:
        act()
    return backup_words(reason.value.reason)


@pytest.fixture
def site(tmp_path, server):
    data = tmp_path / "site"
    data.mkdir()
    return Site(data, database_of(server), data / "backups")


def test_a_server_that_cannot_be_reached_or_refuses_is_said(site):
    site.database["PORT"] = 1
    words = refused(site)
    assert words.startswith("The data base server cannot be reached, or does not let the site in (")
    assert "DATABASE_URL" in words
    assert backups_in(site.folder) == []


def test_a_data_base_that_is_not_there_is_said(site):
    site.database["NAME"] = "no_such_book"
    assert '"no_such_book" does not exist' in refused(site)


def test_where_pg_dump_is_missing_it_is_named_with_its_package(site, monkeypatch, tmp_path):
    monkeypatch.setenv("PATH", str(tmp_path))
    words = refused(site)
    assert words.startswith("pg_dump is not on this machine")
    assert "postgresql-client" in words
    with contextlib.suppress(FileNotFoundError):
        assert list(site.folder.glob("*.zip")) == []


def test_a_row_that_postgresql_does_not_take_leaves_nothing_there(empty, tmp_path):
    sqlite = site_in(tmp_path)  # its photo names a plant that is not there
    path = Path(back_up(sqlite, occasion=BY_HAND).path)
    address = empty()
    done = manage(marked(tmp_path / "new"), address, "restore", str(path))
    assert done.returncode == 2
    assert "PostgreSQL does not take the rows" in done.stderr
    with psycopg.connect(address) as connection:
        assert connection.execute("SELECT count(*) FROM pg_tables WHERE schemaname = 'public'").fetchone()[0] == 0


def test_a_backup_of_postgresql_is_not_put_onto_sqlite(empty, tmp_path):
    address, data = empty(), tmp_path / "site"
    data.mkdir()
    with psycopg.connect(address) as connection:
        connection.execute("CREATE TABLE plant_plant (id int, name text)")
        connection.execute("INSERT INTO plant_plant VALUES (1, 'Alder Pit'), (2, E'two\\nlines')")
    path = Path(back_up(Site(data, database_of(address), data / "backups"), occasion=BY_HAND).path)
    new = Site(tmp_path / "new", {"NAME": str(tmp_path / "new" / "driftbook.sqlite3")}, tmp_path)
    assert "is of a data base of PostgreSQL. Make an empty one" in refused(new, path)
