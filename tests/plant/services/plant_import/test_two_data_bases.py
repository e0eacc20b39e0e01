"""A plant goes from SQLite to PostgreSQL and back, in processes of their own, and stays the same book."""

from __future__ import annotations

import os
import subprocess
import sys
import uuid
from pathlib import Path
from urllib.parse import urlsplit

import psycopg
import pytest
from psycopg import sql

from tests import clock
from tests.migrated_book import lay_down
from tests.plant_folders import made_once, texts_of

pytestmark = pytest.mark.django_db
ROOT = Path(__file__).resolve().parents[4]
SERVER = os.environ.get("DRIFTBOOK_TEST_DATABASE_URL", "")
ONE_MOMENT = """
import django
django.setup()
from django.db import connections
from django.utils import timezone
from plant.models import Conveyor, Incident
from plant.selectors.export_rows import at_one_moment
belt = Conveyor.objects.get()
with at_one_moment() as alias:
    before = Incident.objects.using(alias).count()
    Incident.objects.create(plant=belt.plant, conveyor=belt, happened_at=timezone.now())
    assert Incident.objects.count() == before + 1
    assert Incident.objects.using(alias).count() == before > 0
with at_one_moment() as alias:
    assert Incident.objects.using(alias).count() == before + 1
    assert alias != "default"
assert alias not in [each.alias for each in connections.all(initialized_only=True)]
print("one moment")
"""


@pytest.fixture(scope="module")
def folder(django_db_setup, django_db_blocker, tmp_path_factory):
    return made_once(django_db_blocker, tmp_path_factory.mktemp("plant") / "out")


@pytest.fixture
def postgres():
    """The address of an empty data base."""
    if not SERVER and os.environ.get("CI") == "true":
        pytest.fail("CI brings PostgreSQL: DRIFTBOOK_TEST_DATABASE_URL is missing")
    if not SERVER:
        pytest.skip("no PostgreSQL server: DRIFTBOOK_TEST_DATABASE_URL names one")
    name = f"driftbook_plant_{uuid.uuid4().hex[:12]}"
    with psycopg.connect(SERVER, autocommit=True) as connection:
        connection.execute(sql.SQL("CREATE DATABASE {}").format(sql.Identifier(name)))
        yield urlsplit(SERVER)._replace(path=f"/{name}").geturl()
        connection.execute(sql.SQL("DROP DATABASE {} WITH (FORCE)").format(sql.Identifier(name)))


def run(data, address, *args):
    """What a process of a site says."""
    apart = ("REDIS_URL", "PYTHONWARNINGS", "DATABASE_URL")
    env = {name: value for name, value in os.environ.items() if name not in apart}
    env |= {"DRIFTBOOK_DATA": str(data), "DATABASE_URL": address, "DJANGO_SETTINGS_MODULE": "tests.settings"}
    done = subprocess.run([sys.executable, *args], cwd=ROOT, env=env, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def through(folder, data, address, target):
    """Read into a site and taken out of it again."""
    told = run(data, address, "manage.py", "import_plant", str(folder))
    assert "equal to those of the folder" in told
    run(data, address, "manage.py", "export_plant", "Alder Pit", "--to", str(target))
    return target


def sqlite_site(folder):
    folder.mkdir()
    lay_down(folder)
    return folder


def test_a_site_of_sqlite(folder, tmp_path):
    data = sqlite_site(tmp_path / "site")
    again = through(folder, data, "", tmp_path / "again")
    assert texts_of(again) == texts_of(folder)
    assert run(data, "", "-c", ONE_MOMENT) == "one moment\n"


def test_a_site_of_postgresql_and_back_to_sqlite(folder, tmp_path, postgres):
    data = tmp_path / "site"
    data.mkdir()
    clock.mark(data)
    run(data, postgres, "manage.py", "migrate", "--verbosity=0")
    there = through(folder, data, postgres, tmp_path / "there")
    assert texts_of(there) == texts_of(folder)
    assert run(data, postgres, "-c", ONE_MOMENT) == "one moment\n"
    back = through(there, sqlite_site(tmp_path / "other"), "", tmp_path / "back")
    assert texts_of(back) == texts_of(folder)
