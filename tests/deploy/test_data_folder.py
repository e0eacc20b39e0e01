"""No other account of the machine reads the book."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from deploy.data_folder import make_private

ROOT = Path(__file__).resolve().parents[2]
pytestmark = pytest.mark.skipif(os.name != "posix", reason="rights of files are those of POSIX")


def rights(folder):
    return folder.stat().st_mode & 0o777


def test_a_new_folder_is_its_owner_s_alone(tmp_path):
    make_private(tmp_path / "a" / "data")
    assert rights(tmp_path / "a" / "data") == 0o700


@pytest.mark.parametrize("name", ["secret_key", "driftbook.sqlite3"])
def test_a_book_that_others_could_read_is_closed(tmp_path, name):
    (tmp_path / name).touch()
    (tmp_path / "other").touch()
    tmp_path.chmod(0o755)
    make_private(tmp_path)
    assert rights(tmp_path) == 0o700


def test_a_folder_of_somebody_s_own_things_keeps_its_rights(tmp_path):
    (tmp_path / "letters").touch()
    tmp_path.chmod(0o755)
    make_private(tmp_path)
    assert rights(tmp_path) == 0o755


def test_every_command_closes_it(tmp_path):
    """Not `deploy/start` alone: `manage.py` and the server's own process too."""
    env = {**os.environ, "DRIFTBOOK_DATA": str(tmp_path / "data"), "DRIFTBOOK_SECRET_KEY": ""}
    code = "import os; os.umask(0o022); import deploy.settings"
    subprocess.run([sys.executable, "-c", code], cwd=ROOT, env=env, check=True)
    assert rights(tmp_path / "data") == 0o700
