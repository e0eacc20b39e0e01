"""A full disk is said in a sentence, on every page that it stops."""

from __future__ import annotations

import errno
import shutil
import sqlite3
import uuid
from collections import namedtuple
from types import SimpleNamespace

import psycopg.errors
import pytest
import time_machine
from django.core.cache import cache
from django.db import OperationalError, connection
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from plant.services.people import give_role
from plant.views import errors
from tests import make

Usage = namedtuple("Usage", "total used free")


@pytest.fixture
def client(pat):
    client = Client(raise_request_exception=False)
    client.force_login(pat)
    return client


def sqlite_error(code):
    error = sqlite3.OperationalError("what the data base says")
    error.sqlite_errorcode = code
    return error


def from_the_site(cause):
    try:
        raise OperationalError("said again") from cause
    except OperationalError as error:
        return error


def test_a_book_that_cannot_grow_says_so(client, alder):
    """With the data base's own error: it may have no further page."""
    if connection.vendor != "sqlite":
        pytest.skip("SQLite alone can be told how large it may grow")
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA page_count")
        pages = cursor.fetchone()[0]
        cursor.execute(f"PRAGMA max_page_count = {pages}")
        try:
            for n in range(500):
                given = {"code": f"K{n}", "name": f"Kiln {n}", "walking_order": n, "client_key": uuid.uuid4()}
                answer = client.post(reverse("area-create"), given)
                if answer.status_code != 302:
                    break
        finally:
            cursor.execute("PRAGMA max_page_count = 1073741823")
    assert answer.status_code == 507
    page = answer.content.decode()
    assert "The disk of this site is full" in page
    assert "What you typed on this page was not saved" in page


@pytest.mark.parametrize(
    "error",
    [
        OSError(errno.ENOSPC, "No space left on device"),
        from_the_site(sqlite_error(sqlite3.SQLITE_FULL)),
        from_the_site(psycopg.errors.DiskFull("could not extend file")),
    ],
    ids=["file", "sqlite", "postgresql"],
)
def test_every_way_in_which_a_full_disk_shows_is_known(client, monkeypatch, error):
    def broken(*args, **kwargs):
        raise error

    monkeypatch.setattr("plant.context_processors.nearly_full", broken)
    answer = client.get("/")
    assert answer.status_code == 507
    assert "The disk of this site is full" in answer.content.decode()


def test_an_error_that_may_come_of_something_else_counts_where_nothing_is_free(monkeypatch):
    error = from_the_site(sqlite_error(sqlite3.SQLITE_CANTOPEN))
    assert not errors.is_full_disk(error)
    monkeypatch.setattr(shutil, "disk_usage", lambda path: Usage(10**9, 10**9, 0))
    assert errors.is_full_disk(error)
    assert not errors.is_full_disk(ValueError("something else"))


def test_a_data_folder_that_is_gone_is_no_full_disk_and_breaks_no_error_page(settings, tmp_path):
    settings.DATA_DIR = tmp_path / "unmounted"
    assert not errors.is_full_disk(from_the_site(sqlite_error(sqlite3.SQLITE_CANTOPEN)))


@pytest.fixture
def asked(monkeypatch):
    """What the disk answers, as a list that a test may change; each question is counted."""
    cache.clear()
    asked = SimpleNamespace(free=10**9, n=0)

    def answer(path):
        asked.n += 1
        if asked.free is None:
            raise FileNotFoundError(errno.ENOENT, "No such file or directory", str(path))
        return Usage(10**9, 10**9, asked.free)

    monkeypatch.setattr(shutil, "disk_usage", answer)
    yield asked
    cache.clear()


def test_people_are_warned_before_the_disk_is_full(client, asked):
    assert "nearly full" not in client.get("/").content.decode()
    asked.free = 37 * 1024 * 1024
    cache.clear()
    assert "The disk of this site is nearly full (37 MB free)" in client.get("/").content.decode()


def test_the_disk_is_asked_once_a_minute(client, asked):
    with time_machine.travel(timezone.now(), tick=False) as clock:
        for _page in range(3):
            client.get("/account/")
        assert asked.n == 1
        clock.shift(61)
        client.get("/account/")
        assert asked.n == 2


@pytest.mark.parametrize(("who", "is_told"), [("pat", True), ("tess", False), ("mona", False), ("keeper", True)])
def test_a_page_comes_where_the_data_folder_is_gone(request, who, is_told, asked, alder):
    """Those who can see to it are told, nobody else is kept from work by it."""
    person = keeper(alder) if who == "keeper" else request.getfixturevalue(who)
    asked.free = None
    client = Client()
    client.force_login(person)
    page = client.get("/account/")
    assert page.status_code == 200
    assert ("The data folder of this site cannot be reached" in page.content.decode()) is is_told


def keeper(plant):
    person = make.person("kim", is_keeper=True)
    give_role(person=person, plant=plant, role="technician")
    return person
