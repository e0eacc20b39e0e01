"""The disk is really full, on a small one of its own: nothing half is left, a sentence says so, and it goes on."""

from __future__ import annotations

import json
import os
import shlex
import subprocess
import sys
from functools import cache
from pathlib import Path

import pytest

from tests.deploy.full_disk import ROWS
from tests.migrated_book import lay_down

ROOT = Path(__file__).resolve().parents[2]
SIZE_MB = 24


def alone(*command: str) -> list[str]:
    """A command in a name space of its own, where a disk may be mounted by anybody and nobody else sees it."""
    return ["unshare", "--user", "--map-root-user", "--mount", *command]


@cache
def why_not() -> str:
    """Why no small disk can be had here; empty where it can."""
    try:
        tried = subprocess.run(
            alone("mount", "-t", "tmpfs", "none", "/mnt"), capture_output=True, text=True, check=False
        )
    except OSError as error:
        return str(error)
    return tried.stderr.strip() if tried.returncode else ""


@pytest.fixture
def on_a_small_disk(tmp_path):
    """Does an act of `full_disk.py` there, and says what it printed."""
    if why_not():
        pytest.skip(f"no small disk can be mounted here: {why_not()}")
    disk, seed = tmp_path / "disk", tmp_path / "seed"
    disk.mkdir()
    seed.mkdir()
    lay_down(seed)
    apart = {"DATABASE_URL", "REDIS_URL", "DRIFTBOOK_DATA"}
    env = {name: value for name, value in os.environ.items() if name not in apart} | {
        "DJANGO_SETTINGS_MODULE": "tests.settings",
        "DRIFTBOOK_DATA": str(disk / "data"),
    }

    def act(name):
        quoted = [shlex.quote(str(each)) for each in (disk, seed, disk / "data", sys.executable)]
        script = (
            f"mount -t tmpfs -o size={SIZE_MB}M none {quoted[0]} && cp -r {quoted[1]} {quoted[2]} && "
            f"exec {quoted[3]} -m tests.deploy.full_disk {name}"
        )
        done = subprocess.run(alone("sh", "-c", script), cwd=ROOT, env=env, capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stderr[-3000:]
        return json.loads(done.stdout.strip().splitlines()[-1])

    return act


def test_a_photo_that_does_not_fit_leaves_neither_file_nor_row_and_fits_later(on_a_small_disk):
    said = on_a_small_disk("upload")
    assert said["status"] == 507
    assert "The disk of this site is full" in said["page"]
    assert (said["files"], said["rows"]) == ([], [0, 0])
    assert (said["again"], said["rows_again"], len(said["files_again"])) == (302, [1, 1], 1)
    assert said["is_whole"]


def test_a_paper_comes_or_says_why(on_a_small_disk):
    said = on_a_small_disk("paper")
    assert said["status"] in (200, 507)
    assert said["is_paper"] or "The disk of this site is full" in said["page"]
    assert said["files"] == said["before"]
    assert said["again"] == "%PDF"


def test_a_backup_that_does_not_fit_leaves_the_older_one_and_nothing_half(on_a_small_disk):
    said = on_a_small_disk("backup")
    assert "became full while the backup was written" in said["words"]
    assert said["left"] == [said["before"]]
    assert said["again"]


def test_an_import_that_does_not_fit_is_gone_on_with_and_brings_each_row_once(on_a_small_disk):
    said = on_a_small_disk("import")
    assert said["status"] == 507
    assert "The disk of this site is full" in said["page"]
    assert (said["files"], said["batches"]) == ([], 0)
    assert said["again"] == 302
    assert said["state"] != "done"
    assert said["rows"] < ROWS
    assert (said["state_again"], said["rows_again"], said["different"]) == ("done", ROWS, ROWS)
